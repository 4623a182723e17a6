"""Constant tables made small in a build for a board.

A table of which single columns are read becomes those columns; a list that is
worked out from constants becomes what comes out; a row of whole numbers below 256
becomes bytes, a fourth of the heap and a third of the file.  Names that stand in
the message of an exception alone stay on the PC: the message tells their numbers.
"""

import ast

_LEAST = 6  # numbers: fewer save nothing
_MANY = 20  # rows, where what reads them grows


def lay_out(trees, outside):
    """Change parsed modules in place; `outside` are trees that read what they define."""
    for tree in trees:
        others = [one for one in trees if one is not tree] + list(outside)
        _Tables(tree, {name for one in others for name in _mentioned(one)}).change()
        ast.fix_missing_locations(tree)


def _mentioned(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Name | ast.Attribute):
            yield node.id if isinstance(node, ast.Name) else node.attr
        elif isinstance(node, ast.alias):
            yield node.name


class _Tables:
    # The constant tables of one module that no other reads.
    def __init__(self, tree, others):
        self.tree, self.others = tree, others

    def change(self):
        self._work_out()
        numbers = _Numbers(self._texts())
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Raise):
                numbers.visit(node)
        for name, node in self._known().items():
            self._split(name, node)
        for name, node in self._known().items():
            self._share(name, node)
        for name, node in self._known().items():
            values = [getattr(one, "value", None) for one in node.value.elts]
            if not all(isinstance(value, int) and 0 <= value < 2**30 for value in values):
                continue
            if max(values, default=0) > 255:
                self._widen(name, node, values)
            elif len(values) >= _LEAST and all(map(_one_by_one, self._reads(name))):
                node.value = ast.Constant(bytes(values))

    def _known(self):
        # {name: its assignment} of tuples and lists of constants that are set once.
        names = [node for node in ast.walk(self.tree) if isinstance(node, ast.Name)]
        sets = [node.id for node in names if isinstance(node.ctx, ast.Store)]
        return {node.targets[0].id: node for node in self.tree.body if isinstance(node, ast.Assign)
                and isinstance(node.targets[0], ast.Name) and _constant(node.value)
                and not isinstance(node.value, ast.Constant) and sets.count(node.targets[0].id) == 1
                and node.targets[0].id not in self.others}  # fmt: skip

    def _reads(self, name):
        # Where a name is read, each with what stands around it, the nearest first.
        found = []

        def look(node, around):
            for child in ast.iter_child_nodes(node):
                if isinstance(child, ast.Name) and child.id == name and isinstance(child.ctx, ast.Load):
                    found.append([child, node, *around])
                look(child, [node, *around])

        look(self.tree, [])
        return found

    def _work_out(self):
        known = {name: ast.literal_eval(node.value) for name, node in self._known().items()}
        for node in self.tree.body:
            if isinstance(node, ast.Assign) and isinstance(node.value, ast.ListComp):
                own = {one.id for one in ast.walk(node.value) if isinstance(one, ast.Name)}
                own -= {one.target.id for one in node.value.generators if isinstance(one.target, ast.Name)}
                if own <= known.keys():
                    code = compile(ast.unparse(node.value), "table", "eval")
                    values = eval(code, {"__builtins__": {}, **known})
                    node.value = ast.List([ast.Constant(value) for value in values], ast.Load())

    def _texts(self):
        # Tables of texts that nothing but messages of exceptions look into, and columns of texts.
        found = {}
        for name, node in self._known().items():
            if all(isinstance(one, ast.Constant) and isinstance(one.value, str) for one in node.value.elts):
                if all(_indexed(*read[:2]) and any(isinstance(one, ast.Raise) for one in read)
                       for read in self._reads(name)):  # fmt: skip
                    found[name] = None
            elif _even(node.value):
                found[name] = {k for k, one in enumerate(node.value.elts[0].elts) if isinstance(one.value, str)}
        return found

    def _split(self, name, node):
        reads = self._reads(name)
        if not _even(node.value) or not reads or not all(map(_cell, reads)):
            return
        columns = {_cell(read).slice.value for read in reads}
        made = []
        for k in sorted(columns):
            column = ast.Tuple([row.elts[k] for row in node.value.elts], ast.Load())
            made.append(ast.Assign([ast.Name(f"{name}__{k}", ast.Store())], column))
        at = self.tree.body.index(node)
        self.tree.body[at : at + 1] = made
        for read in reads:
            cell = _cell(read)
            read[0].id = f"{name}__{cell.slice.value}"
            inner = read[1]
            cell.value, cell.slice = inner.value, inner.slice

    def _share(self, name, node):
        # A column of few texts that come again and again: where each stands among those that there are.
        texts = [getattr(one, "value", None) for one in node.value.elts]
        reads = self._reads(name)
        if not all(isinstance(text, str) for text in texts) or not all(_indexed(*read[:2]) for read in reads):
            return
        once = list(dict.fromkeys(texts))
        if len(texts) < _MANY or len(once) > len(texts) // 2:
            return
        node.value = ast.Tuple([ast.Constant(text) for text in once], ast.Load())
        at = ast.Constant(bytes(map(once.index, texts)))
        self.tree.body.insert(self.tree.body.index(node), ast.Assign([ast.Name(f"{name}__at", ast.Store())], at))
        for read in reads:
            read[1].slice = ast.Subscript(ast.Name(f"{name}__at", ast.Load()), read[1].slice, ast.Load())

    def _widen(self, name, node, values):
        # Numbers of two to four bytes, put together where they are read.
        reads = self._reads(name)
        if len(values) < _MANY or not all(_indexed(*read[:2]) and _pure(read[1].slice) for read in reads):
            return
        width = (max(values).bit_length() + 7) // 8
        node.value = ast.Constant(b"".join(value.to_bytes(width, "little") for value in values))
        for read in reads:
            terms = []
            for k in range(width):
                at = f"{name}[({ast.unparse(read[1].slice)}) * {width} + {k}]"
                terms.append(f"{at} << {8 * k}" if k else at)
            whole = ast.parse(" | ".join(terms), mode="eval").body
            _swap(read[2], read[1], whole)


def _swap(around, old, new):
    # Put an expression in the place of another.
    for part, value in ast.iter_fields(around):
        if value is old:
            setattr(around, part, new)
        elif isinstance(value, list) and any(one is old for one in value):
            value[:] = [new if one is old else one for one in value]


def _pure(node):
    # Whether an expression may be worked out again and again: names and numbers.
    return all(isinstance(one, ast.Name | ast.Constant | ast.BinOp | ast.operator | ast.expr_context)
               for one in ast.walk(node))  # fmt: skip


class _Numbers(ast.NodeTransformer):
    # `texts`: {name: None for a table of texts, or the columns of texts of a table of rows}.
    def __init__(self, texts):
        self.texts = texts

    def visit_Subscript(self, node):
        self.generic_visit(node)
        inner = node.value
        if isinstance(inner, ast.Name) and self.texts.get(inner.id, ()) is None:
            return node.slice
        row = inner.value if isinstance(inner, ast.Subscript) else None
        columns = self.texts.get(row.id) if isinstance(row, ast.Name) else None
        return inner.slice if getattr(node.slice, "value", None) in (columns or ()) else node


def _constant(node):
    if isinstance(node, ast.Tuple | ast.List):
        return all(map(_constant, node.elts))
    return isinstance(node, ast.Constant)


def _even(node):
    # A tuple of tuples, all of one length, of plain constants.
    rows = node.elts if isinstance(node, ast.Tuple) else ()
    return (bool(rows) and all(isinstance(row, ast.Tuple) for row in rows) and len({len(row.elts) for row in rows}) == 1
            and all(isinstance(one, ast.Constant) for row in rows for one in row.elts))  # fmt: skip


def _indexed(name, around):
    return isinstance(around, ast.Subscript) and around.value is name and not isinstance(around.slice, ast.Slice)


def _cell(read):
    # The subscript that takes a numbered column of an indexed row, else nothing.
    outer = read[2] if len(read) > 2 else None
    fits = _indexed(*read[:2]) and isinstance(outer, ast.Subscript) and outer.value is read[1]
    return outer if fits and isinstance(outer.slice, ast.Constant) and isinstance(outer.slice.value, int) else None


def _one_by_one(read):
    # Read by a number, run through, or asked whether a number is among them.
    name, around = read[:2]
    if isinstance(around, ast.For | ast.comprehension):
        return around.iter is name
    if isinstance(around, ast.Compare):
        return len(around.ops) == 1 and isinstance(around.ops[0], ast.In | ast.NotIn) and around.comparators[0] is name
    return _indexed(name, around)
