"""Names cut short in a build for a board: MicroPython keeps the text of every name in the heap, and in every file.

Only names that the package itself defines are renamed, each to the same short one wherever it stands, so that two
names never become one.  Left alone is whatever the outside knows by its name: what the files that are not folded
mention, modules, builtins, and the attributes and keywords of the libraries' objects.
"""

import ast
import builtins
import io
import itertools
import keyword
import string
import types

# Of MicroPython's objects that the firmware calls: `machine`, `select`, streams, `time`, `gc`.
HARDWARE = frozenset(
    (
        *("adc", "any", "atten", "deinit", "feed", "flush", "freq", "init", "ipoll", "irq", "memory", "modify", "off"),
        *("on", "poll", "read", "read_u16", "read_uv", "readinto", "register", "reset", "reset_cause", "send", "seek"),
        *("sendbreak", "toggle", "txdone", "unregister", "value", "write", "mem_free", "mem_alloc", "collect"),
        "threshold",
    )
)
_TYPES = (str, bytes, bytearray, list, dict, tuple, int, set, memoryview, Exception, io.BufferedRandom)
_MORE_TYPES = (io.TextIOWrapper, types.ModuleType, types.FunctionType)
OUTSIDE = HARDWARE | {"self", *dir(builtins), *keyword.kwlist, *(n for t in _TYPES + _MORE_TYPES for n in dir(t))}
TABLES = ("FIELDS",)  # of which the first column is looked up by getattr


def names_in(tree):
    """Return every identifier that a tree mentions."""
    found = set()
    for node in ast.walk(tree):
        for part in ("id", "attr", "arg", "name", "asname", "module"):
            value = getattr(node, part, None)
            if isinstance(value, str):
                found.update(value.split("."))
        if isinstance(node, ast.Global):
            found.update(node.names)
    return found


def defined_in(tree):
    """Return the names that a tree defines: functions, classes, parameters, variables, attributes that are set."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            found.add(node.name)
        elif isinstance(node, ast.arg):
            found.add(node.arg)
        elif isinstance(node, ast.Name | ast.Attribute) and isinstance(node.ctx, ast.Store):
            found.add(node.id if isinstance(node, ast.Name) else node.attr)
    return found


def _foreign(tree):
    # Attributes of modules from outside, and keywords of calls to what is no name of ours.
    modules = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            modules.update((alias.asname or alias.name).split(".")[0] for alias in node.names)
    found = set(modules)
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and not node.level:
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in modules:
            found.add(node.attr)
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            base = node.func.value
            if node.func.attr in OUTSIDE or (isinstance(base, ast.Name) and base.id in modules):
                found.update(word.arg for word in node.keywords if word.arg)
    return found


def _short(taken):
    # a, b, ... z, aa, ab, ..., of what is not taken.
    for size in itertools.count(1):
        for letters in itertools.product(string.ascii_lowercase, repeat=size):
            name = "".join(letters)
            if name not in taken and name not in OUTSIDE:
                yield name


def plan(trees, kept):
    """Return {name: short name} for parsed modules {tuple of names: tree}; `kept` are names that must stay."""
    modules = {part for module in trees for part in module}
    stay = set(kept) | OUTSIDE | modules | set().union(*map(_foreign, trees.values()))
    defined = set().union(*map(defined_in, trees.values()))
    uses = {}
    for tree in trees.values():
        for name in names_in(tree):
            uses[name] = uses.get(name, 0) + 1
    wanted = sorted((name for name in defined - stay if len(name) > 2 and not name.startswith("__")),
                    key=lambda name: (-uses[name], name))  # fmt: skip
    return dict(zip(wanted, _short(set(uses) | stay), strict=False))


class Renaming(ast.NodeTransformer):
    """Puts short names in the place of long ones."""

    def __init__(self, short):
        self.short = short

    def generic_visit(self, node):
        """Rename whatever an identifier stands in."""
        for part in ("id", "attr", "arg", "name", "asname"):
            value = getattr(node, part, None)
            if value in self.short:
                setattr(node, part, self.short[value])
        if isinstance(node, ast.Global):
            node.names = [self.short.get(name, name) for name in node.names]
        return super().generic_visit(node)

    def visit_Assign(self, node):
        """Also rename the fields that a table of fields names."""
        if isinstance(node.targets[0], ast.Name) and node.targets[0].id in TABLES:
            for row in getattr(node.value, "elts", ()):
                name = row.elts[0] if isinstance(row, ast.Tuple) else row
                if isinstance(name, ast.Constant):
                    name.value = self.short.get(name.value, name.value)
        return self.generic_visit(node)


def shorten(trees, kept):
    """Rename in place; return {name: short name}."""
    short = plan(trees, kept)
    for tree in trees.values():
        Renaming(short).visit(tree)
    return short
