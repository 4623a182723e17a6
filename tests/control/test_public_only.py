"""The tests of the control core speak to what is public, so that what is private may be renamed, cut up or merged.

No test reads, calls, patches or overrides a name of the firmware that begins
with `_`, and none puts a stand-in in the place of a part or of a part's method.
"""

import ast
from pathlib import Path

import pytest
from duplexsump.control import settings as s
from duplexsump.control.controller import Controller

HERE = Path(__file__).parent
EXCEPTIONS = {  # (file, what is found): the reason
}
BY_NAME = {"getattr", "setattr", "delattr", "hasattr"}


def parts():
    """Return the names of a controller's parts, of the parts' public methods, and of what holds a number or a list."""
    c = Controller(s.defaults())
    made = [part for prefix, part in c.parts if prefix]
    held = {name for name, value in vars(c).items() if any(value is part for part in made)} | {"pumps", "parts"}
    methods = {name for part in [*made, c] for name in dir(part) if callable(getattr(part, name))}
    plain = {name for part in made for name, value in vars(part).items() if isinstance(value, int | list)}
    return held, {name for name in methods if not name.startswith("_")}, plain - {"pumps"}


PARTS, METHODS, PLAIN = parts()  # some names are both: `gate.contacts` is a word of bits


def private(name):
    """Tell whether a name, or the last of a dotted one, begins with one underscore."""
    last = name.rpartition(".")[2]
    return last.startswith("_") and not last.startswith("__") and last != "_"


def of_firmware(tree):
    """Return the names that a module imports from the firmware."""
    imports = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module]
    return {alias.asname or alias.name for node in imports if node.module.split(".")[0] == "duplexsump"
            for alias in node.names}  # fmt: skip


def base(node):
    """Return the name at the root of `a.b[0].c`."""
    while isinstance(node, ast.Attribute | ast.Subscript):
        node = node.value
    return getattr(node, "id", "")


def assigned(node):
    """Return (target, value) of each single assignment in one."""
    pairs = []
    for target in node.targets if isinstance(node, ast.Assign) else [node.target]:
        if isinstance(target, ast.Tuple):
            values = node.value.elts if isinstance(node.value, ast.Tuple) else [node.value] * len(target.elts)
            pairs += list(zip(target.elts, values, strict=False))
        else:
            pairs.append((target, node.value))
    return pairs


def exchanges(target, value):
    """Tell whether an assignment puts something in the place of a part, or of a part's method."""
    held = target.value if isinstance(target, ast.Subscript) else target
    if not isinstance(held, ast.Attribute) or held.attr not in PARTS | METHODS:
        return False
    if held.attr in PLAIN:
        return isinstance(value, ast.Call | ast.Lambda)
    return held.attr in PARTS or isinstance(target, ast.Attribute)


class Finder(ast.NodeVisitor):
    """Collects (line, what) of everything that is not allowed."""

    def __init__(self, tree):
        self.found = []
        self.firmware = of_firmware(tree)
        self.own = {"self", "cls"}  # within a class of the tests' own
        self.visit(tree)

    def note(self, node, what):
        self.found.append((node.lineno, what))

    def visit_ImportFrom(self, node):
        for alias in node.names:
            if private(alias.name):
                self.note(node, alias.name)

    def visit_ClassDef(self, node):
        outer, bases = self.own, {base(each) for each in node.bases}
        self.own = set() if bases & self.firmware else {"self", "cls"}
        if not self.own:
            for inner in node.body:
                if isinstance(inner, ast.FunctionDef) and private(inner.name):
                    self.note(inner, f"def {inner.name}")
        self.generic_visit(node)
        self.own = outer

    def visit_Attribute(self, node):
        if private(node.attr) and not (isinstance(node.value, ast.Name) and node.value.id in self.own):
            self.note(node, ast.unparse(node))
        self.generic_visit(node)

    def visit_Call(self, node):
        called = getattr(node.func, "id", getattr(node.func, "attr", ""))
        if called in BY_NAME or called.startswith("patch"):
            for given in node.args:
                if isinstance(given, ast.Constant) and isinstance(given.value, str) and private(given.value):
                    self.note(node, f"{called} of {given.value}")
        self.generic_visit(node)

    def visit(self, node):
        if isinstance(node, ast.Assign | ast.AugAssign | ast.AnnAssign):
            self.assignment(node)
        super().visit(node)

    def assignment(self, node):
        for target, value in assigned(node):
            if base(target) not in self.own and exchanges(target, value):
                self.note(node, f"{ast.unparse(target)} exchanged")


def findings(text):
    """Return (line, what) of everything in a module's text that is not allowed, in order."""
    return sorted(set(Finder(ast.parse(text)).found))


@pytest.mark.parametrize("path", sorted(HERE.glob("*.py")), ids=lambda path: path.stem)
def test_the_tests_of_the_core_speak_to_what_is_public(path):
    found = [(line, what) for line, what in findings(path.read_text(encoding="utf-8"))
             if (path.name, what) not in EXCEPTIONS]  # fmt: skip
    assert found == []


def test_every_exception_is_still_needed_and_has_a_reason():
    for (name, what), reason in EXCEPTIONS.items():
        assert len(reason.split()) > 3
        assert what in {found for _line, found in findings((HERE / name).read_text(encoding="utf-8"))}


HEAD = "from duplexsump.control import pump as pm\nfrom duplexsump.control.controller import Controller\n"


@pytest.mark.parametrize(("text", "what"), [
    ("c._evaluate(inputs)", "c._evaluate"),
    ("rig.c.pumps[0]._rested()", "rig.c.pumps[0]._rested"),
    ("c._proved = lambda: True", "c._proved"),
    ("ring = pm._RING", "pm._RING"),
    ("from duplexsump.control.controller import _places", "_places"),
    ("monkeypatch.setattr(Controller, '_sign', sign)", "setattr of _sign"),
    ("monkeypatch.setattr('duplexsump.control.pump._RING', 3)", "setattr of duplexsump.control.pump._RING"),
    ("getattr(c, '_tell')(inputs)", "getattr of _tell"),
    ("class Odd(Controller):\n    def _tell(self, inputs):\n        pass", "def _tell"),
    ("class Odd(pm.Pump):\n    def go(self):\n        self._rested()", "self._rested"),
    ("c.alarms = Asked('alarms')", "c.alarms exchanged"),
    ("rig.c.gate, rig.c.pair = 1, 2", "rig.c.pair exchanged"),
    ("c.pumps[1] = pump()", "c.pumps[1] exchanged"),
    ("c.gate.step = lambda want: want", "c.gate.step exchanged"),
    ("c.demand = Has(demand=2)", "c.demand exchanged"),
    ("c.transmitter.failed = lambda: True", "c.transmitter.failed exchanged"),
])  # fmt: skip
def test_canary_the_gate_finds_what_is_private(text, what):
    assert what in [found for _line, found in findings(HEAD + text)]


@pytest.mark.parametrize("text", [
    "c.step(now, inputs)", "rig.c.pumps[0].state = pm.RETRY", "c.timers.at[3] = 100", "type(c).__name__",
    "class Bench:\n    def _go(self):\n        self._at = self.pump = 1", "for _ in range(3):\n    pass",
    "setattr(c, 'due', 0)", "c.demand.demand = 2", "c.gate.contacts = c.exercise.failed = 3",
])  # fmt: skip
def test_the_gate_lets_through_what_is_public(text):
    assert findings(HEAD + text) == []
