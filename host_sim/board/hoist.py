"""What a method reads of its object again and again kept in a variable, in a build for a board.

`self.settings` takes four bytes and a look-up at every use, a variable one byte.
Only attributes that `__init__` alone sets are kept so, and only where the frame
does not go to the heap for it (`frames.py`).
"""

import ast
from collections import Counter

from host_sim.board.frames import LIMIT, estimate, methods
from host_sim.board.join import SCOPES
from host_sim.board.shorten import TABLES

LEAST = 3  # uses


def hoist(trees, outside):
    """Change parsed modules in place; `outside` are trees that use what they define."""
    fixed = _fixed([*trees, *outside])
    for tree in trees:
        for owner, function in methods(tree):
            if owner is not None and function.args.args and function.name != "__init__":
                _keep(function, fixed)
        ast.fix_missing_locations(tree)


def _fixed(trees):
    # Attributes that nothing but an `__init__` sets, and no table of fields names: those are set by name.
    inside, elsewhere = set(), set()
    for tree in trees:
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef) and node.name == "__init__":
                inside |= _set_by(node)
            elif isinstance(node, ast.Assign) and getattr(node.targets[0], "id", None) in TABLES:
                elsewhere |= {one.value for one in ast.walk(node.value) if isinstance(one, ast.Constant)}
        for owner, function in methods(tree):
            if owner is None or function.name != "__init__":
                elsewhere |= _set_by(function)
        elsewhere |= set().union(*(_set_by(node) for node in tree.body
                                   if not isinstance(node, ast.FunctionDef | ast.ClassDef)))  # fmt: skip
    return inside - elsewhere


def _set_by(tree):
    return {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)
            and not isinstance(node.ctx, ast.Load)}  # fmt: skip


def _keep(function, fixed):
    own = function.args.args[0].arg
    for name, _uses in Counter(node.attr for node in _reads(function, own) if node.attr in fixed).most_common():
        reads = [node for node in _reads(function, own) if node.attr == name]
        if len(reads) < LEAST or estimate(function) >= LIMIT:
            continue
        local = f"{name}__kept"
        _Put(reads, local).visit(function)
        value = ast.Attribute(ast.Name(own, ast.Load()), name, ast.Load())
        at = 1 if isinstance(function.body[0], ast.Expr) and isinstance(function.body[0].value, ast.Constant) else 0
        function.body.insert(at, ast.Assign([ast.Name(local, ast.Store())], value))


def _reads(function, own):
    # `self.name` wherever the function itself reads it; what lies within has variables of its own.
    found, todo = [], list(function.body)
    while todo:
        node = todo.pop()
        if isinstance(node, SCOPES):
            continue
        if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Load) and getattr(node.value, "id", "") == own:
            found.append(node)
        todo.extend(ast.iter_child_nodes(node))
    return found


class _Put(ast.NodeTransformer):
    def __init__(self, reads, name):
        self.reads, self.name = set(map(id, reads)), name

    def visit_Attribute(self, node):
        if id(node) in self.reads:
            return ast.Name(self.name, ast.Load())
        return self.generic_visit(node)
