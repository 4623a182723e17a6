"""The tables of fields laid flat in a build for a board: two places a field instead of a tuple of four.

`FIELDS` rows (name, kind, length, marks) become `name, kind + 8 * marks + 64 * length`
one behind the other, and whoever runs through a part's rows takes them apart.  A
tuple of its own costs a board's heap 36 bytes a row.
"""

import ast
import copy

from host_sim.errors import InputError

TABLE = "FIELDS"
_COLUMNS = {1: (0, 7), 3: (3, 7), 2: (6, None)}  # column: bits to the right of it, mask


def pack(tree):
    """Lay the tables of a tree flat and change what reads them.  Raises InputError for a row that does not fit."""
    _Packing().visit(tree)
    ast.fix_missing_locations(tree)


class _Packing(ast.NodeTransformer):
    def visit_Assign(self, node):
        """A class's table."""
        if isinstance(node.targets[0], ast.Name) and node.targets[0].id == TABLE:
            node.value = ast.Tuple([one for row in node.value.elts for one in _flat(row)], ast.Load())
            return node
        return self.generic_visit(node)

    def visit_For(self, node):
        """A loop over a table whose target are the four columns."""
        self.generic_visit(node)
        if not _reads(node.iter):
            return node
        names = [one.id for one in node.target.elts]
        used = {one.id for part in node.body for one in ast.walk(part) if isinstance(one, ast.Name)}
        table = ast.Name(_ROWS, ast.Load())
        heads = [ast.Assign([ast.Name(name, ast.Store())], _column(table, _PLACE, k))
                 for k, name in enumerate(names) if name in used]  # fmt: skip
        loop = ast.For(ast.Name(_PLACE, ast.Store()), _places(table), heads + node.body, [])
        return [ast.Assign([ast.Name(_ROWS, ast.Store())], node.iter), loop]

    def visit_ListComp(self, node):
        """A list of rows, each a name of its own."""
        for one in node.generators:
            if _reads(one.iter):
                columns = _Cells(one.target.id, one.iter)
                one.iter = _places(one.iter)
                node.elt = columns.visit(node.elt)
                one.ifs = [columns.visit(test) for test in one.ifs]
        return node


_ROWS, _PLACE = "_rows", "_place"


class _Cells(ast.NodeTransformer):
    def __init__(self, row, table):
        self.row, self.table = row, table

    def visit_Subscript(self, node):
        if isinstance(node.value, ast.Name) and node.value.id == self.row:
            return _column(self.table, self.row, node.slice.value)
        return self.generic_visit(node)


def _reads(node):
    return isinstance(node, ast.Attribute) and node.attr == TABLE


def _flat(row):
    code = compile(ast.unparse(row), TABLE, "eval")
    name, kind, length, marks = eval(code, {"__builtins__": {}})
    if not (0 <= kind < 8 and 0 <= marks < 8 and length >= 0):
        raise InputError(f"the field {name}: kind {kind} and marks {marks} must be below 8")
    return [ast.Constant(name), ast.Constant(kind + 8 * marks + 64 * length)]


def _places(table):
    count = ast.Call(ast.Name("len", ast.Load()), [copy.deepcopy(table)], [])
    return ast.Call(ast.Name("range", ast.Load()), [ast.Constant(0), count, ast.Constant(2)], [])


def _column(table, place, column):
    at = ast.Name(place, ast.Load())
    if not column:
        return ast.Subscript(copy.deepcopy(table), at, ast.Load())
    right, mask = _COLUMNS[column]
    value = ast.Subscript(copy.deepcopy(table), ast.BinOp(at, ast.Add(), ast.Constant(1)), ast.Load())
    value = ast.BinOp(value, ast.RShift(), ast.Constant(right)) if right else value
    return ast.BinOp(value, ast.BitAnd(), ast.Constant(mask)) if mask else value
