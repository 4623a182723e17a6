"""Functions that are called in one place only, put there, in a build for a board.

A function costs a board's heap some 70 bytes beside its code, and its call some
bytes of code.  The firmware's sources are written in short functions; most of
these are called once.  Here the body of such a function takes the place of its
call.  What a program does stays the same, and so does the order in which it does
it: arguments first, then the body, then what is done with the result.  A call
whose place does not allow that stays a call (`Put`).
"""

import ast
import copy
import itertools

from host_sim.board.frames import LIMIT, estimate, methods
from host_sim.board.join import INNER

_LOOPS = (ast.For, ast.While)
_PURE = (ast.Name, ast.Constant, ast.Attribute, ast.Subscript, ast.BinOp, ast.UnaryOp, ast.BoolOp, ast.Compare,
         ast.IfExp, ast.Tuple, ast.expr_context, ast.operator, ast.unaryop, ast.boolop, ast.cmpop)  # fmt: skip


class NoPlaceError(Exception):
    """A call that cannot be replaced."""


def mentions(tree):
    """Yield every name that a tree mentions, however it does, definitions left out."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Name):
            yield node.id
        elif isinstance(node, ast.Attribute):
            yield node.attr
        elif isinstance(node, ast.alias):
            yield node.asname or node.name
            yield node.name
        elif isinstance(node, ast.keyword | ast.arg):
            yield node.arg
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def make_unique(trees):
    """Rename private methods so that those of two classes differ; return {new name: old name}.

    Only where every mention is `self.` in a class that has the method itself and neither inherits nor hands on.
    """
    related = {base.id for tree in trees for node in ast.walk(tree) if isinstance(node, ast.ClassDef)
               for base in node.bases if isinstance(base, ast.Name)}  # fmt: skip
    owners, inside = {}, {}
    for tree in trees:
        for owner, function in methods(tree):
            if owner is not None:
                alone = not owner.bases and owner.name not in related
                owners.setdefault(function.name, []).append(owner if alone else None)
                for node in ast.walk(function):
                    if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "self":
                        inside.setdefault(node.attr, []).append((owner, node))
    count = {}
    for tree in trees:
        for name in mentions(tree):
            count[name] = count.get(name, 0) + 1
    back = {}
    for name, classes in owners.items():
        sites = inside.get(name, [])
        if (not name.startswith("_") or name.startswith("__") or len(classes) < 2 or None in classes
                or len(sites) != count.get(name, 0) or any(one not in classes for one, _node in sites)):  # fmt: skip
            continue
        for k, owner in enumerate(classes):
            new = f"{name}__{k}"
            back[new] = name
            for node in owner.body:
                if isinstance(node, ast.FunctionDef) and node.name == name:
                    node.name = new
            for one, node in sites:
                if one is owner:
                    node.attr = new
    return back


class _Names(ast.NodeTransformer):
    def __init__(self, names):
        self.names = names

    def visit_Attribute(self, node):
        node.attr = self.names.get(node.attr, node.attr)
        self.generic_visit(node)
        return node

    def visit_FunctionDef(self, node):
        node.name = self.names.get(node.name, node.name)
        self.generic_visit(node)
        return node


def _own(function):
    # Parameters, and the names that a function sets: its locals.
    found = [arg.arg for arg in function.args.args]
    for node in ast.walk(function):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            found.append(node.id)
        elif isinstance(node, ast.ExceptHandler) and node.name:
            found.append(node.name)
        elif isinstance(node, ast.Import | ast.ImportFrom):
            found.extend((alias.asname or alias.name).split(".")[0] for alias in node.names)
    return list(dict.fromkeys(found))


def _plain(function):
    # Whether a function is of the kind that can be moved at all.
    a = function.args
    if a.vararg or a.kwarg or a.kwonlyargs or a.posonlyargs or function.decorator_list:
        return False
    unfit = (*INNER, ast.FunctionDef, ast.ClassDef, ast.Global, ast.Nonlocal, ast.Yield, ast.YieldFrom, ast.Import)
    inner = [node for statement in function.body for node in ast.walk(statement)]
    return not any(isinstance(node, (*unfit, ast.ImportFrom)) for node in inner)


class Put(ast.NodeTransformer):
    """Puts expressions in the place of names, and names in the place of names that are set."""

    def __init__(self, values):
        self.values = values

    def visit_Name(self, node):
        """Return what stands for a name."""
        value = self.values.get(node.id)
        if value is None:
            return node
        return ast.Name(value.id, node.ctx) if isinstance(node.ctx, ast.Store | ast.Del) else copy.deepcopy(value)

    def visit_ExceptHandler(self, node):
        """A handler's name is text."""
        if node.name in self.values:
            node.name = self.values[node.name].id
        return self.generic_visit(node)


def _bare(function):
    # The body without its docstring.
    body = function.body
    return body[1:] if isinstance(body[0], ast.Expr) and isinstance(body[0].value, ast.Constant) else body


def _returns(node):
    return any(isinstance(one, ast.Return) for one in ast.walk(node))


def straight(body, sink):
    """Return (statements, whether they always end by a return) with `sink(value)` in the place of every return.

    What follows a return goes into the branch that has none.  Raises NoPlaceError for a return in a loop or a try.
    """
    out = []
    for k, one in enumerate(body):
        if isinstance(one, ast.Return):
            return out + sink(one.value), True
        if not _returns(one):
            out.append(one)
            continue
        if not isinstance(one, ast.If):
            raise NoPlaceError
        (yes, ended), (no, other) = straight(one.body, sink), straight(one.orelse, sink)
        rest = body[k + 1 :]
        if ended and not other:
            no, other = straight(one.orelse + rest, sink)
        elif other and not ended:
            yes, ended = straight(one.body + rest, sink)
        elif not ended:
            raise NoPlaceError
        out += branch(one.test, yes, no)
        return out, ended and other
    return out, False


def branch(test, yes, no):
    """Return an `if` as a list, without an empty branch."""
    if yes:
        return [ast.If(test, yes, no)]
    if no:
        return [ast.If(ast.UnaryOp(ast.Not(), test), no, [])]
    return [ast.Expr(test)]


def _dropped(value):
    return [] if value is None or isinstance(value, ast.Constant | ast.Name) else [ast.Expr(value)]


def _ends(body):
    # Whether control never falls off the end of a body.
    last = body[-1] if body else None
    if isinstance(last, ast.Return | ast.Raise):
        return True
    return isinstance(last, ast.If) and _ends(last.body) and bool(last.orelse) and _ends(last.orelse)


class Site:
    """The one call of a function: `into` is the function that it stands in, `tree` the file, `call` the node."""

    def __init__(self, tree, into, call):
        self.tree, self.into, self.call = tree, into, call


def inline_once(site, function, is_method):
    """Put `function` in the place of its call; return the statements that are new.

    Raises NoPlaceError, and has then changed nothing.
    """
    lists = _lists(site.into, site.call)
    if not lists:
        raise NoPlaceError
    statements, k, last_of = lists
    statement = statements[k]
    bound, values = _bind(site, function, statement, is_method)
    body = [Put(values).visit(copy.deepcopy(one)) for one in _bare(function)]
    if len(body) == 1 and isinstance(body[0], ast.Return) and not bound and body[0].value is not None:
        _replace(statement, site.call, body[0].value)
        return [statement]
    made = bound + _placed(site, statement, body, last_of)
    statements[k : k + 1] = made
    return made


def _placed(site, statement, body, last_of):
    # The statements that stand for `statement`.
    call = site.call
    if isinstance(statement, ast.Return) and statement.value is call:
        return body if _ends(body) else [*body, ast.Return(None)]
    if isinstance(statement, ast.Expr) and statement.value is call:
        try:
            return straight(body, _dropped)[0] or [ast.Pass()]
        except NoPlaceError:
            if last_of is site.into:
                return [one for part in body for one in _Leaving(ast.Return).leave(part)]
            if isinstance(last_of, _LOOPS) and not any(
                    _returns(one) for part in body for one in ast.walk(part) if isinstance(one, (*_LOOPS, ast.Try))):
                return [one for part in body for one in _Leaving(ast.Continue).leave(part)]
            raise
    if isinstance(statement, ast.Assign) and statement.value is call and len(statement.targets) == 1:
        return _valued(body, lambda value: [ast.Assign(copy.deepcopy(statement.targets), value or ast.Constant(None))])
    if not _leads(statement, call) or sum(isinstance(one, ast.Return) for part in body for one in ast.walk(part)) != 1:
        raise NoPlaceError
    *before, end = body
    if not isinstance(end, ast.Return) or end.value is None:
        raise NoPlaceError
    _replace(statement, call, end.value)
    return [*before, statement]


def _valued(body, sink):
    made, ended = straight(body, sink)
    if not ended:
        raise NoPlaceError
    return made


class _Leaving:
    # Returns of a last statement become returns of nothing, or the next round of a loop.
    def __init__(self, way):
        self.way = way

    def leave(self, node):
        if isinstance(node, ast.Return):
            return [*_dropped(node.value), self.way(None) if self.way is ast.Return else self.way()]
        for part in ("body", "orelse", "finalbody", "handlers"):
            inner = getattr(node, part, None)
            if isinstance(inner, list):
                setattr(node, part, [one for old in inner for one in self.leave(old)])
        return [node]


def _bind(site, function, statement, is_method):
    # (assignments before the body, {name of the function: what stands for it}).
    args = list(site.call.args)
    if site.call.keywords or any(isinstance(one, ast.Starred) for one in args):
        raise NoPlaceError
    if is_method:
        args.insert(0, site.call.func.value)
    names = [one.arg for one in function.args.args]
    defaults = function.args.defaults
    args += defaults[len(defaults) - (len(names) - len(args)) :] if len(args) < len(names) else []
    if len(args) != len(names):
        raise NoPlaceError
    body = ast.Module(_bare(function), [])
    own = _own(function)
    stored = {one.id for one in ast.walk(body) if isinstance(one, ast.Name) and not isinstance(one.ctx, ast.Load)}
    loads = {}
    for one in ast.walk(body):
        if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Load):
            loads[one.id] = loads.get(one.id, 0) + 1
    if {one for one in mentions(body) if one not in own} & set(_own(site.into)):
        raise NoPlaceError  # what it means by a name of a module would be a local here
    pool = _pool(site, statement, body, own)
    pure, once = _is_pure(body), not any(isinstance(one, _LOOPS) for one in ast.walk(body))
    values, bound = {}, []
    locals_ = set(_own(site.into))
    for name, value in zip(names, args, strict=True):
        simple = isinstance(value, ast.Constant) or (isinstance(value, ast.Name) and value.id in locals_)
        read = pure and once and loads.get(name, 0) <= 1 and all(isinstance(one, _PURE) for one in ast.walk(value))
        if name not in stored and (simple or read):
            values[name] = value
            continue
        values[name] = ast.Name(next(pool), ast.Load())
        bound.append(ast.Assign([ast.Name(values[name].id, ast.Store())], copy.deepcopy(value)))
    for name in own:
        if name not in values:
            values[name] = ast.Name(next(pool), ast.Load())
    if bound and not _leads(statement, site.call):
        raise NoPlaceError
    return bound, values


def _pool(site, statement, body, own):
    # Names for what belongs to the function: the same few for all that come to lie in one, for they never meet.
    taken = {one for one in mentions(body) if one not in own}
    mine = set(mentions(site.into)) | {arg.arg for arg in site.into.args.args}
    taken |= {one for one in mine if not one.startswith("_in")}
    head = statement.test if isinstance(statement, ast.If) else statement
    head = statement.iter if isinstance(statement, ast.For) else head
    taken |= set(mentions(head))
    return (name for name in map("_in{}".format, itertools.count()) if name not in taken)


def _is_pure(body):
    # Neither calls nor sets anything but names.
    return not any(isinstance(one, ast.Call) or (isinstance(one, ast.Attribute | ast.Subscript)
                   and not isinstance(one.ctx, ast.Load)) for one in ast.walk(body))  # fmt: skip


def _leads(statement, call):
    # Whether the call is the first thing that a statement does: before it there are only names and numbers.
    if isinstance(statement, ast.If):
        return _first(statement.test, call)
    if isinstance(statement, ast.For):
        return _first(statement.iter, call)
    if isinstance(statement, ast.Expr | ast.Assign | ast.Return):
        return statement.value is not None and _first(statement.value, call)
    return False


def _still(node):
    return isinstance(node, ast.Constant | ast.Name)


def _first(node, call):
    # Whether, when `node` is worked out, `call` comes first.
    if node is call:
        return True
    if isinstance(node, ast.UnaryOp):
        return _first(node.operand, call)
    if isinstance(node, ast.BoolOp):
        return _first(node.values[0], call)
    if isinstance(node, ast.IfExp):
        return _first(node.test, call)
    if isinstance(node, ast.Attribute):
        return _first(node.value, call)
    parts = {ast.BinOp: ("left", "right"), ast.Compare: ("left",), ast.Subscript: ("value", "slice")}.get(type(node))
    inner = [getattr(node, part) for part in parts or ()]
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        inner += node.comparators
    if isinstance(node, ast.Tuple | ast.List):
        inner = node.elts
    if isinstance(node, ast.Call) and not node.keywords:
        base = node.func.value if isinstance(node.func, ast.Attribute) else node.func
        inner = [base, *node.args]
    for one in inner:
        if _first(one, call):
            return True
        if not _still(one):
            return False
    return False


def _replace(statement, call, value):
    class There(ast.NodeTransformer):
        def visit(self, node):
            return value if node is call else super().generic_visit(node)

    There().visit(statement)


def _way(owner, call):
    # The way down to a node: [(owner, part, place in its list)] of statements; None where it is not below.
    for part, value in ast.iter_fields(owner):
        if isinstance(value, list):
            for k, one in enumerate(value):
                below = [] if one is call else _way(one, call) if isinstance(one, ast.AST) else None
                if below is not None:
                    return [(owner, part, k), *below] if isinstance(one, ast.stmt | ast.ExceptHandler) else below
        elif isinstance(value, ast.AST):
            below = [] if value is call else _way(value, call)
            if below is not None:
                return below
    return None


def _lists(function, call):
    # (list, place in it, what ends with the statement: the function, a loop, or None) of the innermost statement.
    way = _way(function, call)
    if not way:
        return None
    ends = function
    for owner, part, k in way:
        rows = getattr(owner, part)
        if isinstance(owner, _LOOPS):
            ends = owner if part == "body" else None
        if isinstance(owner, ast.Try | ast.With | ast.ExceptHandler) or k != len(rows) - 1:
            ends = None
        if isinstance(rows[k], ast.FunctionDef | ast.ClassDef):
            return None
    return None if isinstance(rows[k], ast.ExceptHandler | ast.With | ast.Try) else (rows, k, ends)


def inline(trees, outside, keep=frozenset()):
    """Put functions in the place of their only call, in the trees of a list; return {function: where it lies now}.

    `outside` are trees that may name functions too; `keep` are names of functions that are left alone.
    """
    back = make_unique(trees)
    count = {}
    for tree in (*trees, *outside):
        for name in mentions(tree):
            count[name] = count.get(name, 0) + 1
    made = {}
    for tree in trees:
        _Pass(tree, count, keep, made).run()
    restored = _Names(back)
    for tree in trees:
        ast.fix_missing_locations(restored.visit(tree))
    return made


class _Pass:
    # All that is done to one file: what is called by a function that is itself called once comes first.
    def __init__(self, tree, count, keep, made):
        self.tree, self.count, self.keep, self.made = tree, count, keep, made
        self.found, self.settled = {}, set()
        for owner, function in methods(tree):
            self.found.setdefault(function.name, []).append((owner, function))
        self.small = {id(function) for _owner, function in methods(tree) if estimate(function) <= LIMIT}
        self.sites = {}
        for _owner, function in methods(tree):
            for node in ast.walk(function):
                if isinstance(node, ast.Call):
                    name = _called(node)
                    if name in self.found:
                        self.sites[name] = Site(tree, function, node)

    def run(self):
        for name in list(self.found):
            self.settle(name)

    def fit(self, name):
        rows = self.found[name]
        return (len(rows) == 1 and self.count.get(name) == 1 and name in self.sites and not name.startswith("__")
                and name not in self.keep and _plain(rows[0][1]))  # fmt: skip

    def settle(self, name):
        """First what lies in a function, then the function itself; each once.

        Never the other way round: in a body that has been moved, the few names that moved bodies share are in use.
        """
        if name in self.settled or len(self.found.get(name, ())) != 1:
            return
        self.settled.add(name)
        function = self.found[name][0][1]
        for other in [one for one, site in self.sites.items() if site.into is function and one not in self.made]:
            self.settle(other)
        if name not in self.made and self.fit(name):
            self.move(name)

    def move(self, name):
        owner, function = self.found[name][0]
        site = self.sites[name]
        if (owner is None) != isinstance(site.call.func, ast.Name) or site.into is function:
            return
        into, before = site.into, (copy.deepcopy(site.into.body) if id(site.into) in self.small else None)
        try:
            made = inline_once(site, function, owner is not None)
        except NoPlaceError:
            return
        if before is not None and estimate(into) > LIMIT:
            into.body = before
            self.resite(self.inside(into), into, into.body)
            return
        self.made[name] = into.name
        (owner or self.tree).body.remove(function)
        if owner is not None and not owner.body:
            owner.body.append(ast.Pass())
        self.resite(self.inside(function) | self.inside(into), into, made)

    def inside(self, function):
        return {name for name, site in self.sites.items() if site.into is function}

    def resite(self, names, into, statements):
        # Calls that have moved along.
        for node in (one for part in statements for one in ast.walk(part)):
            if isinstance(node, ast.Call) and _called(node) in names:
                self.sites[_called(node)] = Site(self.tree, into, node)


def _called(call):
    if isinstance(call.func, ast.Attribute):
        return call.func.attr
    return call.func.id if isinstance(call.func, ast.Name) else None
