"""Names cut short in a build for a board: MicroPython keeps the text of every name in the heap, and in every file.

Only names that the package itself defines are renamed, each to the same short one wherever it stands.  Two names
become one only where nothing can take one for the other: a name at a module's top and one that is never looked up but
behind a dot.  Left alone is whatever the outside knows by its name: what the files that are not folded
mention, modules, builtins, and the attributes and keywords of the libraries' objects.
"""

import ast
import builtins
import io
import itertools
import keyword
import string
import types

from host_sim.board.join import SCOPES, local_names

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
    tops, members = kinds(trees.values())
    short = _behind_a_dot(trees.values(), [name for name in wanted if name in members], kept)
    left = [name for name in wanted if name not in short]
    pairs = itertools.zip_longest(*([name for name in left if name in one] for one in (members, tops)))
    others = ((name,) for name in left if name not in tops | members)
    letters = zip(itertools.chain(pairs, others), _short(set(uses) | stay), strict=False)
    return short | {name: one for names, one in letters for name in names if name}


def _behind_a_dot(trees, members, kept):
    # Members that take a parameter's letter; fields' names first, for they stand in tables too.
    dots = kept | {node.attr for tree in trees for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    fields = {name for tree in trees for node in ast.walk(tree) if isinstance(node, ast.ClassDef)
              for name in _fields(node)}  # fmt: skip
    members = [name for name in members if name in fields] + [name for name in members if name not in fields]
    letters = [name for name in string.ascii_uppercase if name not in dots]
    return dict(zip(members, letters, strict=False))


def kinds(trees):
    """Return (names of what modules define at their top, names that stand behind a dot alone); none is both."""
    tops, dots, bare, others = set(), set(), set(), set()
    for tree in trees:
        for node in tree.body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                tops.add(node.name)
            elif isinstance(node, ast.Assign):
                tops.update(one.id for one in node.targets if isinstance(one, ast.Name))
        for node in ast.walk(tree):
            if isinstance(node, ast.Attribute):
                dots.add(node.attr)
            elif isinstance(node, ast.Name):
                bare.add(node.id)
            elif isinstance(node, ast.ClassDef):
                dots.update(_members(node))
            others.update(_inner(node))
    return tops - dots - others, dots - tops - bare - others


def _members(owner):
    # Methods of a class, and the fields that its table names.
    for node in owner.body:
        if isinstance(node, ast.FunctionDef):
            yield node.name
    yield from _fields(owner)


def _fields(owner):
    for node in owner.body:
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", None) in TABLES:
            yield from (one.value for one in ast.walk(node.value) if isinstance(one, ast.Constant))


def _inner(node):
    # Names that a function, a class or a call has for itself: parameters, variables, imports, keywords.
    if isinstance(node, SCOPES):
        found = local_names(node)
        for one in ast.walk(node):
            if isinstance(one, ast.Import | ast.ImportFrom):
                found.update(name for alias in one.names for name in (alias.name, alias.asname))
        for one in getattr(getattr(node, "args", None), "defaults", ()):
            found |= names_in(one)  # worked out where the class is
        return found
    if isinstance(node, ast.ClassDef):
        return set().union(*(names_in(one) for one in node.body if not isinstance(one, ast.FunctionDef)))
    if isinstance(node, ast.keyword):
        return {node.arg}
    return node.names if isinstance(node, ast.Global) else ()


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
