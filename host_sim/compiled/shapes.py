"""The types of the control core: what its annotations say, and what a controller that was just made holds.

A type here is one of

    "long", "bint"      a whole number, a truth value
    "ints"              a list of whole numbers
    "list", "tuple"     a list or tuple of anything
    "table"             a tuple of whole numbers
    "object"            anything
    ("is", "Pump")      an instance of a class of the core
    ("all", "Pump")     a list of such
    ("array", 94)       a list of so many whole numbers, held as numbers of C (`hooks.ARRAYS`); 0: of any number
"""

import ast
import importlib
import importlib.util
import inspect
import sys
from dataclasses import dataclass, field

from host_sim.compiled import carrier
from host_sim.compiled.hooks import ARRAYS, ARRAYS_TAKEN

# Words that are types to Cython, and so no name of an attribute.
RESERVED = {"long", "short", "int", "signed", "unsigned", "char", "float", "double", "void"}
SLOTS = {"long": carrier.LONG, "bint": carrier.TRUTH, "ints": carrier.LIST}
PURE = "sumpbench_pure_core"  # the name under which the sources are loaded to be looked at


@dataclass
class Signature:
    """What a function takes and gives: `takes` is a list of (name, type, default or None)."""

    takes: list
    gives: str | tuple
    plain: bool  # it stays a Python function


@dataclass
class Module:
    """One file of the core: its tree, its live module, and what its names stand for."""

    name: str
    tree: ast.Module
    live: object
    names: dict = field(default_factory=dict)  # name: ("module", m), or (m, name) where it is defined
    functions: dict = field(default_factory=dict)  # name or "Class.name": (node, Signature)


def load(folder):
    """Return {name: Module} of a folder `control`, in the order of their imports."""
    trees = {path.stem: ast.parse(path.read_text(encoding="utf-8")) for path in sorted(folder.glob("*.py"))}
    trees.pop("__init__")
    _load_package(folder)
    try:
        modules = {}
        for name in _in_order(trees):
            live = importlib.import_module(f"{PURE}.{name}")
            modules[name] = Module(name, trees[name], live)
    finally:
        for name in [name for name in sys.modules if name.split(".")[0] == PURE]:
            del sys.modules[name]
    for module in modules.values():
        _names(module, modules)
    return modules


def _load_package(folder):
    places = [str(folder)]
    spec = importlib.util.spec_from_file_location(PURE, folder / "__init__.py", submodule_search_locations=places)
    sys.modules[PURE] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(sys.modules[PURE])


def imports(tree):
    """Yield (name of the module or "", alias) of every import of the core by the core."""
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and node.level == 1:
            for alias in node.names:
                yield node.module or "", alias


def _in_order(trees):
    done = []

    def visit(name):
        if name not in done:
            for module, alias in imports(trees[name]):
                visit(module or alias.name)
            done.append(name)

    for name in trees:
        visit(name)
    return done


def _names(module, modules):
    for source, alias in imports(module.tree):
        name = alias.asname or alias.name
        module.names[name] = ("module", alias.name) if not source else modules[source].names.get(
            alias.name, (source, alias.name))  # fmt: skip
    for name in vars(module.live):
        if not name.startswith("__") or name == "__getattr__":
            module.names.setdefault(name, (module.name, name))


class Shapes:
    """Types by module, class and attribute.

    `modules` is what `load()` gave; `classes` {class: module}; `attributes` {class: {name: type}};
    `fields` {class: its FIELDS}.
    """

    def __init__(self, modules):
        self.modules = modules
        self.classes = {
            name: module.name
            for module in modules.values()
            for name, value in vars(module.live).items()
            if inspect.isclass(value) and value.__module__ == module.live.__name__
        }
        self.attributes = {}
        for module in modules.values():
            self._functions(module)
        self._look_at(modules["controller"].live.Controller(self._default("settings")))
        for name in self.classes:
            if name not in self.attributes:
                self._look_at(self._made(name))
        self.fields = {name: getattr(self.live(name), "FIELDS", ()) for name in self.classes}

    def live(self, name):
        """Return the live class of a name."""
        return getattr(self.modules[self.classes[name]].live, name)

    def slots(self, name):
        """Return ([whole numbers], [lists of them]) of a class: (name outside, name in the source, what it holds)."""
        numbers, lists = [], []
        for attribute, kind in self.attributes[name].items():
            holds = carrier.ARRAY if is_array(kind) else SLOTS.get(kind)
            if holds is not None:
                inner = f"c_{attribute}" if attribute in RESERVED else attribute
                (lists if holds >= carrier.LIST else numbers).append((attribute, inner, holds))
        return numbers, lists

    def _functions(self, module):
        for node in module.tree.body:
            if isinstance(node, ast.FunctionDef):
                taken = ARRAYS_TAKEN.get(f"{module.name}.{node.name}", ())
                module.functions[node.name] = node, self._signature(node, taken)
            elif isinstance(node, ast.ClassDef):
                for inner in node.body:
                    if isinstance(inner, ast.FunctionDef):
                        name = f"{node.name}.{inner.name}"
                        module.functions[name] = inner, self._signature(inner, ARRAYS_TAKEN.get(name, ()))

    def _signature(self, node, arrays=()):
        arguments = node.args.args
        defaults = [None] * (len(arguments) - len(node.args.defaults)) + node.args.defaults
        takes = [
            (argument.arg, ("array", 0) if argument.arg in arrays
             else self._annotated(argument.annotation, node, argument.arg), default)
            for argument, default in zip(arguments, defaults, strict=True)
        ]
        plain = node.name.startswith("__") or any(
            isinstance(inner, ast.GeneratorExp | ast.Lambda | ast.FunctionDef) and inner is not node
            for inner in ast.walk(node)
        )
        return Signature(takes, self._annotated(node.returns), plain)

    def _annotated(self, annotation, function=None, name=""):
        if annotation is None:
            return "object"
        text = annotation.value if isinstance(annotation, ast.Constant) else ast.unparse(annotation)
        text = str(text).replace("'", "").replace('"', "")
        last = text.split(".")[-1].rstrip("]")
        if text == "object":
            return "bint" if function and _truth_only(function, name) else "object"
        if text in ("int", "bool"):
            return {"int": "long", "bool": "bint"}[text]
        if text == "list[int]":
            return "ints"
        if last in self.classes:
            return ("all" if text.startswith("list[") else "is", last)
        return "object"

    def _default(self, name, timers=None):
        if name == "settings":
            return self.modules["settings"].live.defaults()
        return timers or self.live("Timers")()

    def _made(self, name):
        arguments = list(inspect.signature(self.live(name)).parameters)
        return self.live(name)(*(self._default(argument) for argument in arguments))

    def _look_at(self, thing):
        name = type(thing).__name__
        if self.classes.get(name) is None or name in self.attributes:
            return
        self.attributes[name] = {}
        for attribute, value in vars(thing).items():
            arrayed = attribute in ARRAYS.get(name, ())
            self.attributes[name][attribute] = ("array", len(value)) if arrayed else self.type_of(value)
            for inner in value if isinstance(value, list) else (value,):
                self._look_at(inner)

    def type_of(self, value):
        """Return the type of a live value."""
        if isinstance(value, bool):
            return "bint"
        if isinstance(value, int):
            return "long"
        if type(value).__name__ in self.classes and not inspect.isclass(value):
            return "is", type(value).__name__
        if isinstance(value, list) and value:
            kinds = {type(item).__name__ for item in value}
            if kinds <= {"int", "bool"}:
                return "ints"
            if len(kinds) == 1 and kinds <= set(self.classes):
                return "all", kinds.pop()
        if isinstance(value, tuple) and value and all(type(item) is int for item in value):
            return "table"
        return type(value).__name__ if isinstance(value, list | tuple) else "object"


def is_array(kind):
    """Tell whether a type is a list of whole numbers that is held as numbers of C."""
    return isinstance(kind, tuple) and kind[0] == "array"


def _truth_only(function, name):
    # Whether an argument is asked for its truth alone, or passed on.
    for node in ast.walk(function):
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.Name) and child.id == name:
                tested = isinstance(node, ast.If | ast.IfExp | ast.While) and node.test is child
                if not (tested or isinstance(node, ast.Call) or isinstance(getattr(node, "op", None), ast.Not)):
                    return False
    return True
