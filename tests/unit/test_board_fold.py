"""A build for a board: constants folded, nothing that the firmware reads left out, and smaller by what it claims."""

import ast
import subprocess
import sys
import types
from pathlib import Path

import pytest
from duplexsump.control import settings as s

from host_sim.board import deploy, fold, shorten
from host_sim.board.virtual import FIRMWARE

ROOT = FIRMWARE / deploy.PACKAGE


AROUND = [(FIRMWARE / name).read_text(encoding="utf-8") for name in ("boot.py", "main.py")]


def texts():
    return {path.relative_to(ROOT): path.read_text(encoding="utf-8") for path in sorted(ROOT.rglob("*.py"))}


def folded(**sources):
    paths = {Path(name.replace("__", "/") + ".py"): text for name, text in sources.items()}
    found = fold.fold(paths, ["print(f, LIST)"], short=False)  # read from outside
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
    found = fold.fold(texts(), AROUND, short=False)
    assert found.keys() == texts().keys()
    for path, text in found.items():
        before = {node.name for node in ast.walk(ast.parse(texts()[path])) if isinstance(node, ast.FunctionDef)}
        after = {node.name for node in ast.walk(ast.parse(text)) if isinstance(node, ast.FunctionDef)}
        # `const` itself and what only the check of types sees may go, and what is there for the PC.
        gone = {("control", "bands"): {"thresholds", "_level_thresholds", "_battery_thresholds", "_microamps"},
                ("control", "controller"): {"__getattr__", "_places", "restore", "next_due"}}  # fmt: skip
        assert before - after <= gone.get(path.with_suffix("").parts, set()) | {"const"}, path


def test_the_settings_keep_their_names_units_and_ranges_and_lose_their_prose():
    space = {}
    exec(fold.fold(texts(), short=False)[Path("control/settings.py")], space)
    assert [row[:5] for row in space["TABLE"]] == [row[:5] for row in s.TABLE]
    assert {len(row) for row in space["TABLE"]} == {5}
    assert space["check"](s.defaults()) == []


@pytest.mark.parametrize("board", ["pico", "esp32"])
def test_a_build_is_small(tmp_path, board):
    deploy.compile_firmware(FIRMWARE, tmp_path / "build", board)
    build = tmp_path / "build"
    sizes = {str(path.relative_to(build)): path.stat().st_size for path in build.rglob("*.mpy")}
    extra = sizes.pop("boards/expander.mpy")  # imported only where it is fitted
    size = sum(sizes.values())
    print(f"{board}: {size} bytes of .mpy, and {extra} of the expander")
    assert size < 69500
    assert extra < 2000


def test_what_nobody_calls_is_left_out_and_what_the_files_around_call_is_not():
    text = """
def called(): return 1
def around(): return 2
def dead(): return deader()
def deader(): return 3
class Part:
    def __init__(self): self.x = called()
    def seen(self): return 1
    def unseen(self): return 2
"""
    other = "from .a import Part\nprint(Part().seen())\n"
    found = fold.fold({Path("a.py"): text, Path("b.py"): other}, ["from duplexsump.a import around\n"], short=False)
    names = {node.name for node in ast.walk(ast.parse(found[Path("a.py")])) if hasattr(node, "name")}
    assert names == {"called", "around", "Part", "__init__", "seen"}


NAMES = """
import machine
FIELDS = (("counted", 1), ("level", 2))
class Part:
    FIELDS = (("counted", 1),)
    def __init__(self, pin, supplied):
        self.counted = supplied
        self.pin = machine.Pin(pin, value=supplied)
    def written(self, level):
        self.pin.value(level)
        return getattr(self, self.FIELDS[0][0])
"""


def test_names_are_cut_short_alike_everywhere_and_what_the_outside_knows_stays():
    other = "from .part import Part\n"
    other += "def kept_outside(supplied):\n    return Part(3, supplied=supplied).written(level=1)\n"
    sources = {Path("part.py"): NAMES, Path("other.py"): other}
    found = fold.fold(sources, ["from duplexsump.other import kept_outside\n"])
    text = "\n".join(found.values())
    assert not any(word in text for word in ("counted", "supplied", "written"))
    assert "def kept_outside(" in text and "value=" in text and ".value(" in text and "machine.Pin(" in text
    space = {}
    fake = types.ModuleType("machine")
    fake.Pin = lambda number, value: types.SimpleNamespace(value=lambda level: None)
    sys.modules["machine"] = fake
    try:
        exec(found[Path("part.py")], space)
        exec(found[Path("other.py")].replace("from .part import", "from builtins import *  #"), space)
    finally:
        del sys.modules["machine"]
    assert space["kept_outside"](7) == 7


@pytest.mark.long
def test_two_names_become_one_only_at_a_top_and_behind_a_dot_and_none_is_a_builtin_or_a_word_of_the_language():
    trees = {("duplexsump", *path.with_suffix("").parts): ast.parse(text) for path, text in texts().items()}
    short = shorten.plan(trees, set())
    tops, members = shorten.kinds(trees.values())
    assert len(short) > 500 and not tops & members
    for one in (tops, members):
        found = [letters for name, letters in short.items() if name not in one]
        assert len(set(found)) == len(found), "what is no such name shares none of theirs"
    assert 100 < len(short) - len(set(short.values())) <= min(len(tops), len(members))
    everything = set().union(*map(shorten.names_in, trees.values()))
    assert not set(short.values()) & (everything | shorten.OUTSIDE)


@pytest.mark.skipif(not (FIRMWARE.parent / ".stubs").is_dir(), reason="no board stubs: see DEVELOPERS.md")
def test_what_the_hardware_objects_understand_keeps_its_name():
    # Every method and keyword of the board libraries' objects that the package defines as well must be left alone.
    known = set()
    for path in (FIRMWARE.parent / ".stubs").rglob("*.pyi"):
        if path.parts[-3:-1] and path.stem in ("machine", "select", "micropython", "gc", "time", "Pin", "ADC", "UART",
                                               "WDT", "Timer", "RTC"):  # fmt: skip
            tree = ast.parse(path.read_text(encoding="utf-8"))
            known |= {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
    assert {"feed", "read_u16"} <= known
    trees = {("duplexsump", *path.with_suffix("").parts): ast.parse(text) for path, text in texts().items()}
    used = {node.attr for tree in trees.values() for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    short = shorten.plan(trees, set())
    # These are methods of a Pin as well, which the firmware never calls.
    assert known & used & set(short) <= {"active", "high", "low", "connect"}


FAKE = """
import importlib, os, sys, time, types
class Pin:
    IN, OUT, PULL_UP = 0, 1, 2
    def __init__(self, number, *_, value=1):
        self.level = value
    def value(self, level=None):
        if level is not None:
            self.level = level
        return self.level
class Adc:
    def __init__(self, pin, atten=None):
        pass
    def read_u16(self):
        return 0
    def read_uv(self):
        return 0
    ATTN_11DB = 3
class Timer:
    ONE_SHOT = 0
class Uart:
    def __init__(self, *_, **__):
        pass
    def any(self):
        return 0
    def txdone(self):
        return True
class Rtc:
    def memory(self, data=None):
        return b""
class Wdt:
    fed = 0
    def __init__(self, timeout):
        pass
    def feed(self):
        Wdt.fed += 1
sys.modules["machine"] = types.SimpleNamespace(Pin=Pin, ADC=Adc, UART=Uart, RTC=Rtc, WDT=Wdt, Timer=Timer, WDT_RESET=3,
                                               reset_cause=lambda: 1, mem32={0x4005800C: 0xFFFFFFFF})
sys.modules["micropython"] = types.SimpleNamespace(const=lambda value: value, kbd_intr=lambda key: None)
clock = [0]
time.ticks_ms = lambda: clock[0]
time.ticks_diff = lambda a, b: a - b
time.ticks_add = lambda a, b: a + b
time.sleep_ms = lambda ms: clock.__setitem__(0, clock[0] + ms)
import select
select.poll = lambda: types.SimpleNamespace(register=lambda *_: None, ipoll=lambda ms: ())
import gc
gc.mem_free = lambda: 100000
folder, sys.platform = sys.argv[1], sys.argv[2]
sys.path.insert(0, folder)
names = dict(line.split(" ") for line in open(folder + "/names").read().splitlines())
def of(thing, name):
    return getattr(thing, names.get(name, name))
boards = importlib.import_module("duplexsump.boards")
board = of(boards, "pick")()
setattr(type(board), names.get("files", "files"), lambda self: folder)
setattr(type(board), names.get("firmware", "firmware"), lambda self: folder)
loop = importlib.import_module(sys.argv[3])
station = of(loop, sys.argv[4])(board, 0)
of(station, "begin")(0)
of(station, "connect")()
for number in (0, 1, 2, 8, 9, 13):  # off, lead, lag; thermal contacts; mains
    board.contacts[number][0].level = 0
ran = 0
for _ in range(3000):
    board.rest(max(1, of(station, "once")()))
    ran += 1 if of(board, "outputs")[0][0].level or of(board, "outputs")[1][0].level else 0
assert Wdt.fed == 3000 and ran, (Wdt.fed, ran)
print("ran")
"""


@pytest.mark.parametrize(("board", "platform"), [("pico", "rp2"), ("esp32", "esp32")])
@pytest.mark.parametrize("join", [pytest.param(False, marks=pytest.mark.long), True])
def test_a_folded_build_runs_on_a_stand_in_for_the_boards_library(tmp_path, board, platform, join):
    for path, text in deploy.texts_of(FIRMWARE, board, join=join).items():
        out = tmp_path / "duplexsump" / path
        out.parent.mkdir(parents=True, exist_ok=True)
        out.write_text(text, encoding="utf-8")
    names = deploy.names_of(FIRMWARE, board, join=join)
    (tmp_path / "names").write_text("".join(f"{a} {b}\n" for a, b in names.items()))
    where = ("duplexsump.station.loop", "Station")
    if join:
        where = ("duplexsump.station.run", "duplexsump__station__loop__Station")
    done = subprocess.run([sys.executable, "-c", FAKE, str(tmp_path), platform, *where], capture_output=True, text=True,
                          check=False, cwd=tmp_path)  # fmt: skip
    assert done.stdout.strip() == "ran", done.stderr[-2000:]
