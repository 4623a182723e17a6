"""A build for a board: constants folded, nothing that the firmware reads left out, and smaller by what it claims."""

import ast
from pathlib import Path

import pytest
from duplexsump.control import settings as s

from host_sim.board import deploy, fold
from host_sim.board.virtual import FIRMWARE

ROOT = FIRMWARE / deploy.PACKAGE


def texts():
    return {path.relative_to(ROOT): path.read_text(encoding="utf-8") for path in sorted(ROOT.rglob("*.py"))}


def folded(**sources):
    found = fold.fold({Path(name.replace("__", "/") + ".py"): text for name, text in sources.items()})
    return {str(path.with_suffix("")).replace("/", "__"): text for path, text in found.items()}


A = "from .ticks import const\nONE = const(1)\nTWO = const(ONE << 1)\n_OWN = const(-5)\nNAMES = ('a', 'b')\n"


def test_a_constant_becomes_its_number_wherever_it_is_read():
    found = folded(
        a=A,
        b="from . import a as x\nfrom .a import TWO\ndef f(v):\n    return v - x._OWN + TWO * x.ONE\n",
        c="from .a import NAMES\nprint(NAMES)\n",
    )
    space = {}
    exec(found["b"], space)
    assert space["f"](10) == 10 + 5 + 2
    assert "import" not in found["b"], "nothing is left to import"
    assert found["a"].strip() == "NAMES = ('a', 'b')"
    assert "NAMES" in found["c"]


def test_a_name_that_is_written_to_or_no_constant_stays():
    text = "from .a import ONE, helper\nLIST = [ONE]\ndef f(ONE_MORE):\n    LIST.append(ONE_MORE)\n    helper(LIST)\n"
    found = folded(a=A + "def helper(v):\n    return v\n", b=text)["b"]
    assert "LIST = [1]" in found
    assert "import helper" in found
    assert "ONE_MORE" in found


def test_a_table_that_nobody_reads_goes_and_one_that_somebody_reads_stays():
    found = folded(a="LEFT = (1, 2)\nREAD = (3, 4)\nMADE = list(range(3))\n", b="from . import a\nprint(a.READ)\n")["a"]
    assert ("LEFT" in found, "READ" in found, "MADE" in found) == (False, True, True)


def test_every_module_folded_is_the_same_program_but_for_what_is_left_out():
    found = fold.fold(texts())
    assert found.keys() == texts().keys()
    for path, text in found.items():
        before = {node.name for node in ast.walk(ast.parse(texts()[path])) if isinstance(node, ast.FunctionDef)}
        after = {node.name for node in ast.walk(ast.parse(text)) if isinstance(node, ast.FunctionDef)}
        # `const` itself and what only the check of types sees may go.
        assert before - after <= {"const"}, path


def test_the_settings_keep_their_names_units_and_ranges_and_lose_their_prose():
    space = {}
    exec(fold.fold(texts())[Path("control/settings.py")], space)
    assert [row[:5] for row in space["TABLE"]] == [row[:5] for row in s.TABLE]
    assert {row[5:] for row in space["TABLE"]} == {("", "")}
    assert space["check"](s.defaults()) == []


@pytest.mark.parametrize("board", ["pico", "esp32"])
def test_a_build_is_small(tmp_path, board):
    deploy.compile_firmware(FIRMWARE, tmp_path / "build", board)
    size = sum(path.stat().st_size for path in (tmp_path / "build").rglob("*.mpy"))
    print(f"{board}: {size} bytes of .mpy")
    assert size < 76000
