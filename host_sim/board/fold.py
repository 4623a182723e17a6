"""Constants folded across the firmware's modules, before they are compiled for a board.

MicroPython folds a `const` within its own module only; what another module takes
from there stays a name that is looked up at run time, with a place in a table in
the heap.  Here each such name becomes its number; definitions that nobody reads
go, functions for the PC among them, imports of which nothing is left, and texts
that are for the PC alone; what names are left are cut short (`shorten.py`).
The sources stay as they are; the checksum of a build is that of its sources.
"""

import ast
from pathlib import Path

from host_sim.board.columns import lay_out
from host_sim.board.hoist import hoist
from host_sim.board.inline import inline
from host_sim.board.join import joined
from host_sim.board.local_names import frequent_first, rename_locals
from host_sim.board.pack import pack
from host_sim.board.shorten import names_in, shorten
from host_sim.board.unroll import unroll

# Columns of tables that no module of the firmware reads: texts for people, who read them on a PC.
FOR_PEOPLE = {
    ("control", "settings", "TABLE"): (5, 6),
    ("control", "alarm_table", "TABLE"): (3,),
    ("station", "registers", "BIT_ROWS"): (0, 2),
    ("station", "registers", "WORD_ROWS"): (0, 1, 3),
    ("station", "registers", "CONTROL_ROWS"): (2, 3),
    ("boards", "pico", "WIRING"): (4,),
    ("boards", "esp32", "WIRING"): (4,),
}
# Looked up by Python itself, on a PC alone.
FOR_READERS = {("control", "controller"): ("__getattr__",)}
_QUIET = (ast.Constant, ast.Name, ast.Tuple, ast.List, ast.BinOp, ast.UnaryOp, ast.Attribute, ast.ListComp,
          ast.comprehension, ast.expr_context, ast.operator, ast.unaryop, ast.Subscript,
          ast.Compare, ast.BoolOp, ast.IfExp, ast.cmpop, ast.boolop)  # fmt: skip
# These stay as they are, and start before anything is folded.
STAND_ALONE = ("minimal", "checksum")


class Folding(ast.NodeTransformer):
    """Puts numbers in the place of names: `names` {name: number}, `modules` {alias: {name: number}} of one module."""

    def __init__(self, names, modules):
        self.names, self.modules = names, modules

    def visit_Name(self, node):
        """Return the number of a constant's name."""
        if isinstance(node.ctx, ast.Load) and node.id in self.names:
            return _number(self.names[node.id])
        return node

    def visit_Attribute(self, node):
        """Return the number of a constant of an imported module."""
        if isinstance(node.value, ast.Name) and node.attr in self.modules.get(node.value.id, {}):
            return _number(self.modules[node.value.id][node.attr])
        self.generic_visit(node)
        return node


def _number(value):
    return ast.UnaryOp(ast.USub(), ast.Constant(-value)) if value < 0 else ast.Constant(value)


def _target(module, node):
    # The module that a relative import names, as a tuple of names below the package.
    base = module[: len(module) - node.level]
    return base + tuple(node.module.split(".")) if node.module else base


def _constant(node):
    # (name, expression) of `NAME = const(expression)`, else None.
    if isinstance(node, ast.Assign) and len(node.targets) == 1 and isinstance(node.targets[0], ast.Name):
        call = node.value
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "const":
            return node.targets[0].id, call.args[0]
    return None


def _imported(module, tree, known):
    # What a module's imports at its top bring of constants: {name: number}, {alias: {name: number}}.
    names, modules = {}, {}
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and node.level:
            target = _target(module, node)
            for alias in node.names:
                if alias.name in known.get(target, {}):
                    names[alias.asname or alias.name] = known[target][alias.name]
                if (*target, alias.name) in known:
                    modules[alias.asname or alias.name] = known[(*target, alias.name)]
    return names, modules


def constants(trees):
    """Return {module: {name: number}} for parsed modules {tuple of names: tree}."""
    known = {module: {} for module in trees}
    while True:
        count = sum(map(len, known.values()))
        for module, tree in trees.items():
            names, modules = _imported(module, tree, known)
            for node in tree.body:
                found = _constant(node)
                if found:
                    expression = Folding({**names, **known[module]}, modules).visit(ast.parse(ast.unparse(found[1])))
                    value = _value(expression)
                    if isinstance(value, int):
                        known[module][found[0]] = int(value)
        if count == sum(map(len, known.values())):
            return known


def numbers(tree, kept):
    """Put numbers in the place of a single module's constants, and leave out those whose names are not `kept`."""
    known = constants({("alone",): tree})[("alone",)]
    tree.body = [node for node in tree.body if not ((found := _constant(node)) and found[0] in known.keys() - kept)]
    for node in tree.body:
        if (found := _constant(node)) and found[0] in known:
            node.value = _number(known[found[0]])
    Folding(known, {}).visit(tree)
    if "const" not in _used(tree):
        tree.body = [node for node in tree.body if not _makes_const(node)]


def _value(expression):
    try:
        return eval(compile(ast.unparse(expression), "constant", "eval"), {"__builtins__": {}})
    except NameError:
        return None  # of a constant that is not known yet


def _used(tree):
    return {node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load)}


def _to_shorten(trees, outside):
    # (what is renamed, the names that must stay).
    alone = [tree for module, tree in trees.items() if module[-1] in STAND_ALONE]
    return ({module: tree for module, tree in trees.items() if module[-1] not in STAND_ALONE},
            set().union(*map(names_in, alone + outside)))  # fmt: skip


def fold(sources, around=(), short=True, join=False):
    """Return {path: text} with constants folded; `sources` is {path below the package, of pathlib: text}.

    `around` are the texts of further files, which are not folded and use the package; `short` False leaves names
    as they are; `join` puts modules together into few files (`join.py`), whose paths alone are returned.
    """
    trees = _folded(sources, around, short, join)[0]
    return {Path(*module[1:]).with_suffix(".py"): ast.unparse(ast.fix_missing_locations(tree)) + "\n"
            for module, tree in trees.items()}  # fmt: skip


def short_names(sources, around=(), join=False):
    """Return {name: what it becomes} of a build, for whoever reads what a board says of itself."""
    return _folded(sources, around, True, join)[1]


def _folded(sources, around, short, join):
    # (the trees of a build, what became of which name).
    trees = {_module(path): ast.parse(text) for path, text in sources.items()}
    known = constants(trees)
    for module, tree in trees.items():
        names, modules = _imported(module, tree, known)
        tree.body = [node for node in tree.body if not ((found := _constant(node)) and found[0] in known[module])]
        Folding({**names, **known[module]}, modules).visit(tree)
        _trim(tree, set(names) | set(modules) | {"const"})
        _blank(module, tree)
    outside = [ast.parse(text) for text in around]
    for module, names in FOR_READERS.items():
        _remove(trees.get(("duplexsump", *module)), names)
    _bury(trees, outside)
    if not any(_imports_const(tree) for tree in trees.values()):
        for tree in trees.values():
            tree.body = [node for node in tree.body if not _makes_const(node)] or [ast.Pass()]
    if join:
        trees = joined(trees, outside, STAND_ALONE)
        _tighten(trees, outside)
    return trees, _named(trees, outside, join) if short else {}


def _tighten(trees, outside):
    # Tables of lambdas laid out as code, functions put where they are called, what nobody reads any more left out.
    ours = [tree for module, tree in trees.items() if module[-1] not in STAND_ALONE]
    for tree in ours:
        unroll(tree)
        pack(tree)
    others = [tree for tree in trees.values() if not any(tree is one for one in ours)] + outside
    lay_out(ours, others)
    _bury(trees, outside)
    inline(ours, others)
    hoist(ours, others)


def _named(trees, outside, join):
    ours, kept = _to_shorten(trees, outside)
    if join:
        rename_locals(ours, [tree for module, tree in trees.items() if module not in ours] + outside)
    names = shorten(ours, kept)
    for tree in ours.values() if join else ():
        frequent_first(tree)
    return names


def _blank(module, tree):
    for node in tree.body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            for column in sorted(FOR_PEOPLE.get((*module[1:], node.targets[0].id), ()), reverse=True):
                for row in node.value.elts:
                    if column == len(row.elts) - 1:
                        del row.elts[column]
                    else:
                        row.elts[column] = ast.Constant("")


def _remove(tree, names):
    if tree is not None:
        tree.body = [node for node in tree.body if not (isinstance(node, ast.FunctionDef) and node.name in names)]


def _bury(trees, outside):
    # What nobody reads, again and again, for the dead read each other.  What stands alone is not touched.
    while True:
        read = set().union(*map(_read, [*trees.values(), *outside]))
        count = 0
        for module, tree in trees.items():
            if module[-1] in STAND_ALONE:
                continue
            for owner in [tree, *(node for node in tree.body if isinstance(node, ast.ClassDef))]:
                left = [node for node in owner.body if not _dead(node, read)]
                count += len(owner.body) - len(left)
                owner.body = left or [ast.Pass()]
        if not count:
            return


def _read(tree):
    # Every name that a module reads, imports or looks up in something.
    found = _used(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute):
            found.add(node.attr)
        elif isinstance(node, ast.ImportFrom):
            found.update(alias.name for alias in node.names)
    return found


def _dead(node, read):
    # A table, a number, a function or a class that no module reads.
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        return node.name not in read and not node.name.startswith("__")
    if not isinstance(node, ast.Assign | ast.AugAssign):
        return False
    target = node.targets[0] if isinstance(node, ast.Assign) else node.target
    return isinstance(target, ast.Name) and target.id not in read and _harmless(node.value)


def _harmless(value):
    # Whether working an expression out does nothing else; what a lambda would do is not done.
    if isinstance(value, ast.Lambda):
        return True
    if isinstance(value, ast.Call):
        texts = isinstance(value.func, ast.Attribute) and isinstance(value.func.value, ast.Constant)
        if not (texts and value.func.attr == "split"):
            return False
    elif not isinstance(value, _QUIET):
        return False
    return all(map(_harmless, ast.iter_child_nodes(value)))


def _module(path):
    parts = Path(path).with_suffix("").parts
    return ("duplexsump", *parts)


def _imports_const(tree):
    # From another module of the package, because it has one that is no number.
    froms = [node for node in tree.body if isinstance(node, ast.ImportFrom) and node.level]
    return "const" in _used(tree) or any(alias.name == "const" for node in froms for alias in node.names)


def _makes_const(node):
    # `try: from micropython import const`, and what a PC has instead.
    first = node.body[0] if isinstance(node, ast.Try) else None
    found = isinstance(first, ast.ImportFrom) and first.module == "micropython"
    return found and [one.name for one in first.names] == ["const"]


def _trim(tree, folded):
    # Imports of constants of which nothing is used any more.
    used = _used(tree)
    body = []
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and node.level:
            node.names = [a for a in node.names if (a.asname or a.name) not in folded or (a.asname or a.name) in used]
            if not node.names:
                continue
        body.append(node)
    tree.body = body or [ast.Pass()]
