"""Tables of small functions laid out as code, in a build for a board.

A row of a table with a lambda in it takes some 100 bytes of a board's heap, the
same as a line of code some 20.  A loop over such a table becomes its body, once
for each row, with what the row holds in the place of `row[i]`, and a lambda that
is called there becomes what it returns.
"""

import ast
import copy

from host_sim.board.inline import Put


def _table(node):
    # (name, rows) of a tuple of tuples at a module's top, a lambda among what they hold.
    if not (isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name)):
        return None
    rows = getattr(node.value, "elts", ())
    if not rows or not all(isinstance(row, ast.Tuple) for row in rows):
        return None
    if not any(isinstance(one, ast.Lambda) for row in rows for one in row.elts):
        return None
    return node.targets[0].id, [row.elts for row in rows]


def unroll(tree):
    """Lay out every loop over a table of lambdas in a tree; what nobody reads then is left to `fold`."""
    tables = dict(filter(None, map(_table, tree.body)))
    if tables:
        _Loops(tables).visit(tree)
        ast.fix_missing_locations(tree)


class _Row(ast.NodeTransformer):
    # One row in the place of the loop's name, and the numbers that are known in the place of theirs.
    def __init__(self, name, cells, known):
        self.name, self.cells, self.known = name, cells, known

    def visit_Subscript(self, node):
        if isinstance(node.value, ast.Name) and node.value.id == self.name:
            return copy.deepcopy(self.cells[node.slice.value])
        return self.generic_visit(node)

    def visit_Name(self, node):
        return ast.Constant(self.known[node.id]) if node.id in self.known and isinstance(node.ctx, ast.Load) else node

    def visit_Call(self, node):
        node = self.generic_visit(node)
        if isinstance(node.func, ast.Lambda):
            names = [arg.arg for arg in node.func.args.args]
            return Put(dict(zip(names, node.args, strict=True))).visit(node.func.body)
        return node


class _Loops(ast.NodeTransformer):
    def __init__(self, tables):
        self.tables = tables

    def visit_ListComp(self, node):
        """`[row[i] for row in TABLE]` becomes a list of what stands there."""
        one = node.generators[0]
        if len(node.generators) == 1 and not one.ifs and self._over(one.iter, one.target):
            rows = [_Row(one.target.id, cells, {}) for cells in self.tables[one.iter.id]]
            return ast.List([row.visit(copy.deepcopy(node.elt)) for row in rows], ast.Load())
        return self.generic_visit(node)

    def visit_Call(self, node):
        """A sum of numbers is a number."""
        node = self.generic_visit(node)
        if isinstance(node.func, ast.Name) and node.func.id == "sum" and len(node.args) == 1:
            cells = getattr(node.args[0], "elts", [None])
            if all(isinstance(one, ast.Constant) for one in cells):
                return ast.Constant(sum(one.value for one in cells))
        return node

    def visit_FunctionDef(self, node):
        """A function's own statements, a list at a time."""
        node.body = self._block(node.body)
        return node

    def _over(self, table, target):
        return isinstance(table, ast.Name) and table.id in self.tables and isinstance(target, ast.Name)

    def _block(self, body):
        made = []
        for one in body:
            fit = isinstance(one, ast.For) and self._over(one.iter, one.target) and not one.orelse
            if fit and not any(isinstance(node, ast.Break | ast.Continue) for node in ast.walk(one)):
                made += self._rows(one, made[-1] if made else None)
                continue
            for part in ("body", "orelse", "finalbody"):
                if isinstance(getattr(one, part, None), list):
                    setattr(one, part, self._block(getattr(one, part)))
            made.append(self.visit(one) if not hasattr(one, "body") else one)
        return made

    def _rows(self, loop, before):
        known = {}
        value = before.value if isinstance(before, ast.Assign) else None
        if isinstance(value, ast.Constant) and _counts(loop, before.targets[0]):
            known[before.targets[0].id] = value.value
        made = []
        for cells in self.tables[loop.iter.id]:
            row = _Row(loop.target.id, cells, known)
            for one in loop.body:
                if isinstance(one, ast.AugAssign) and isinstance(one.target, ast.Name) and one.target.id in known:
                    known[one.target.id] += row.visit(copy.deepcopy(one.value)).value
                else:
                    made.append(row.visit(copy.deepcopy(one)))
        return made + [ast.Assign([ast.Name(name, ast.Store())], ast.Constant(value)) for name, value in known.items()]


def _counts(loop, target):
    # Whether a loop only adds to `target`, in a statement of its own, what its row holds.
    if not isinstance(target, ast.Name):
        return False
    sets = [node for node in ast.walk(loop) if isinstance(node, ast.Name) and node.id == target.id
            and isinstance(node.ctx, ast.Store)]  # fmt: skip
    adds = [one for one in loop.body if isinstance(one, ast.AugAssign) and isinstance(one.op, ast.Add)
            and isinstance(one.target, ast.Name) and one.target.id == target.id
            and isinstance(one.value, ast.Subscript)]  # fmt: skip
    return len(sets) == len(adds) == 1
