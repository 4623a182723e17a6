"""The files of `duplexsump/control` as one typed Cython source.

Nothing is rewritten by hand: names of a module get the module's name before them
(`pump__TABLE`), constants are folded, classes become extension types with typed
attributes, and functions say the types that their annotations say.  Locals are
typed by what is assigned to them.  What has no type stays a Python object.

One function is given another body, `Controller._compare`: it reads some sixty fields by
name, which a compiled core knows the places of.  It is exchanged only while its source is the one that
is known here.
"""

import ast
import copy
import sys

from host_sim.compiled import carrier, states
from host_sim.compiled.carrier import UNLIKELY
from host_sim.compiled.hooks import HOOKS, OPEN
from host_sim.compiled.shapes import RESERVED, Shapes, is_array

NUMBERS = ("long", "bint")
HEAD = """\
# cython: language_level=3, boundscheck=True, wraparound=True, cdivision=False, initializedcheck=False
# cython: embedsignature=False, warn.maybe_uninitialized=False
cimport cython
"""
# What `Controller._compare` does, over the places of the marked fields instead of their names.
COMPARE_SOURCE = '''\
def _compare(self) -> None:
    read = getattr
    parts = self.marked_parts
    names = self.marked_names
    seen = self.seen
    self.pending = 0
    i = len(seen)
    while i:
        i -= 1
        value = read(parts[i], names[i])
        if value != seen[i]:
            seen[i] = value
            self.pending = 1'''
COMPARE_BODY = """\
        cdef int at = 0
        cdef bint differs = False
        if self._compared is None:
            self._start_comparing()
        for part in self._compared:
            at = (<Part>part)._again(self._was, at, &differs)
        self.pending = 1 if differs else 0

    cdef _start_comparing(self):
        cdef int i
        self._compared = []
        for part in self.marked_parts:
            if not self._compared or self._compared[-1] is not part:
                self._compared.append(part)
        if sum([(<Part>part)._marked() for part in self._compared]) != len(self.marked_parts):
            raise ValueError("the marked fields are not those that this core was compiled for")
        for i in range(%(marked)d):
            self._was[i] = %(unlikely)s
"""


class Translation:
    """The translation of the modules in `modules` (see `shapes.load`)."""

    def __init__(self, modules):
        self.modules = modules
        self.shapes = Shapes(modules)
        self.declared = {}  # class: its lines in the declarations

    def declarations(self):
        """Return the declarations of the classes, for sources beside this one; after `text()`."""
        classes = [f"cdef class {name}(Part)\n" for name in self.shapes.classes]
        head = "cimport cython\n" + carrier.DECLARED + states.DECLARED
        return head + "".join(classes) + "".join("".join(lines) for lines in self.declared.values())

    def text(self):
        """Return the Cython source."""
        parts = [HEAD, carrier.PART]
        parts += [self._checked(name) for name in self.shapes.classes]
        for module in self.modules.values():
            parts.append(f"\n# {module.name}.py\n\n")
            parts += [self._declared(module)]
            parts += [self._statement(module, node) for node in module.tree.body]
        return "".join(parts) + carrier.CARRIER + states.STATES + self._exports()

    def _checked(self, name):
        return f"\ncdef inline {name} as_{name}(object thing):\n    return <{name}?>thing\n"

    # Names and values of a module.

    def folded(self, module, name):
        """Return the value of a constant that is folded, or None."""
        value = vars(self.modules[module].live).get(name)
        if type(value) is int and name not in HOOKS.get(module, ()):
            return value
        return None

    def type_of(self, module, name):
        """Return the type of a module's name that is not folded."""
        return self.shapes.type_of(vars(self.modules[module].live)[name])

    def _values(self, module):
        # Names that the module itself assigns, other than constants.
        found = []
        for node in module.tree.body:
            for target in getattr(node, "targets", [getattr(node, "target", None)]):
                if isinstance(target, ast.Name) and target.id in vars(module.live) and target.id not in found:
                    found.append(target.id)
        return [name for name in found if self.folded(module.name, name) is None]

    def _declared(self, module):
        lines = []
        for name in self._values(module):
            kind = self.type_of(module.name, name)
            lines.append(f"cdef {c_type(kind)} {module.name}__{name}\n")
        for name in HOOKS.get(module.name, ()):
            if name in module.functions:
                lines.append(f"cdef object {module.name}__{name}\n")
        return "".join(lines)

    # Statements of a module.

    def _statement(self, module, node):
        if isinstance(node, ast.ClassDef):
            return self._class(module, node)
        if isinstance(node, ast.FunctionDef):
            return self._module_function(module, node)
        if isinstance(node, ast.Assign | ast.AugAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            if all(self.folded(module.name, target.id) is not None for target in targets):
                return ""
            return self._unparsed(_Scope(self, module).visit(copy.deepcopy(node))) + "\n"
        return ""  # imports, docstrings, what the type check alone reads

    def _module_function(self, module, node):
        name = f"{module.name}__{node.name}"
        if node.name in HOOKS.get(module.name, ()):
            text = self._function(module, node, node.name, "", name + "__own", True)
            return f"{text}\n{name} = {name}__own\n"
        return self._function(module, node, node.name, "", name, False)

    def _class(self, module, node):
        head = f"\n{_final(node.name)}cdef class {node.name}(Part):\n"
        lines = [head]
        declared = self.declared[node.name] = [head]
        attributes = self.shapes.attributes[node.name]
        for name, kind in attributes.items():
            if name in RESERVED:
                declared.append(f"    cdef {c_type(kind)} c_{name}\n")
            else:
                declared.append(f"    cdef public {c_type(kind)} {name}\n")
        lines += [_property(name) for name in attributes if name in RESERVED]
        again = [row[0] for row in self.shapes.fields[node.name] if row[3] & self._again_mark()]
        compared = self._compares(node)
        if compared:
            declared.append(f"    cdef long[{self._marked()}] _was\n    cdef list _compared\n")
            declared.append("    cdef _start_comparing(self)\n    cpdef _compare(self)\n")
        lines.append(_again(again))
        lines.append(carrier.slots(0, *self.shapes.slots(node.name), "Part"))
        for inner in node.body:
            if isinstance(inner, ast.Assign):
                lines.append(self._unparsed(_Scope(self, module).visit(copy.deepcopy(inner)), 1) + "\n")
            elif isinstance(inner, ast.FunctionDef) and inner.name == "_compare" and compared:
                given = {"marked": self._marked(), "unlikely": UNLIKELY}
                lines.append("\n    cpdef _compare(self):\n" + COMPARE_BODY % given)
            elif isinstance(inner, ast.FunctionDef):
                key = f"{node.name}.{inner.name}"
                signature = module.functions[key][1]
                if not signature.plain:
                    declared.append(f"    {_header(inner.name, node.name, signature, False, True)}\n")
                lines.append(self._function(module, inner, key, node.name, inner.name, False, 1))
        return "".join(lines)

    def _again_mark(self):
        return vars(self.modules["records"].live)["AGAIN"]

    def _marked(self):
        # No controller has more marked fields than this.
        return 2 * sum(1 for rows in self.shapes.fields.values() for row in rows if row[3] & self._again_mark())

    def _compares(self, node):
        known = ast.dump(ast.parse(COMPARE_SOURCE).body[0])
        return any(isinstance(inner, ast.FunctionDef) and ast.dump(inner) == known for inner in node.body)

    def _function(self, module, node, key, owner, name, plain, indent=0):
        _node, signature = module.functions[key]
        scope = _Scope(self, module, owner, signature, node)
        body = [copy.deepcopy(statement) for statement in node.body]
        locals_ = scope.infer(body)
        scope.settle()
        body = [scope.visit(statement) for statement in body]
        tab = "    " * indent
        lines = [f"\n{tab}{_header(name, owner, signature, plain or signature.plain)}\n"]
        for local, kind in locals_.items():
            if kind != "object":
                lines.append(f"{tab}    cdef {c_type(kind)} {local}\n")
        for statement in body:
            lines.append(self._unparsed(statement, indent + 1) + "\n")
        return "".join(lines)

    def _unparsed(self, node, indent=0):
        text = ast.unparse(ast.fix_missing_locations(node)).replace("__LONG__(", "<long>(")
        tab = "    " * indent
        return "\n".join(tab + line if line else line for line in text.split("\n"))

    def _exports(self):
        lines = ["\n\ndef exports():\n", "    found = {}\n"]
        for module in self.modules.values():
            lines.append(f"    found[{module.name!r}] = {{\n")
            for name, value in vars(module.live).items():
                source, original = module.names.get(name, (None, None))
                if name.startswith("__") and name != "__getattr__":
                    continue
                if source == "module" or original == "const":
                    continue
                if original in self.shapes.classes:
                    lines.append(f"        {name!r}: {original},\n")
                elif type(value) is int:
                    lines.append(f"        {name!r}: {value},\n")
                else:
                    lines.append(f"        {name!r}: {source}__{original},\n")
            lines.append("    }\n")
        lines += ["    return found\n\n\ndef change(name, value):\n"]
        hooks = [(module, name) for module, names in HOOKS.items() for name in names if module in self.modules]
        lines.append(f"    global {', '.join(f'{module}__{name}' for module, name in hooks)}\n")
        for module, name in hooks:
            lines.append(f"    if name == '{module}.{name}':\n        {module}__{name} = value\n        return\n")
        lines.append("    raise AttributeError(name)\n")
        return "".join(lines)


class _Scope(ast.NodeTransformer):
    """The statements of one function, or of a module: names resolved, constants folded, lists of numbers read as such.

    Visiting an expression gives it `kind`, its type.
    """

    def __init__(self, translation, module, owner="", signature=None, function=None):
        self.all, self.module, self.owner = translation, module, owner
        self.shapes = translation.shapes
        self.locals = {}
        self.given = {}
        self.counting = {}  # names that count up to so many
        self.signature = signature
        if signature:
            for name, kind, _default in signature.takes:
                self.given[name] = kind
            if owner:
                self.given[signature.takes[0][0]] = ("is", owner)

    # Types of locals.

    def infer(self, body):
        """Return {local: type} from all that is assigned in `body`."""
        inner = {
            name.id for statement in body for node in ast.walk(statement) if isinstance(node, ast.comprehension)
            for name in ast.walk(node.target) if isinstance(name, ast.Name)
        }  # fmt: skip
        names = [
            node.id for statement in body for node in ast.walk(statement)
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)
        ]  # fmt: skip
        self.locals = {name: None for name in names if name not in self.given and name not in inner}
        self.loose = dict.fromkeys(inner, "object")
        for _ in range(4):
            for statement in body:
                for node in ast.walk(statement):
                    self._assigned(node)
        self.locals = {name: kind or "object" for name, kind in self.locals.items()}
        return self.locals

    def settle(self):
        """Take the locals as they are now."""
        self.given = {**self.given, **self.locals, **self.loose}
        self.locals = {}

    def _assigned(self, node):
        if isinstance(node, ast.Assign):
            for target in node.targets:
                self._assign(target, node.value)
        elif isinstance(node, ast.AugAssign) and isinstance(node.target, ast.Name):
            self._join(node.target.id, self._typed(node.value))
        elif isinstance(node, ast.For):
            kind = self._typed(node.iter)
            counted = isinstance(node.iter, ast.Call) and getattr(node.iter.func, "id", "") == "range"
            if isinstance(node.target, ast.Name):
                if counted or is_array(kind) or kind in ("ints", "table"):
                    self._join(node.target.id, "long")
                else:
                    self._join(node.target.id, ("is", kind[1]) if kind and kind[0] == "all" else "object")
            else:
                self._assign(node.target, None)

    def _assign(self, target, value):
        if isinstance(target, ast.Name):
            self._join(target.id, self._typed(value) if value is not None else "object")
        elif isinstance(target, ast.Tuple):
            choices = [value.body, value.orelse] if isinstance(value, ast.IfExp) else [value]
            for choice in choices:
                inner = choice.elts if isinstance(choice, ast.Tuple) else [None] * len(target.elts)
                for each, part in zip(target.elts, inner, strict=True):
                    self._assign(each, part)

    def _typed(self, node):
        return self.visit(copy.deepcopy(node)).kind

    def _join(self, name, kind):
        if name in self.locals and kind is not None:
            self.locals[name] = _joined(self.locals[name], kind)

    # Expressions.

    def generic_visit(self, node):
        """Visit what is below; its type is unknown unless somebody knows better."""
        super().generic_visit(node)
        node.kind = "object"
        return node

    def _is(self, node, kind):
        node.kind = kind
        return node

    def visit_Constant(self, node):
        """A literal."""
        return self._is(node, {bool: "bint", int: "long"}.get(type(node.value), "object"))

    def visit_Name(self, node):
        """A local, or a name of a module."""
        for known in (self.locals, self.given):
            if node.id in known:
                return self._is(node, known[node.id])
        if node.id not in self.module.names:
            return self._is(node, "object")
        return self._global(*self.module.names[node.id], node)

    def _global(self, module, name, node):
        if module == "module":
            return self._is(node, ("module", name))
        if name in self.shapes.classes:
            return self._is(ast.Name(name, ast.Load()), ("class", name))
        value = self.all.folded(module, name)
        if value is not None:
            return self._is(ast.Constant(value), "long")
        function = name in self.all.modules[module].functions
        kind = ("function", module, name) if function else self.all.type_of(module, name)
        return self._is(ast.Name(f"{module}__{name}", node.ctx), kind)

    def visit_Attribute(self, node):
        """A name of a module, an attribute or a method of a part."""
        node.value = self.visit(node.value)
        kind = node.value.kind
        if isinstance(kind, tuple) and kind[0] == "module":
            return self._global(*self.all.modules[kind[1]].names[node.attr], node)
        if isinstance(kind, tuple) and kind[0] == "is":
            attributes = self.shapes.attributes[kind[1]]
            if node.attr in attributes:
                found = attributes[node.attr]
                node.attr = f"c_{node.attr}" if node.attr in RESERVED else node.attr
                return self._is(node, found)
            if f"{kind[1]}.{node.attr}" in self.all.modules[self.shapes.classes[kind[1]]].functions:
                return self._is(node, ("method", kind[1], node.attr))
        return self._is(node, "object")

    def visit_Assign(self, node):
        """A place of an array is put by a call; an attribute that is one is made of the list."""
        node = self.generic_visit(node)
        target = node.targets[-1]
        if isinstance(target, ast.Subscript) and is_array(target.value.kind):
            if len(node.targets) > 1 or isinstance(target.slice, ast.Slice):
                raise ValueError(f"line {node.lineno}: a place of an array takes one number, by itself")
            return ast.Expr(ast.Call(ast.Name("ints_put", ast.Load()), [target.value, target.slice, node.value], []))
        if isinstance(target, ast.Attribute) and is_array(target.kind):
            node.value = _call("Ints", node.value)
        return node

    def visit_For(self, node):
        """A loop that counts through an array looks at its places without asking whether they are there."""
        name = getattr(node.target, "id", "")
        end = self._counts(node, name)
        if end is not None:
            self.counting[name] = end
        node = self.generic_visit(node)
        self.counting.pop(name, None)
        if is_array(node.iter.kind):
            places = ast.Slice(None, ast.Attribute(node.iter, "count", ast.Load()))
            node.iter = ast.Subscript(ast.Attribute(node.iter, "v", ast.Load()), places, ast.Load())
        return node

    def _counts(self, node, name):
        # Up to what a loop counts, or None.
        call = node.iter
        if not isinstance(call, ast.Call) or getattr(call.func, "id", "") != "range" or len(call.args) != 1:
            return None
        end = self.visit(copy.deepcopy(call.args[0]))
        stored = [
            inner for statement in node.body for inner in ast.walk(statement)
            if isinstance(inner, ast.Name) and inner.id == name and isinstance(inner.ctx, ast.Store)
        ]  # fmt: skip
        return end.value if not stored and isinstance(end, ast.Constant) else None

    def visit_AugAssign(self, node):
        """A place of an array is read and put; it may be asked for twice, so the place calls nothing."""
        target = node.target
        if isinstance(target, ast.Subscript) and is_array(self._typed(target.value)):
            if any(isinstance(inner, ast.Call) for inner in ast.walk(target)):
                raise ValueError(f"line {node.lineno}: a place of an array that is counted up calls nothing")
            read = ast.Subscript(copy.deepcopy(target.value), copy.deepcopy(target.slice), ast.Load())
            put = ast.Assign([target], ast.BinOp(read, node.op, node.value), lineno=node.lineno)
            return self.visit(put)
        return self.generic_visit(node)

    def visit_Subscript(self, node):
        """A place of a list."""
        node.value, node.slice = self.visit(node.value), self.visit(node.slice)
        kind, load = node.value.kind, isinstance(node.ctx, ast.Load)
        if is_array(kind) and self.counting.get(getattr(node.slice, "id", ""), sys.maxsize) <= kind[1]:
            node.value = self._is(ast.Attribute(node.value, "v", ast.Load()), "object")
            return self._is(node, "long")
        if isinstance(node.slice, ast.Slice) or not load:
            return self._is(node, "object")
        if is_array(kind):
            return self._is(ast.Call(ast.Name("ints_get", ast.Load()), [node.value, node.slice], []), "long")
        if kind in ("ints", "table"):
            return self._is(_call("__LONG__", node), "long")
        if isinstance(kind, tuple) and kind[0] == "all":
            return self._is(_call(f"as_{kind[1]}", node), ("is", kind[1]))
        return self._is(node, "object")

    def visit_BinOp(self, node):
        """Arithmetic of whole numbers stays one."""
        node.left, node.right = self.visit(node.left), self.visit(node.right)
        return self._is(node, _arithmetic(node.left.kind, node.right.kind))

    def visit_UnaryOp(self, node):
        """Not, minus, invert."""
        node.operand = self.visit(node.operand)
        return self._is(node, "bint" if isinstance(node.op, ast.Not) else _arithmetic(node.operand.kind, "long"))

    def visit_BoolOp(self, node):
        """And, or: one of the operands."""
        node.values = [self.visit(value) for value in node.values]
        kind = None
        for value in node.values:
            kind = _joined(kind, value.kind)
        return self._is(node, kind)

    def visit_Compare(self, node):
        """A comparison."""
        super().generic_visit(node)
        return self._is(node, "bint")

    def visit_IfExp(self, node):
        """One or the other."""
        super().generic_visit(node)
        return self._is(node, _joined(node.body.kind, node.orelse.kind))

    def visit_Call(self, node):
        """What a call gives."""
        if getattr(node.func, "id", "") == "const":
            return self.visit(node.args[0])
        super().generic_visit(node)
        kind, name = node.func.kind, getattr(node.func, "id", "")
        if isinstance(kind, tuple) and kind[0] == "class":
            return self._is(_call(f"as_{kind[1]}", node), ("is", kind[1]))
        if isinstance(kind, tuple) and kind[0] == "function":
            return self._is(node, self._gives(self.all.modules[kind[1]].functions[kind[2]][1]))
        if isinstance(kind, tuple) and kind[0] == "method":
            functions = self.all.modules[self.shapes.classes[kind[1]]].functions
            return self._is(node, self._gives(functions[f"{kind[1]}.{kind[2]}"][1]))
        if name in ("min", "max") and all(argument.kind in NUMBERS for argument in node.args):
            return self._is(node, "long")
        return self._is(node, {"len": "long", "int": "long", "bool": "bint"}.get(name, "object"))

    def _gives(self, signature):
        return "object" if signature.plain and signature.gives not in NUMBERS else signature.gives


def _call(name, argument):
    return ast.Call(ast.Name(name, ast.Load()), [argument], [])


def _joined(a, b):
    if a is None or a == b:
        return b
    if b is None:
        return a
    return "long" if a in NUMBERS and b in NUMBERS else "object"


def _arithmetic(a, b):
    if a is None or b is None:
        return None
    return "long" if a in NUMBERS and b in NUMBERS else "object"


def c_type(kind):
    """Return how Cython writes a type of `shapes`."""
    if isinstance(kind, tuple):
        return {"is": kind[1], "all": "list", "array": "Ints"}.get(kind[0], "object")
    return {"ints": "list", "table": "tuple"}.get(kind, kind)


def _header(name, owner, signature, plain, declared=False):
    takes = []
    for place, (argument, kind, default) in enumerate(signature.takes):
        first = owner and place == 0
        typed = argument if first or kind == "object" else f"{c_type(kind)} {argument}"
        takes.append(typed if default is None else f"{typed}=*" if declared else f"{typed}={ast.unparse(default)}")
    if plain:
        return f"def {name}({', '.join(takes)}):"
    gives = signature.gives
    tail = {"long": f" except? {UNLIKELY}", "bint": " except -1"}.get(gives, "")
    kind = "" if gives == "object" else c_type(gives) + " "
    return f"cpdef {kind}{name}({', '.join(takes)}){tail}{'' if declared else ':'}"


def _final(name):
    return "" if name in OPEN else "@cython.final\n"


def _property(name):
    return (
        f"    @property\n    def {name}(self):\n        return self.c_{name}\n"
        f"    @{name}.setter\n    def {name}(self, value):\n        self.c_{name} = value\n"
    )


def _again(names):
    # See `Part` in HEAD.
    lines = ["\n    cdef int _again(self, long* seen, int at, bint* differs) except -1:\n"]
    for place, name in enumerate(names):
        own = f"self.c_{name}" if name in RESERVED else f"self.{name}"
        lines.append(f"        if seen[at + {place}] != {own}:\n")
        lines.append(f"            seen[at + {place}] = {own}\n            differs[0] = True\n")
    lines.append(f"        return at + {len(names)}\n")
    lines.append(f"\n    cdef int _marked(self) except -1:\n        return {len(names)}\n")
    return "".join(lines)
