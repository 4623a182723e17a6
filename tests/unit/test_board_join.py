"""Modules joined into few files for a board: the same program, whatever their names have in common."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from host_sim.board import deploy, fold, join, local_names
from host_sim.board.virtual import FIRMWARE
from host_sim.errors import InputError

# Two modules with the same private names, one that is shared, one imported in a function, names hidden in every way.
PACKAGE = {
    "__init__.py": "",
    "ticks.py": "SIZE = [3]\n_made = []\ndef note(text):\n    _made.append(text)\n    return len(_made)\n",
    "low/one.py": "from ..ticks import note\nfrom .. import ticks as t\n"
    "def _helper(value):\n    return value + 1\n"
    "class One:\n    _helper = 7\n    def __init__(self, value=_helper):\n        self.value = _helper(value)\n"
    "    def told(self):\n        made = [_helper(_helper) for _helper in ()]\n"
    "        return made or note('one') + t.SIZE[0] + self._helper\n",
    "low/two.py": "import binascii\nfrom . import one\nfrom .one import One as First\n"
    "def _helper(value):\n    return value * 10\n"
    "count = 0\n"
    "def more(one_more, First=First):\n    global count\n    count += one_more\n"
    "    key = lambda _helper: _helper + count\n"
    "    return key(_helper(count)) + First(value=one_more).told() + one.One().value\n",
    "top/run.py": "from ..low.two import more\nfrom ..low import two as t\nfrom .. import ticks\nimport binascii\n"
    "def run(start):\n    from .extra import Extra\n    found = [more(n) for n in range(start)]\n"
    "    return found, t.count, ticks.note('run'), Extra(ticks).size(), binascii.crc32(b'1')\n",
    "top/extra.py": "from ..ticks import SIZE\nfrom ..ticks import note as _note\nclass Extra:\n"
    "    def __init__(self, ticks):\n        self.ticks = 5\n"
    "    def size(self):\n        return SIZE[0] + self.ticks + _note('extra')\n",
    "top/pick.py": "def pick():\n    return 4\n",
}
PACKAGE = {**PACKAGE, "top/run.py": PACKAGE["top/run.py"].replace("Extra(ticks)", "Extra(start)")}
AROUND = ["from duplexsump.top.run import run\nfrom duplexsump.top.pick import pick\nprint(run(pick()))\n"]


def sources(**more):
    return {Path(name): text for name, text in {**PACKAGE, **more}.items()}


def ran(folder, texts):
    for path, text in texts.items():
        out = folder / "duplexsump" / path
        out.parent.mkdir(parents=True, exist_ok=True)
        out.write_text(text, encoding="utf-8")
    done = subprocess.run([sys.executable, "-c", AROUND[0]], capture_output=True, text=True, check=False, cwd=folder)
    assert not done.stderr, done.stderr
    return done.stdout


@pytest.mark.parametrize("short", [False, True])
def test_the_joined_program_does_what_the_modules_did(tmp_path, short):
    before = ran(tmp_path / "before", sources())
    assert before.startswith("([")
    joined = fold.fold(sources(), AROUND, short=short, join=True)
    assert ran(tmp_path / "after", joined) == before


def test_a_file_is_left_where_something_names_it_or_two_files_share_it():
    left = {str(path) for path in fold.fold(sources(), AROUND, short=False, join=True) if path.stem != "__init__"}
    assert left == {"top/run.py", "top/pick.py", "top/extra.py", "ticks.py"}


def test_what_stands_alone_is_not_joined_and_not_touched():
    text = "def needed(names):\n    return [name for name in names]\n"
    more = {"station/checksum.py": text, "station/loop.py": "from .checksum import needed\nprint(needed([1]))\n"}
    around = ["import duplexsump.station.loop\nfrom duplexsump.station.loop import needed\n"]
    found = fold.fold({Path(name): one for name, one in more.items()}, around, join=True)
    assert found[Path("station/checksum.py")] == ast.unparse(ast.parse(text)) + "\n"
    assert "from .checksum import needed" in found[Path("station/loop.py")]


def test_a_module_that_is_handed_over_as_a_thing_is_refused():
    with pytest.raises(InputError, match=r"duplexsump\.top\.run uses one, a module, as a thing"):
        fold.fold(sources(**{"top/run.py": "from ..low import one\ndef run(n):\n    return one\n"}), AROUND, join=True)


def test_two_imports_of_one_name_are_refused():
    more = {"low/two.py": "from json import dumps as pack\ndef two():\n    return pack(1)\n",
            "top/run.py": "from pickle import dumps as pack\nfrom ..low.two import two\n"
            "def run(n):\n    return two(), pack(n)\n"}  # fmt: skip
    with pytest.raises(InputError, match=r"imports pack, which in duplexsump\.top\.run is something else"):
        fold.fold(sources(**more), AROUND, join=True)


def test_a_name_that_its_module_sets_anew_is_refused_for_its_importer_would_not_see_it():
    text = "from ..low.two import count, more\ndef run(n):\n    return more(n), count\n"
    with pytest.raises(InputError, match=r"duplexsump\.top\.run imports count, which duplexsump\.low\.two sets anew"):
        fold.fold(sources(**{"top/run.py": text}), AROUND, join=True)


def test_parameters_are_the_same_few_names_unless_somebody_calls_by_them():
    text = "ALL = [1]\ndef f(level, volume, A0=2):\n    def inner(more):\n        return more + level + len(ALL)\n"
    text += "    return inner(volume) + A0\ndef g(level):\n    return f(level, volume=level)\n"
    tree = ast.parse(text)
    local_names.rename_locals({("m",): tree})
    space = {}
    exec(compile(ast.unparse(tree), "m", "exec"), space)
    f, g = tree.body[1], tree.body[2]
    assert [arg.arg for arg in f.args.args] == ["A", "volume", "B"] and [arg.arg for arg in g.args.args] == ["A"]
    assert space["f"](3, 4) == 3 + 4 + 1 + 2 and space["g"](3) == 3 + 3 + 1 + 2


def test_the_line_of_frequent_names_never_runs_and_names_the_most_frequent_first():
    text = "def f(part):\n    return part.seldom + part.often + part.often + part.often\n"
    tree = ast.parse('"""What it is."""\n' + text)
    local_names.frequent_first(tree, most=1)
    line = tree.body[1]
    assert isinstance(line, ast.If) and ast.unparse(line.body[0]) == "often"
    exec(compile(ast.unparse(tree), "m", "exec"), {"__name__": "m"})
    few = ast.parse(text)
    local_names.frequent_first(few)
    assert ast.unparse(few) == ast.unparse(ast.parse(text)), "nothing is gained in a small file"


@pytest.mark.long
@pytest.mark.parametrize("board", ["pico", "esp32", "posix"])
def test_every_function_of_the_firmware_is_in_the_joined_files_once(board, monkeypatch):
    monkeypatch.setattr(fold, "_tighten", lambda trees, outside: None)
    apart, joined = (fold.fold(deploy._sources(FIRMWARE, board)[0], deploy._sources(FIRMWARE, board)[1], short=False,
                               join=way) for way in (False, True))  # fmt: skip

    def bodies(texts):
        # What each function does, but for the names of what stands at a module's top.
        return sorted(len(list(ast.walk(node))) for path, text in texts.items() if path.stem not in fold.STAND_ALONE
                      for node in ast.walk(join.Stripping().visit(ast.parse(text)))
                      if isinstance(node, ast.FunctionDef))  # fmt: skip

    assert len(bodies(joined)) > 200
    # Attributes of modules have become names: a function only grows smaller, and none is lost but what nobody reaches.
    assert sum(bodies(joined)) <= sum(bodies(apart))
    unreached = 25 if board == "posix" else 0  # the expander's, which no virtual board has
    assert len(bodies(apart)) - unreached <= len(bodies(joined)) <= len(bodies(apart))
