"""A firmware's modules joined into few files, before they are compiled for a board.

Each module that a board loads costs its heap some 300 bytes beside its code (its
table of names, its own names, an entry for every name that it takes from another)
and its start a search through the file system.  Here a module that is imported by
the modules of one file only joins that file: what is left are the files that
something else names, those that are imported inside a function, and what two of
these share.  A name at a module's top becomes one of its own in the joined file,
so that no two become one; the modules' bodies run in the order of their imports.
The sources stay as they are.
"""

import ast

from host_sim.errors import InputError

INNER = (ast.Lambda, ast.ListComp, ast.SetComp, ast.DictComp, ast.GeneratorExp)
SCOPES = (ast.FunctionDef, *INNER)


def target_of(module, node):
    """Return the module that a relative import names, as a tuple of names."""
    base = module[: len(module) - node.level]
    return base + tuple(node.module.split(".")) if node.module else base


class Stripping(ast.NodeTransformer):
    """Leaves out annotations, and what stands under a condition that is no."""

    def visit_If(self, node):
        """Leave out a branch that is never taken."""
        self.generic_visit(node)
        return node.orelse or None if isinstance(node.test, ast.Constant) and not node.test.value else node

    def visit_AnnAssign(self, node):
        """Keep the assignment alone."""
        self.generic_visit(node)
        return node.value and ast.copy_location(ast.Assign([node.target], node.value), node)

    def visit_FunctionDef(self, node):
        """Keep the parameters' names alone."""
        self.generic_visit(node)
        node.returns = None
        for one in [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs, node.args.vararg, node.args.kwarg]:
            if one is not None:
                one.annotation = None
        node.body = node.body or [ast.Pass()]
        return node


def local_names(node):
    """Return the names that belong to a function, a lambda or a comprehension itself."""
    found, outer = set(), set()
    if isinstance(node, ast.FunctionDef | ast.Lambda):
        found.update(one.arg for one in ast.walk(node.args) if isinstance(one, ast.arg))
        todo = list(node.body) if isinstance(node, ast.FunctionDef) else [node.body]
    else:
        todo = [one.target for one in node.generators]
    while todo:
        one = todo.pop()
        if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Store):
            found.add(one.id)
        elif isinstance(one, ast.Global):
            outer.update(one.names)
        elif isinstance(one, ast.ExceptHandler) and one.name:
            found.add(one.name)
        elif isinstance(one, ast.Import | ast.ImportFrom):
            found.update((alias.asname or alias.name).split(".")[0] for alias in one.names)
        if isinstance(one, ast.FunctionDef):
            found.add(one.name)
        elif not isinstance(one, SCOPES):
            todo.extend(ast.iter_child_nodes(one))
    return found - outer


class Renaming(ast.NodeTransformer):
    """Puts the joined file's names in the place of a module's: `names` {own: joined}, `modules` {alias: {own: joined}}.

    `rebase(node)` sees to an import inside a function.
    """

    def __init__(self, names, modules, rebase):
        self.names, self.modules, self.rebase = names, modules, rebase
        self.hidden = [set()]
        self.of_class = None  # the names of the class whose body this is

    def _seen(self, name):
        return not any(name in scope for scope in self.hidden)

    def _within(self, node):
        self.hidden.append(local_names(node))
        self.generic_visit(node)
        self.hidden.pop()
        return node

    def visit_FunctionDef(self, node):
        """A function's own names hide those of the module; what stands in its head does not."""
        if self._seen(node.name) and len(self.hidden) == 1:
            node.name = self.names.get(node.name, node.name)
        node.args.defaults = [self.visit(one) for one in node.args.defaults]
        node.args.kw_defaults = [one and self.visit(one) for one in node.args.kw_defaults]
        in_class = self.hidden[-1] is self.of_class
        if in_class:
            self.hidden.pop()
        self.hidden.append(local_names(node))
        node.body = [self.visit(one) for one in node.body]
        self.hidden.pop()
        if in_class:
            self.hidden.append(self.of_class)
        return node

    def visit(self, node):
        """Lambdas and comprehensions have names of their own too."""
        return self._within(node) if isinstance(node, INNER) else super().visit(node)

    def visit_ClassDef(self, node):
        """A class's own names hide the module's in its body, not in its functions."""
        node.name = self.names.get(node.name, node.name)
        node.bases = [self.visit(one) for one in node.bases]
        own = {one.id for row in node.body if not isinstance(row, ast.FunctionDef)
               for one in ast.walk(row) if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Store)}  # fmt: skip
        self.of_class = own
        self.hidden.append(own)
        node.body = [self.visit(one) for one in node.body]
        self.hidden.pop()
        self.of_class = None
        return node

    def visit_Name(self, node):
        """Rename what the module's name means."""
        if self._seen(node.id):
            node.id = self.names.get(node.id, node.id)
        return node

    def visit_Global(self, node):
        """The same of a declaration."""
        node.names = [self.names.get(name, name) for name in node.names]
        return node

    def visit_Attribute(self, node):
        """A joined module's attribute is a name of the file."""
        if isinstance(node.value, ast.Name) and node.value.id in self.modules and self._seen(node.value.id):
            return ast.copy_location(ast.Name(self.modules[node.value.id][node.attr], node.ctx), node)
        self.generic_visit(node)
        return node

    def visit_ImportFrom(self, node):
        """An import inside a function."""
        return self.rebase(node)


def imports_of(module, tree, known):
    """Return {module: None} of `known`, in order, that the imports at a module's top name."""
    found = {}
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and node.level:
            target = target_of(module, node)
            for alias in node.names:
                for one in ((*target, alias.name), target, (*target, "__init__")):
                    if one in known:
                        found[one] = None
                        break
    return found


def roots_of(trees, outside):
    """Return the modules that stay files of their own: those that `outside` names, and those imported in a function."""
    found = {}
    for module, tree in trees.items():
        at_top = set(map(id, tree.body))
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and node.level and id(node) not in at_top:
                found[target_of(module, node)] = None
    for tree in outside:
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and node.module:
                target = tuple(node.module.split("."))
                found[target] = found[(*target, "__init__")] = None
    return [module for module in trees if module in found]


def files_of(trees, roots, alone):
    """Return {root: modules in the order of their imports}; `alone` are names of modules that join nothing.

    A module that two files would take stays a file, and so on, until each has its place.
    """
    roots = [*roots, *(module for module in trees if module[-1] in alone and module not in roots)]
    while True:
        files, owners = {root: [] for root in roots}, {}
        for root in roots:
            _collect(root, trees, set(roots), files[root], owners, root)
        shared = [module for module, of in owners.items() if len(of) > 1]
        if not shared:
            return files
        # The one that nothing else of them imports takes what it needs with it.
        inner = {one for module in shared for one in imports_of(module, trees[module], trees)}
        roots += [module for module in shared if module not in inner] or shared[:1]


def _collect(module, trees, roots, found, owners, root):
    for one in imports_of(module, trees[module], trees):
        if one not in roots and one not in found:
            _collect(one, trees, roots, found, owners, root)
    if module not in found:
        found.append(module)
        owners.setdefault(module, set()).add(root)


def joined(trees, outside, alone=()):
    """Return {module: tree} of the joined files and of the packages they stand in.

    `trees` {tuple of names: tree} are changed; `outside` are trees that name modules of them, `alone` names of modules
    that are left as they are.  Raises InputError for a module that is used as a thing and not by its names, for two
    imports of one name, and for the import of a name that its module sets anew later.
    """
    for module, tree in trees.items():
        if module[-1] not in alone:
            Stripping().visit(tree)
    made = {}
    for root, modules in files_of(trees, roots_of(trees, outside), alone).items():
        made[root] = trees[root] if root[-1] in alone else _File(root, modules, trees).tree()
        for size in range(1, len(root)):
            package = (*root[:size], "__init__")
            made.setdefault(package, trees.get(package, ast.Module([ast.Pass()], [])))
    return made


def _top(tree):
    # The names that a module defines at its top, but for what it imports.
    found = set()
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            found.add(node.name)
        elif not isinstance(node, ast.Import | ast.ImportFrom):
            found |= {one.id for one in ast.walk(node) if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Store)}
    return found


def _set_anew(tree):
    # Names that a function declares global: who imports one by its name keeps what it was.
    return {name for node in ast.walk(tree) if isinstance(node, ast.Global) for name in node.names}


class _File:
    """One joined file: what the root module shows keeps its name, all else is named after its module."""

    def __init__(self, root, modules, trees):
        self.root, self.modules, self.trees = root, modules, trees
        self.names = {module: {name: name if module == root else "__".join((*module, name))
                               for name in _top(trees[module])} for module in modules}  # fmt: skip
        self.anew = {module: _set_anew(trees[module]) for module in modules}  # before anything is renamed
        self.head = dict.fromkeys(self.names[root].values())  # {name: the import that brings it, None for its own}

    def tree(self):
        """Return the file."""
        body = []
        for module in self.modules:
            own, modules, left = dict(self.names[module]), {}, []
            for node in self.trees[module].body:
                if isinstance(node, ast.Import | ast.ImportFrom):
                    self._take(node, module, own, modules)
                else:
                    left.append(node)
            renaming = Renaming(own, modules, lambda node, module=module: self._rebased(node, module))
            body += [renaming.visit(node) for node in left]
            for node in ast.walk(ast.Module(left, [])):
                if isinstance(node, ast.Name) and node.id in modules:
                    raise InputError(f"{'.'.join(module)} uses {node.id}, a module, as a thing: name what it takes")
        head = [one for one in self.head.values() if one is not None]
        return ast.fix_missing_locations(ast.Module([*head, *body] or [ast.Pass()], []))

    def _take(self, node, module, own, modules):
        # What an import brings: names of this file, or an import at its head.
        target = target_of(module, node) if isinstance(node, ast.ImportFrom) and node.level else None
        for alias in node.names:
            called = alias.asname or alias.name
            homes = [(*target, alias.name), target, (*target, "__init__")] if target is not None else []
            home = next((one for one in homes if one in self.names), None)
            if home is None:
                self._import(called, alias, node, module)
            elif home == homes[0]:
                modules[called] = self.names[home]
            elif alias.name in self.anew[home]:
                raise InputError(f"{'.'.join(module)} imports {alias.name}, which {'.'.join(home)} sets anew")
            else:
                own[called] = self.names[home][alias.name]

    def _import(self, called, alias, node, module):
        if isinstance(node, ast.Import):
            one = ast.Import([alias])
        else:
            one = self._rebased(ast.ImportFrom(node.module, [alias], node.level), module)
        there = self.head.setdefault(called, one)
        if there is None or ast.dump(there) != ast.dump(one):
            raise InputError(f"{'.'.join(module)} imports {called}, which in {'.'.join(self.root)} is something else")

    def _rebased(self, node, module):
        # An import as it reads from where the file lies.
        here = self.root[:-1]
        if not node.level or module[:-1] == here:
            return node
        target = target_of(module, node)
        up = len(here)
        while target[:up] != here[:up]:
            up -= 1
        return ast.ImportFrom(".".join(target[up:]) or None, node.names, len(here) - up + 1)
