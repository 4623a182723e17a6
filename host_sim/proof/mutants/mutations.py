"""Mutants of the control core, the station and the boards: one small mistake each, switched on in this process.

A mutant lies in one function; switching it on exchanges the code of the live
function object, so every importer sees it and nothing is imported anew.
"""

import ast
import copy
import importlib
import inspect
import sys
import types
from dataclasses import dataclass

from host_sim.proof.mutants.exchanged_names import exchanged

MODULES = ("ticks", "timers", "contacts", "belief", "demand", "blind", "flood", "pump", "pair", "gate", "supply",
           "selector", "exercise", "transmitter", "buttons", "forces", "alarms", "watch", "bands", "history",
           "controller", "settings")  # fmt: skip
# The station's modules bear their package's name before their own; `station` stands for them all.
STATION = tuple(f"station.{name}" for name in (
    "fitting", "line", "health", "framing", "modbus", "codec", "store", "checksum", "journal", "recorder", "registers",
    "link", "loop", "run", "minimal"))  # fmt: skip
# The boards with pins, likewise `boards`; the virtual board's file runs under MicroPython alone.
BOARDS = tuple(f"boards.{name}" for name in ("wired", "expander", "pico", "esp32", "stream", "hardware"))
FAMILIES = {"station": STATION, "boards": BOARDS}
_COMPARISONS = {
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.Lt: (ast.LtE, ast.GtE), ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE), ast.GtE: (ast.Gt, ast.Lt),
}  # fmt: skip
_OPERATORS = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.BitXor: ast.BitOr,
    ast.LShift: ast.RShift, ast.RShift: ast.LShift, ast.Mult: ast.FloorDiv, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One mistake: where it stands, what it is, and how to name it."""

    module: str
    function: str
    line: int
    text: str  # the source line as it stands, stripped
    what: str
    number: int  # place among the mutants of the function

    @property
    def key(self):
        """What the list of equivalents names a mutant by: it outlives a move to another line."""
        return self.module, self.function, self.text, self.what

    def __str__(self):
        return f"{self.module.replace('.', '/')}.py:{self.line} {self.function}: {self.what}: {self.text}"


def _negated(test):
    return ast.UnaryOp(ast.Not(), copy.deepcopy(test))


def _compare(node):
    for other in _COMPARISONS.get(type(node.ops[0]), ()):
        changed = copy.deepcopy(node)
        changed.ops = [other()]
        yield f"{type(node.ops[0]).__name__} -> {other.__name__}", changed


def _constant(node):
    if isinstance(node.value, bool):
        yield f"{node.value} -> {not node.value}", ast.Constant(not node.value)
    elif isinstance(node.value, int):
        yield f"{node.value} -> {node.value + 1}", ast.Constant(node.value + 1)


def _bool(node):
    changed = copy.deepcopy(node)
    changed.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    yield "and <-> or", changed
    for i in range(len(node.values)):
        rest = copy.deepcopy(node.values[:i] + node.values[i + 1 :])
        yield f"condition {i + 1} dropped", rest[0] if len(rest) == 1 else ast.BoolOp(node.op, rest)


def _operation(node):
    other = _OPERATORS.get(type(node.op))
    if other:
        changed = copy.deepcopy(node)
        changed.op = other()
        yield f"{type(node.op).__name__} -> {other.__name__}", changed


def _branch(node):
    tests = (("negated", _negated(node.test)), ("always", ast.Constant(True)), ("never", ast.Constant(False)))
    for name, test in tests:
        changed = copy.deepcopy(node)
        changed.test = test
        yield f"condition {name}", changed


def _is_false(node):
    # `return False` is not turned into a bare return: nothing in the core tells None from False,
    # and False -> True is a mutant of the same line.
    return isinstance(node, ast.Constant) and node.value is False


def _replacements(module, node):
    yield from exchanged(module, node)
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        yield from _compare(node)
    elif isinstance(node, ast.Constant):
        yield from _constant(node)
    elif isinstance(node, ast.BoolOp):
        yield from _bool(node)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.Invert):
        yield f"{type(node.op).__name__} dropped", copy.deepcopy(node.operand)
    elif isinstance(node, ast.BinOp | ast.AugAssign):
        yield from _operation(node)
    elif isinstance(node, ast.If | ast.IfExp):
        yield from _branch(node)
    if isinstance(node, ast.Assign | ast.AugAssign | ast.Expr | ast.Continue | ast.Break):
        yield "statement dropped", ast.Pass()
    if isinstance(node, ast.Return) and node.value is not None and not _is_false(node.value):
        yield "returns nothing", ast.Return(None)


def _places(function):
    # Every node below the body, with where it hangs; not the docstring, not a default or an annotation.
    for statement in function.body:
        if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant):
            continue
        yield from _hung(function, "body", function.body.index(statement), statement)


def _hung(parent, name, i, node):
    yield node, (parent, name, i)
    for field, value in ast.iter_fields(node):
        if field in ("ctx", "op", "ops"):
            continue
        if isinstance(value, ast.AST):
            yield from _hung(node, field, None, value)
        elif isinstance(value, list):
            for k, item in enumerate(value):
                if isinstance(item, ast.AST):
                    yield from _hung(node, field, k, item)


def _put(place, node):
    parent, field, i = place
    if i is None:
        setattr(parent, field, node)
    else:
        getattr(parent, field)[i] = node


class Source:
    """One module of the core, the station or the boards, with its functions by qualified name and all their mutants."""

    def __init__(self, name, text=None):
        self.name = name
        if name in BOARDS and "machine" not in sys.modules:
            sys.modules["machine"] = types.ModuleType("machine")  # the tests bring pins
        self.module = importlib.import_module(f"duplexsump.{name if '.' in name else f'control.{name}'}")
        self.text = text or inspect.getsource(self.module)
        self.lines = self.text.splitlines()
        self.tree = ast.parse(self.text)
        self.functions = {}
        for node in self.tree.body:
            if isinstance(node, ast.FunctionDef):
                self.functions[node.name] = node
            elif isinstance(node, ast.ClassDef):
                for inner in node.body:
                    if isinstance(inner, ast.FunctionDef):
                        self.functions[f"{node.name}.{inner.name}"] = inner

    def live(self, function):
        """Return the live function object of a qualified name."""
        found = self.module
        for part in function.split("."):
            found = vars(found)[part]
        return found

    def mutants(self, lines=None):
        """Yield every Mutant, or those that stand on one of `lines`."""
        for function, node in self.functions.items():
            number = 0
            for place, _where in _places(node):
                for what, _replacement in _replacements(self.name, place):
                    line = getattr(place, "lineno", node.lineno)
                    if lines is None or line in lines:
                        yield Mutant(self.name, function, line, self.lines[line - 1].strip(), what, number)
                    number += 1

    def code(self, mutant):
        """Return the code object of the function with the mistake in it.  Raises LookupError if there is none such."""
        if hasattr(mutant, "becomes"):  # a hand mutant: its line is rewritten as a whole
            lines = list(self.lines)
            lines[mutant.line - 1] = lines[mutant.line - 1].replace(mutant.text, mutant.becomes)
            return Source(self.name, "\n".join(lines) + "\n").compiled(mutant.function)
        function = self.functions[mutant.function]
        number = 0
        for node, place in _places(function):
            for _what, replacement in _replacements(self.name, node):
                if number == mutant.number:
                    _put(place, replacement)
                    try:
                        return self.compiled(mutant.function)
                    finally:
                        _put(place, node)
                number += 1
        raise LookupError(str(mutant))

    def compiled(self, function):
        """Return the code object of a function as its tree stands now."""
        tree = ast.fix_missing_locations(copy.deepcopy(ast.Module([self.functions[function]], [])))
        if "." in function:
            tree = ast.Module([ast.ClassDef("Holder", [], [], tree.body, [])], [])
            ast.fix_missing_locations(tree)
        code = compile(tree, self.module.__file__, "exec")
        for _ in range(2 if "." in function else 1):
            code = next(c for c in code.co_consts if inspect.iscode(c))
        return code

    def switch_on(self, mutant):
        """Put the mistake into the live function; return what switches it off again."""
        live = self.live(mutant.function)
        good = live.__code__
        live.__code__ = self.code(mutant)

        def switch_off():
            live.__code__ = good

        return switch_off
