"""The plant, the loop and the campaign's monitor as one typed Cython source, beside the compiled core.

Nothing is rewritten by hand.  Names of a module get the module's name before them (`trajectory__EDGE`), constants are
folded, classes become extension types.  What has a type says so in an annotation by a builtin name or a class of
these files: attributes at the head of their class, parameters, returns, a few locals.  `int` is a whole number of 64
bits, `float` a double; whatever says nothing stays a Python object, so a missing type costs time and never a result.
"""

import ast
import copy
import importlib
import math
import types

from host_sim.compiled import carrier
from host_sim.compiled.hooks import HOOKS
from host_sim.compiled.translate import UNLIKELY, c_type

C_TYPES = {"int": "long long", "float": "double", "bool": "bint", "list": "list", "tuple": "tuple", "dict": "dict",
           "set": "set", "bytes": "bytes"}  # fmt: skip
SLOTS = {"long long": carrier.LONG, "bint": carrier.TRUTH}  # what the carrier reaches of a class below one of the core
# The explorer's form of a state is the carrier where the core is compiled, and so is what holds them.
CARRIED = {"Form": "Carrier", "States": "States"}
ERRORS = {
    "long long": f" except? {UNLIKELY}", "long": f" except? {UNLIKELY}", "double": " except? -7.25e300",
    "bint": " except -1",
}  # fmt: skip
# Functions of the standard library that have a C counterpart in HEAD with the same results and errors.
IN_C = {("math", name) for name in ("exp", "expm1", "log", "log1p", "sin", "sqrt")} | {("bisect", "bisect_right")}
HEAD = """\
# cython: language_level=3, boundscheck=True, wraparound=True, cdivision=False, nonecheck=True, infer_types=True
# cython: embedsignature=False, warn.maybe_uninitialized=False
from libc cimport math as libc_math
{cimports}
cdef double INF = float("inf")


cdef double c_exp(double x) except? -7.25e300:
    cdef double y = libc_math.exp(x)
    if y == INF and x != INF:
        raise OverflowError("math range error")
    return y


cdef double c_expm1(double x) except? -7.25e300:
    cdef double y = libc_math.expm1(x)
    if y == INF and x != INF:
        raise OverflowError("math range error")
    return y


cdef double c_log(double x) except? -7.25e300:
    if x <= 0.0:
        raise ValueError("math domain error")
    return libc_math.log(x)


cdef double c_log1p(double x) except? -7.25e300:
    if x <= -1.0:
        raise ValueError("math domain error")
    return libc_math.log1p(x)


cdef double c_sin(double x) except? -7.25e300:
    if x == INF or x == -INF:
        raise ValueError("math domain error")
    return libc_math.sin(x)


cdef double c_sqrt(double x) except? -7.25e300:
    if x < 0.0:
        raise ValueError("math domain error")
    return libc_math.sqrt(x)


cdef long long c_bisect_right(list values, double x) except -1:
    cdef long long low = 0, high = len(values), middle
    while low < high:
        middle = (low + high) // 2
        if x < <double>values[middle]:
            high = middle
        else:
            low = middle + 1
    return low

"""


class Loop:
    """The translation of some files.

    `paths` is {module: its file}, in the order of their imports; `core` the `Shapes` of the compiled core.
    """

    def __init__(self, paths, core):
        self.modules = tuple(paths)
        self.trees = {name: ast.parse(path.read_text(encoding="utf-8")) for name, path in paths.items()}
        self.core = core
        self.cimported = set()
        self.classes = {}  # class: module
        self.methods = {}  # class: names of its methods that are C functions
        for name, tree in self.trees.items():
            self.classes |= {node.name: name for node in tree.body if isinstance(node, ast.ClassDef)}
        self.by_keyword = self._called_by_keyword()
        self.plain = self._plain_somewhere()
        self.names = {}  # module: {name: what it stands for}
        self.imports = []
        for name in self.modules:
            self.names[name] = self._names_of(name)

    def text(self):
        """Return the Cython source."""
        bodies = [f"cdef class {name}({base})\n" if base else f"cdef class {name}\n" for name, base in self._bases()]
        for name in self.modules:
            bodies.append(f"\n# {name}\n")
            bodies += [self._statement(name, node) for node in self.trees[name].body]
        cimports = "".join(f"from sumpbench_core cimport {name}\n" for name in sorted(self.cimported))
        return HEAD.format(cimports=cimports) + "".join(self.imports) + "\n" + "".join(bodies) + self._exports()

    def _bases(self):
        for name in self.modules:
            for node in self.trees[name].body:
                if isinstance(node, ast.ClassDef):
                    base = node.bases[0].id if node.bases else ""
                    if not base and _has_fields(node):
                        base = "Part"
                    if base in self.core.classes or base == "Part":
                        self.cimported.add(base)
                    yield node.name, base

    def _plain_somewhere(self):
        # A method that stays a Python function in one class does so in all: the others may stand above or below it.
        found = set()
        for tree in self.trees.values():
            for node in tree.body:
                for inner in node.body if isinstance(node, ast.ClassDef) else ():
                    if isinstance(inner, ast.FunctionDef) and self.stays_python(inner):
                        found.add(inner.name)
        return found

    def _called_by_keyword(self):
        # A C function takes no arguments by name.
        found = set()
        for tree in self.trees.values():
            for node in ast.walk(tree):
                if isinstance(node, ast.Call) and node.keywords:
                    found.add(getattr(node.func, "attr", getattr(node.func, "id", "")))
        return found

    # Names of a module: ("constant", value), ("name", its name here), ("class", name), ("core", name), ("module", m)

    def _names_of(self, module):
        names = {}
        for node in self.trees[module].body:
            if isinstance(node, ast.ImportFrom):
                for alias in node.names:
                    names[alias.asname or alias.name] = self._imported(module, node.module, alias)
            elif isinstance(node, ast.Import):
                for alias in node.names:
                    names[alias.asname or alias.name] = self._import(module, f"import {alias.name}", alias)
            elif isinstance(node, ast.FunctionDef):
                names[node.name] = "name", own(module, node.name)
            elif isinstance(node, ast.ClassDef):
                names[node.name] = "class", node.name
            elif isinstance(node, ast.Assign):
                self._assigned(module, node, names)
        return names

    def _imported(self, module, source, alias):
        whole = f"{source}.{alias.name}"
        if whole in self.modules:
            return "module", whole
        if source in self.modules:
            return self.names[source][alias.name]
        if (source, alias.name) in IN_C:
            self._import(module, f"from {source} import {alias.name}", alias)
            return "name", f"c_{alias.name}"
        value = getattr(importlib.import_module(source), alias.name, None)
        if isinstance(value, type) and source.startswith("duplexsump.control") and alias.name in self.core.classes:
            self._import(module, f"from {source} import {alias.name}", alias)
            return "core", alias.name
        if _folds(value) and not hooked(source, alias.name):
            return "constant", value
        found = self._import(module, f"from {source} import {alias.name}", alias)
        if value is None:
            value = importlib.import_module(whole)
        return ("alias", found[1], value) if isinstance(value, types.ModuleType) else found

    def _import(self, module, words, alias):
        name = own(module, alias.asname or alias.name)
        self.imports.append(f"{words} as {name}\n")
        return "name", name

    def _assigned(self, module, node, names):
        # Constants are those that can be worked out from constants before them.
        known = {name: found[1] for name, found in names.items() if found[0] == "constant"}
        try:
            value = eval(compile(ast.Expression(copy.deepcopy(node.value)), module, "eval"),
                         {"__builtins__": {"range": range, "float": float}}, known)  # fmt: skip
        except (NameError, TypeError, AttributeError):
            value = None
        target = node.targets[0]
        if isinstance(target, ast.Tuple) and value is not None:
            names.update({each.id: ("constant", one) for each, one in zip(target.elts, value, strict=True)})
        elif _folds(value):
            names[target.id] = "constant", value
        else:
            names[target.id] = "name", own(module, target.id)

    # Statements.

    def _statement(self, module, node):
        if isinstance(node, ast.FunctionDef):
            return self._function(module, node, own(module, node.name))
        if isinstance(node, ast.ClassDef):
            return self._class(module, node)
        if isinstance(node, ast.Assign):
            target = node.targets[0]
            if isinstance(target, ast.Tuple) or self.names[module][target.id][0] == "constant":
                return ""
            return unparsed(Scope(self, module).visit(copy.deepcopy(node))) + "\n"
        return ""

    def c_type(self, module, annotation):
        """Return the C type that an annotation says, "object" where it says none."""
        if annotation is None:
            return "object"
        text = annotation.value if isinstance(annotation, ast.Constant) else ast.unparse(annotation)
        text = str(text).split("[")[0]
        if text in self.classes:
            return text
        if text in CARRIED:
            self.cimported.add(CARRIED[text])
            return CARRIED[text]
        found = self.names[module].get(text, ("",))
        if found[0] == "core":
            self.cimported.add(text)
            return text
        return C_TYPES.get(text, "object")

    def _class(self, module, node):
        base = f"({node.bases[0].id})" if node.bases else "(Part)" if _has_fields(node) else ""
        lines = [f"\ncdef class {node.name}{base}:\n"]
        for name, kind in self._attributes(module, node).items():
            lines.append(f"    cdef public {kind} {name}\n")
        for inner in node.body:
            if isinstance(inner, ast.FunctionDef):
                lines.append(self._function(module, inner, inner.name, node, 1))
            elif isinstance(inner, ast.Assign) and inner.targets[0].id != "__slots__":
                lines.append(unparsed(Scope(self, module, node).visit(copy.deepcopy(inner)), 1) + "\n")
        if _has_fields(node) or (node.bases and node.bases[0].id in self.core.classes):
            lines.append(self._slots(module, node))
        return "".join(lines)

    def _slots(self, module, node):
        # Of a class below one of the core: its own whole numbers, behind those of that one.
        base = node.bases[0].id if node.bases else "Part"
        own_ones = self._attributes(module, node).items()
        numbers = [(name, name, SLOTS[kind]) for name, kind in own_ones if kind in SLOTS]
        before = sum(len(found) for found in self.core.slots(base)) if node.bases else 0
        return carrier.slots(before, numbers, [], base)

    def _attributes(self, module, node):
        # What the class's head says, its slots, and whatever its methods set; less what the class above has.
        found, above = {}, set()
        if node.bases and node.bases[0].id in self.core.classes:
            above = set(self.core.attributes[node.bases[0].id])
        elif node.bases:
            owner = self.classes[node.bases[0].id]
            parent = next(one for one in self.trees[owner].body if getattr(one, "name", "") == node.bases[0].id)
            above = set(self._all_attributes(owner, parent))
        for inner in node.body:
            if isinstance(inner, ast.AnnAssign):
                found[inner.target.id] = self.c_type(module, inner.annotation)
                if inner.value is not None and inner.value.value not in (0, None):
                    raise ValueError(f"{node.name}.{inner.target.id}: at the head of a class only 0 or None, as in C")
            elif isinstance(inner, ast.Assign) and inner.targets[0].id == "__slots__":
                found |= {each.value: "object" for each in inner.value.elts if each.value not in found}
        for inner in ast.walk(node):
            stored = isinstance(inner, ast.Attribute) and isinstance(inner.ctx, ast.Store)
            if stored and isinstance(inner.value, ast.Name) and inner.value.id == "self":
                found.setdefault(inner.attr, "object")
        return {name: kind for name, kind in found.items() if name not in above}

    def _all_attributes(self, module, node):
        # With those of the classes above it.
        found = dict(self._attributes(module, node))
        base = node.bases[0].id if node.bases else ""
        if base in self.core.classes:
            found |= self.core.attributes[base]
        elif base:
            owner = self.classes[base]
            above = next(one for one in self.trees[owner].body if getattr(one, "name", "") == base)
            found |= self._all_attributes(owner, above)
        return found

    def _function(self, module, node, name, owner=None, indent=0):
        scope = Scope(self, module, owner)
        plain = self.stays_python(node) or (owner is not None and node.name in self.plain)
        tab = "    " * indent
        scope.enter(node)
        takes = self._takes(module, node, scope, owner)
        lines = [f"\n{tab}@{unparsed(scope.visit(copy.deepcopy(one)))}\n" for one in node.decorator_list]
        gives = self.c_type(module, node.returns)
        overridden = self._overridden(owner, name)
        if overridden and not plain and not overridden.plain:
            gives = c_type(overridden.gives)
        if plain:
            lines.append(f"\n{tab}def {name}({takes}):\n" if not lines else f"{tab}def {name}({takes}):\n")
        else:
            kind = "" if gives == "object" else f"{gives} "
            lines.append(f"\n{tab}cpdef {kind}{name}({takes}){ERRORS.get(gives, '')}:\n")
        body, declared = [], {}
        for statement in node.body:
            found = scope.visit(copy.deepcopy(statement))
            body += [unparsed(found, indent + 1) + "\n"] if found is not None else []
        for inner in ast.walk(node):
            if isinstance(inner, ast.AnnAssign) and isinstance(inner.target, ast.Name):
                declared[inner.target.id] = self.c_type(module, inner.annotation)
        lines += [f"{tab}    cdef {kind} {local}\n" for local, kind in declared.items() if kind != "object"]
        return "".join(lines + body)

    def _overridden(self, owner, name):
        # The signature of the method of the core that a method of a class below stands in for, or None.
        base = owner.bases[0].id if owner is not None and owner.bases else ""
        functions = self.core.modules[self.core.classes[base]].functions if base in self.core.classes else {}
        return functions[f"{base}.{name}"][1] if f"{base}.{name}" in functions else None

    def _takes(self, module, node, scope, owner):
        arguments, takes = node.args, []
        overridden = self._overridden(owner, node.name)
        if overridden and not overridden.plain and len(overridden.takes) != len(arguments.args):
            raise ValueError(f"{owner.name}.{node.name} must take what {owner.bases[0].id}.{node.name} takes")
        defaults = [None] * (len(arguments.args) - len(arguments.defaults)) + arguments.defaults
        for place, (argument, default) in enumerate(zip(arguments.args, defaults, strict=True)):
            kind = self.c_type(module, argument.annotation)
            if overridden and not overridden.plain:
                kind = c_type(overridden.takes[place][1])
            typed = argument.arg if kind == "object" or (owner and not place) else f"{kind} {argument.arg}"
            takes.append(typed if default is None else f"{typed}={unparsed(scope.visit(copy.deepcopy(default)))}")
        takes += [f"*{arguments.vararg.arg}"] if arguments.vararg else []
        takes += [f"**{arguments.kwarg.arg}"] if arguments.kwarg else []
        return ", ".join(takes)

    def stays_python(self, node):
        """Tell whether a function stays a Python function."""
        special = node.name.startswith("__") or node.decorator_list or node.args.vararg or node.args.kwarg
        inner = (ast.GeneratorExp, ast.Lambda, ast.FunctionDef, ast.Yield, ast.YieldFrom)
        closed = any(isinstance(one, inner) and one is not node for one in ast.walk(node))
        return bool(special or closed or node.name in self.by_keyword)

    def _exports(self):
        lines = ["\n\ndef exports():\n    found = {}\n"]
        for module in self.modules:
            lines.append(f"    found[{module!r}] = {{\n")
            for name, found in self.names[module].items():
                if found[0] in ("module", "core") or (found[1].__class__ is str and found[1].startswith("c_")):
                    continue
                value = literal(found[1]) if found[0] == "constant" else found[1]
                lines.append(f"        {name!r}: {value},\n")
            lines.append("    }\n")
        return "".join([*lines, "    return found\n"])


def _has_fields(node):
    # A class with FIELDS and no class above it is a part of its own: its whole numbers are carried.
    named = [one.targets[0].id for one in node.body if isinstance(one, ast.Assign)]
    return not node.bases and "FIELDS" in named


def own(module, name):
    """Return the name that a module's name has in the one source."""
    return f"{module.rpartition('.')[2]}__{name}"


def hooked(module, name):
    """Tell whether a name of a module may be changed from outside."""
    return module.startswith("duplexsump.control.") and name in HOOKS.get(module.rpartition(".")[2], ())


def literal(value):
    """Return a constant as it is written in the source."""
    if isinstance(value, float) and math.isinf(value):
        return "INF" if value > 0.0 else "(-INF)"
    if type(value) is int and abs(value) >= 1 << 31:
        return f"{value}LL"
    return repr(value)


def _folds(value):
    if isinstance(value, tuple):
        return bool(value) and all(_folds(one) for one in value)
    return type(value) in (int, float, str, bool)


def unparsed(node, indent=0):
    """Return a statement or an expression as text."""
    text = ast.unparse(ast.fix_missing_locations(node)).replace("__OBJECT__(", "<object>(")
    tab = "    " * indent
    return "\n".join(tab + line if line else line for line in text.split("\n"))


class Scope(ast.NodeTransformer):
    """The names of one function resolved: locals stay, a module's names get theirs here, constants are folded."""

    def __init__(self, loop, module, owner=None):
        self.loop, self.module, self.owner = loop, module, owner
        self.locals = []

    def enter(self, node):
        """Begin a function: from here on its parameters and locals are known."""
        arguments = node.args
        found = {argument.arg for argument in (*arguments.args, *arguments.kwonlyargs)}
        found |= {argument.arg for argument in (arguments.vararg, arguments.kwarg) if argument}
        todo = list(node.body) if isinstance(node.body, list) else []
        while todo:
            one = todo.pop()
            if isinstance(one, ast.FunctionDef):
                found.add(one.name)
                continue
            if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Store):
                found.add(one.id)
            if not isinstance(one, ast.Lambda | ast.GeneratorExp | ast.ListComp | ast.SetComp | ast.DictComp):
                todo += ast.iter_child_nodes(one)
        self.locals.append(found)

    def _inner(self, node):
        self.enter(node)
        defaults = node.args.defaults
        node = self.generic_visit(node)
        self.locals.pop()
        node.args.defaults = defaults
        return node

    def visit_FunctionDef(self, node):
        """A function within a function."""
        return self._inner(node)

    def visit_Lambda(self, node):
        """A lambda."""
        return self._inner(node)

    def generic_visit(self, node):
        """A comprehension has names of its own; all else is looked through."""
        if not isinstance(node, ast.ListComp | ast.SetComp | ast.DictComp | ast.GeneratorExp):
            return super().generic_visit(node)
        targets = {name.id for part in node.generators for name in ast.walk(part.target) if isinstance(name, ast.Name)}
        self.locals.append(targets)
        node = super().generic_visit(node)
        self.locals.pop()
        return node

    def visit_AnnAssign(self, node):
        """A local with its type: the type is declared at the head of the function."""
        if node.value is None:
            return None
        return ast.Assign([node.target], self.visit(node.value))

    def visit_Constant(self, node):
        """A literal; a large whole number stays one of C."""
        return ast.Name(literal(node.value), ast.Load()) if type(node.value) is int and node.value >> 31 else node

    def visit_Name(self, node):
        """A local, or a name of the module."""
        if any(node.id in names for names in self.locals) or node.id not in self.loop.names[self.module]:
            return node
        return self._found(self.loop.names[self.module][node.id], node)

    def _found(self, found, node):
        if found[0] == "constant":
            return ast.Name(literal(found[1]), ast.Load())
        if found[0] == "core":
            return ast.Name(own(self.module, found[1]), ast.Load())
        return ast.Name(found[1], node.ctx)

    def visit_Attribute(self, node):
        """A name of a module, or an attribute."""
        if isinstance(node.value, ast.Name) and not any(node.value.id in names for names in self.locals):
            found = self.loop.names[self.module].get(node.value.id, ("",))
            if found[0] == "module":
                return self._found(self.loop.names[found[1]][node.attr], node)
            folds = found[0] == "alias" and not hooked(found[2].__name__, node.attr)
            if folds and _folds(getattr(found[2], node.attr, None)):
                return ast.Name(literal(getattr(found[2], node.attr)), ast.Load())
        return self.generic_visit(node)

    def visit_IfExp(self, node):
        """One or the other: tuples of different lengths are no tuples of C."""
        node = self.generic_visit(node)
        for side in ("body", "orelse"):
            found = getattr(node, side)
            if isinstance(found, ast.Tuple) or (isinstance(found, ast.Name) and found.id.startswith("(")):
                setattr(node, side, ast.Call(ast.Name("__OBJECT__", ast.Load()), [found], []))
        return node

    def visit_Call(self, node):
        """A call; that of the class above is made by its name."""
        func = node.func
        above = isinstance(func, ast.Attribute) and isinstance(func.value, ast.Call)
        if above and getattr(func.value.func, "id", "") == "super" and self.owner:
            called = ast.Attribute(ast.Name(self.owner.bases[0].id, ast.Load()), func.attr, ast.Load())
            arguments = [self.visit(argument) for argument in node.args]
            return ast.Call(called, [ast.Name("self", ast.Load()), *arguments], node.keywords)
        return self.generic_visit(node)
