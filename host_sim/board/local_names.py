"""Parameters and variables of functions renamed in a build for a board, the same few names in every function.

MicroPython keeps the text of each parameter's name in the heap.  Only who calls
by keyword knows a parameter by its name, so every other one may have any name
that its function does not use for something else.
"""

import ast
import itertools
import string

from host_sim.board.join import SCOPES, local_names


def _scopes(function):
    # A function and all that lie within it.
    return [node for node in ast.walk(function) if isinstance(node, SCOPES)]


def _free(function):
    # Names that some part of a function looks up outside of it, or declares global.
    found = set()

    def look(node, hidden):
        for child in ast.iter_child_nodes(node):
            inner = hidden | local_names(child) if isinstance(child, SCOPES) else hidden
            if isinstance(child, ast.Name) and child.id not in hidden:
                found.add(child.id)
            elif isinstance(child, ast.Global):
                found.update(child.names)
            look(child, inner)

    look(function, local_names(function))
    return found


class _Renaming(ast.NodeTransformer):
    def __init__(self, names):
        self.names = names

    def generic_visit(self, node):
        for part in ("id", "arg", "name") if not isinstance(node, ast.keyword | ast.alias) else ():
            value = getattr(node, part, None)
            if value in self.names:
                setattr(node, part, self.names[value])
        return super().generic_visit(node)


def _rename(function, stay, pool):
    own = [arg.arg for arg in function.args.args]
    for scope in _scopes(function):
        own += sorted(local_names(scope))
    imported = {(alias.asname or alias.name).split(".")[0] for node in ast.walk(function)
                if isinstance(node, ast.Import | ast.ImportFrom) for alias in node.names}  # fmt: skip
    wanted = [name for name in dict.fromkeys(own) if name not in stay | imported | _free(function)]
    names = dict(zip(wanted, pool, strict=False))
    defaults, function.args.defaults = function.args.defaults, []
    name = function.name
    _Renaming(names).visit(function)
    function.name, function.args.defaults = name, defaults


def rename_locals(trees, around=()):
    """Rename in place in parsed modules {module: tree}; `around` are trees that call them."""
    everything = [*trees.values(), *around]
    known = {node.arg for tree in everything for node in ast.walk(tree) if isinstance(node, ast.keyword)}
    taken = {node.id for tree in everything for node in ast.walk(tree) if isinstance(node, ast.Name)}
    letters = [*string.ascii_uppercase, *map("".join, itertools.product(string.ascii_uppercase, string.digits))]
    pool = [name for name in letters if name not in taken]
    for tree in trees.values():
        for owner in [tree, *(node for node in tree.body if isinstance(node, ast.ClassDef))]:
            for node in owner.body:
                if isinstance(node, ast.FunctionDef):
                    _rename(node, known | {"self"}, pool)


def frequent_first(tree, most=120):
    """Put a line that never runs before a file's first, which names its most frequent names.

    A name's number in the compiled file follows from where it stands first, and the first 128 take one byte instead of
    two at every use.
    """
    uses = {}
    variables = set().union(*(local_names(node) for node in ast.walk(tree) if isinstance(node, SCOPES)))
    for node in ast.walk(tree):
        variable = getattr(node, "id", None)
        told = [getattr(node, part, None) for part in ("attr", "arg", "name")]  # in a function's head as well
        for name in (*told, None if variable in variables else variable):
            if isinstance(name, str):
                uses[name] = uses.get(name, 0) + 1
    first = sorted(uses, key=lambda name: (-uses[name], name))[:most]
    if len(uses) <= 2 * most:
        return  # the line is longer than what it saves
    line = ast.parse(f"if __name__ == 0:\n    {'.'.join(first)}\n").body
    after = next((i for i, node in enumerate(tree.body) if not isinstance(node, ast.Expr)), 0)
    tree.body[after:after] = line
