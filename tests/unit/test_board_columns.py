"""Constant tables and attributes made small in a build: what a module says stays the same, line by line."""

import ast

import pytest

from host_sim.board.columns import lay_out
from host_sim.board.hoist import hoist

TABLES = """
ROWS = (("a", "ms", 5, 0, 1), ("b", "ms", 70000, 1, 2), ("c", "mm", 3, 0, 3), ("d", "ms", 2, 0, 4)) * 1
STATES = ("idle", "running")
EVENTS = ("start", "stop")
NEXT = (1, 255, 255, 0, 3, 4)
FEW = (1, 2)
LARGE = (1, 256, 3, 4, 5, 6)
KINDS = [row[3] == 1 for row in ROWS]
def name(i): return ROWS[i][0]
def both(i): return ROWS[i][2] + ROWS[i][4]
def following(state, event):
    found = NEXT[2 * state + event]
    if found == 255:
        raise ValueError("row %s: event %s in state %s" % (ROWS[state][0], EVENTS[event], STATES[state]))
    return found
def wild(i): return KINDS[i], [one for one in NEXT], 4 in NEXT, FEW[0], LARGE[i]
"""


def built(text, outside="", many=5):
    """The text as a build has it, its tables of four rows `many` times as long."""
    text = text.replace("* 1", f"* {many}")
    tree = ast.parse(text)
    row = tree.body[0].value
    tree.body[0].value = ast.Tuple(row.left.elts * row.right.value, ast.Load())  # as a table is written
    lay_out([tree], [ast.parse(outside)])
    return ast.unparse(tree)


def space_of(text):
    space = {}
    exec(text, space)
    return space


@pytest.mark.parametrize("many", [1, 5])
def test_a_table_s_columns_say_what_its_rows_said(many):
    text = built(TABLES, many=many)
    before, after = space_of(TABLES.replace("* 1", f"* {many}")), space_of(text)
    for i in range(4 * many):
        for name in ("name", "both"):
            assert before[name](i) == after[name](i)
    for i in range(4):
        assert before["wild"](i) == after["wild"](i)
    assert [after["following"](0, 0), after["following"](1, 1)] == [1, 0]
    assert "ROWS =" not in text and after["NEXT"] == bytes(before["NEXT"])
    assert after["FEW"] == (1, 2) and after["LARGE"] == before["LARGE"], "too few, too large"
    assert ("ROWS__2[" in text) and (("<< 16" in text) is (many == 5)), "wide numbers where there are many"
    assert len(after["ROWS__4"]) == 4 * many and (type(after["ROWS__4"]) is bytes) is (many == 5)


def test_an_exception_tells_numbers_for_names_that_stand_nowhere_else():
    text = built(TABLES)
    with pytest.raises(ValueError, match=r"^row 0: event 1 in state 0$"):
        space_of(text)["following"](0, 1)
    assert "EVENTS[" not in text and "STATES[" not in text
    text = built(TABLES + "def shown(i): return STATES[i]\n")
    with pytest.raises(ValueError, match=r"^row 0: event 1 in state idle$"):
        space_of(text)["following"](0, 1)


def test_texts_that_come_again_are_kept_once():
    text = built(TABLES + "def unit(i): return ROWS[i][1]\n")
    after = space_of(text)
    assert [after["unit"](i) for i in range(4)] == ["ms", "ms", "mm", "ms"] and after["ROWS__1"] == ("ms", "mm")


@pytest.mark.parametrize("use", [
    "def f(): return ROWS\n", "def f(i): return ROWS[i][:2]\n", "def f(i, k): return ROWS[i][k]\n",
    "def f(): return [row for row in ROWS]\n", "def f(): return len(ROWS)\n", "ROWS = ()\n",
])  # fmt: skip
def test_a_table_that_is_read_in_another_way_stays(use):
    assert "ROWS = ((" in built(TABLES + use)


def test_a_table_with_a_number_below_0_stays():
    assert "ROWS = ((" in built(TABLES.replace("5, 0, 1", "5, 0, -1"))


@pytest.mark.parametrize("use", ["NEXT", "NEXT[1:]", "NEXT + (1,)", "len(NEXT)", "NEXT == 3"])
def test_numbers_that_are_read_in_another_way_stay_a_tuple(use):
    assert "NEXT = (" in built(TABLES + f"def f(): return {use}\n")


def test_what_another_module_reads_stays():
    text = built(TABLES, "from .tables import ROWS\nimport tables\nprint(tables.NEXT)\n")
    assert "ROWS = ((" in text and "NEXT = (" in text and "EVENTS = (" in text


def test_a_wide_number_s_place_is_worked_out_again_only_where_that_does_no_harm():
    text = "WIDE = (70000, 2) * 1\nNEXT = iter(range(9))\ndef f(): return WIDE[next(NEXT)]\n"
    assert "<< 16" not in built(text, many=20)
    text = "WIDE = (70000, 2) * 1\ndef f(i): return WIDE[i + 1]\n"
    assert "<< 16" in built(text, many=20)
    assert [space_of(built(text, many=20))["f"](i) for i in range(3)] == [2, 70000, 2]


CLASS = """
class Part:
    FIELDS = (("level", 0), ("fixed_too", 0))
    def __init__(self, given):
        self.fixed = given
        self.moving = given
        self.fixed_too = given
        self.also = given
    def used(self, n):
        self.moving = n
        if n: return self.fixed + self.fixed + self.moving + self.moving + self.moving
        return [self.fixed for _ in range(3)], self.also, self.also, self.fixed
    def set(self):
        return self.fixed_too, self.fixed_too, self.fixed_too
    def full(self, a, b, c, d, e, f, g):
        return self.fixed + a + b + c + d + e + f + g, self.fixed, self.fixed
"""


def test_what_only_init_sets_is_read_once_and_the_rest_as_before():
    tree = ast.parse(CLASS)
    hoist([tree], [])
    text = ast.unparse(tree)
    assert text.count("fixed__kept = self.fixed\n") == 1
    used = text[text.index("def used") : text.index("def set")]
    assert used.index("fixed__kept = ") < used.index("self.moving = n")
    assert "moving__kept" not in text and "also__kept" not in text, "set elsewhere; read twice"
    assert "[self.fixed for" in used, "what lies within has variables of its own"
    assert "fixed_too__kept" not in text, "a table of fields sets it by name"
    assert "__kept" not in text[text.index("def full") :], "its frame is full"
    one, two = space_of(CLASS)["Part"](3), space_of(text)["Part"](3)
    for n in (0, 5):
        assert one.used(n) == two.used(n)


def test_what_another_module_sets_is_read_anew():
    tree = ast.parse(CLASS)
    hoist([tree], [ast.parse("def spoil(part): part.fixed = 1\n")])
    assert "fixed__kept" not in ast.unparse(tree)
