"""The gates of CI are shown to fail: lint, import arrows and the firmware's type check, each on a planted breach.

A gate that cannot fail guards nothing, so each test copies the tree, plants one
breach and expects the tool to name it; the copy without it must pass.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.sampled import sampled

ROOT = Path(__file__).resolve().parents[2]
STUBS = ROOT / ".stubs" / "rp2"
CORE = Path("firmware/lib/duplexsump/control")


def tool(name):
    """Return the path of a console script of the interpreter that runs the tests."""
    return str(Path(sys.executable).parent / name)


@pytest.fixture(scope="module")
def original(tmp_path_factory):
    """Give a copy of the project's sources, made once, to be copied again for each breach."""
    root = tmp_path_factory.mktemp("original")
    shutil.copy(ROOT / "pyproject.toml", root)
    ignore = shutil.ignore_patterns("__pycache__", "*.png", "*.svg", "*.csv")
    for folder in ("firmware", "host_sim", "hil"):
        if (ROOT / folder).is_dir():
            shutil.copytree(ROOT / folder, root / folder, ignore=ignore)
    return root


@pytest.fixture
def tree(original, tmp_path):
    """Give a copy of the sources that the test may spoil."""
    shutil.copytree(original, tmp_path, dirs_exist_ok=True)
    if STUBS.is_dir():
        (tmp_path / ".stubs").mkdir()
        (tmp_path / ".stubs" / "rp2").symlink_to(STUBS)
    return tmp_path


def run(tree, *command):
    """Run a tool in `tree`, with the tree's own sources ahead of any installed ones."""
    path = os.pathsep.join([str(tree / "firmware" / "lib"), str(tree)])
    environment = {**os.environ, "PYTHONPATH": path}
    return subprocess.run(command, cwd=tree, env=environment, capture_output=True, text=True, timeout=300)


def plant(tree, path, text):
    """Append `text` to a file of the copy."""
    with (tree / path).open("a", encoding="utf-8") as file:
        file.write("\n" + text + "\n")


def test_lint_fails_on_a_planted_breach(tree):
    plant(tree, CORE / "ticks.py", "import os")
    result = run(tree, tool("ruff"), "check", "firmware")
    assert result.returncode != 0
    assert "F401" in result.stdout


def test_arrows_hold(tree):
    result = run(tree, tool("lint-imports"), "--no-cache")
    assert result.returncode == 0, result.stdout


ARROWS = [
    (CORE / "settings.py", "import numpy", "imports nothing of the PC"),
    (CORE / "settings.py", "from host_sim import cli", "never the other way round"),
    (CORE / "ticks.py", "from . import alarms", "nothing imports the alarms but the controller"),
    (Path("host_sim/units.py"), "from hil.kits import wires", "bench upon simulator"),
    (Path("host_sim/plant/noise.py"), "from host_sim.plant import plant", "in no package do two neighbours"),
    (Path("host_sim/sizing/say.py"), "from host_sim.cli import options", "nobody imports the command line"),
    (Path("host_sim/plant/noise.py"), "from host_sim.run import trace", "the simulator's rooms"),
    (Path("hil/kits/wires.py"), "from hil.bench import verdict", "the bench's rooms"),
    (Path("hil/procedures/lockout.py"), "from hil.kits import virtual", "procedures know no kind of board"),
]


@pytest.mark.parametrize(("path", "line", "contract"), ARROWS, ids=[contract for _, _, contract in ARROWS])
def test_a_planted_import_breaks_its_contract(tree, path, line, contract):
    plant(tree, path, line)
    result = run(tree, tool("lint-imports"), "--no-cache")
    assert result.returncode != 0
    broken = [text for text in result.stdout.splitlines() if contract in text and text.rstrip().endswith("BROKEN")]
    assert broken, result.stdout


def need_stubs():
    """Skip where the board's stubs are not laid down; in CI they must be there."""
    if STUBS.is_dir():
        return
    if os.environ.get("CI"):
        pytest.fail(f"{STUBS} is missing: CI must install micropython-rp2-stubs there")
    pytest.skip('no .stubs/rp2: pip install --target .stubs/rp2 "micropython-rp2-stubs==1.29.*"')


@pytest.mark.long
def test_types_of_the_firmware_hold(tree):
    need_stubs()
    result = run(tree, tool("mypy"))
    assert result.returncode == 0, result.stdout


TYPES = [
    ("def f(x: int) -> int:\n    return x\n\n\nf('a')", "arg-type"),
    ("import time\n\ntime.monotonic()", "attr-defined"),  # CPython has it, the board does not
    ("import machine\n\nmachine.Pin(2, machine.Pin.OUT, vlaue=0)", "call-arg"),
]


@pytest.mark.long
@pytest.mark.parametrize(("text", "code"), TYPES, ids=[code for _, code in TYPES])
def test_a_planted_type_error_is_found(tree, text, code):
    need_stubs()
    plant(tree, CORE / "ticks.py", text)
    result = run(tree, tool("mypy"))
    assert result.returncode != 0
    assert f"[{code}]" in result.stdout


# Where, what stands there, what is planted; where mypy tells it and as what.
MISTAKES = [
    ("control/gate.py", "self.timers.arm(tm.BOOT, self.settings[s.BOOT_HOLD_MS])", "self.timers.arm(tm.BOOT)",
     "gate.py", "call-arg"),
    ("station/loop.py", "self.board.write(out)", "self.board.wriite(out)", "loop.py", "attr-defined"),
    ("control/demand.py", "t.stop(tm.DRAW)", "t.stopp(tm.DRAW)", "demand.py", "attr-defined"),
    ("boards/wired.py", "def feed_watchdog(", "def feed_watch_dog(", "boards/__init__.py", "assignment"),
    ("control/supply.py", "on_mains(self, n: int) -> int:", "on_mains(self, n):", "supply.py", "no-untyped-def"),
]


@pytest.mark.long
@pytest.mark.parametrize(
    ("path", "sound", "mistaken", "place", "code"), sampled(MISTAKES, 5), ids=[row[2] for row in MISTAKES]
)
def test_a_mistake_in_the_midst_of_the_firmware_is_found(tree, path, sound, mistaken, place, code):
    need_stubs()
    file = tree / "firmware" / "lib" / "duplexsump" / path
    text = file.read_text(encoding="utf-8")
    assert text.count(sound) >= 1
    file.write_text(text.replace(sound, mistaken), encoding="utf-8")
    result = run(tree, tool("mypy"))
    assert result.returncode != 0
    assert [line for line in result.stdout.splitlines() if f"{place}:" in line and f"[{code}]" in line], result.stdout
