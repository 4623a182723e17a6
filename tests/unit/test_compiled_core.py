"""The compiled core: what the translator makes, which core runs and why, and that both do the same.

What needs a compiler and Cython builds the core once into the test cache and skips, naming what is missing, where there
is none.
"""

import ast
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from duplexsump.control import timers

from host_sim.compiled import build, cache, hooks, loop, select, shapes, translate
from host_sim.errors import InputError
from tests import core_records

ROOT = Path(__file__).resolve().parents[2]
CONTROL = ROOT / "firmware/lib/duplexsump/control"


@pytest.fixture(scope="module")
def translation():
    """Return the Translation of the firmware's own files."""
    return translate.Translation(shapes.load(CONTROL))


@pytest.fixture(scope="session")
def compiled():
    """Return the paths of the compiled core and of what stands on it, built where they are not there yet."""
    try:
        core = build.build(CONTROL)
        return core, *(build.build_loop(CONTROL, select.loop_paths(name), name) for name in cache.LIBRARIES)
    except InputError as error:
        pytest.skip(str(error))


def run(code, core="auto", **env):
    """Return (exit code, stdout, stderr) of a piece of Python with our paths."""
    paths = os.pathsep.join(str(path) for path in (ROOT / "firmware/lib", ROOT))
    given = {**os.environ, "PYTHONPATH": paths, "SUMPBENCH_CORE": core, **env}
    done = subprocess.run([sys.executable, "-c", code], env=given, capture_output=True, text=True, check=False)
    return done.returncode, done.stdout.strip(), done.stderr


@pytest.mark.long
def test_every_file_class_and_function_of_the_core_is_translated(translation):
    text = translation.text()
    assert set(translation.modules) == {path.stem for path in CONTROL.glob("*.py")} - {"__init__"}
    assert len(translation.shapes.classes) >= 19
    for name in translation.shapes.classes:
        assert f"\ncdef class {name}(Part):\n" in text
    for module in translation.modules.values():
        for key in module.functions:
            assert f" {key.split('.')[-1]}(" in text or f" {module.name}__{key}(" in text, key


def test_whole_numbers_are_typed_and_constants_folded(translation):
    text = translation.text()
    expire = text[text.index("cpdef expire(self, long now):") :][:700]
    assert "cdef long i\n" in expire and f"range({timers.N_TIMERS})" in expire and "t = at.v[i]" in expire
    # A place that is counted through is there; any other is asked for.
    assert "self.rang.v[i] = True" in expire and "ints_put(self.at, i, " in text[text.index("cpdef arm(self") :][:200]
    assert "cpdef bint on_delay(self, long i, long already, bint condition, long delay_ms) except -1:" in text
    # `long` is a type to Cython: the attribute keeps its name for everybody else.
    assert "cdef bint c_long" in translation.declarations() and "def long(self):" in text


def test_lists_held_as_numbers_of_c_are_counted_up_gone_through_and_handed_on(translation):
    text = translation.text()
    assert "cpdef long _soonest(self, Ints times, long least)" in text and "for t in times.v[:times.count]:" in text
    assert "ints_put(self.detail, i, ints_get(self.detail, i) | detail)" in text
    # The selectors are two, the timers many: who counts to two looks at either without asking.
    assert "cpdef watch___behind(Controller c, Ints active):" in text and "self.quiet.v[i] = -1" in text


def test_a_class_that_none_stands_below_is_final(translation):
    text, declared = translation.text(), translation.declarations()
    for name in translation.shapes.classes:
        for said in (text, declared):
            assert (f"\n@cython.final\ncdef class {name}(Part):\n" in said) is (name not in hooks.OPEN), name


@pytest.mark.long
def test_the_comparison_of_marked_fields_is_exchanged_only_while_its_source_is_known(translation, tmp_path):
    assert "(<Part>part)._again(" in translation.text()
    folder = tmp_path / "control"
    folder.mkdir()
    for path in CONTROL.glob("*.py"):
        text = path.read_text(encoding="utf-8")
        (folder / path.name).write_text(text.replace("if value != seen[i]:", "if seen[i] != value:"), encoding="utf-8")
    other = translate.Translation(shapes.load(folder)).text()
    assert "(<Part>part)._again(" not in other and "if seen[i] != value:" in other


def test_the_loop_says_its_types_and_folds_its_constants(translation):
    text = loop.Loop(select.loop_paths(), translation.shapes).text()
    assert "cdef double water_balance__volume_after(" not in text
    assert "cpdef double water_balance__volume_after(double v0, double f0, double b, double dt)" in text
    segment = text[text.index("\ncdef class Segment:") :][:900]
    assert "cdef public double v0\n" in segment and "cdef public Mode mode\n" in segment
    assert "cdef public object" not in segment  # every attribute of the hottest record says its type
    assert "c_expm1(z)" in text and "import expm1" not in text[text.index("# host_sim.plant.water_balance") :][:900]
    # A class above is called by its name, a class of the core is known by its type.
    assert "Duplex.step(self, now_ms, raw)" in text and "from sumpbench_core cimport Controller" in text
    assert "trajectory__EDGE" not in text.replace("'EDGE'", "")


def test_a_stand_in_has_the_signatures_of_the_part_it_stands_for_and_its_own_numbers_by_slot(translation):
    text = loop.Loop(select.loop_paths(cache.SEARCH), translation.shapes).text()
    stand_in = text[text.index("\ncdef class AnyDemand(Demand):") :].split("\ncdef class ")[1]
    assert "cpdef step(self, long _wet, long _rose, long _fell, long _pumps, list _inputs):" in stand_in
    first = sum(len(found) for found in translation.shapes.slots("Demand"))
    assert f"{{**Demand._slots(self), **{{'keep': ({first}, 0)}}}}" in stand_in
    # What a coarse world shortens is read where it is used, and not folded as it is at build time.
    assert "max(part_flood__fl.STEPS_MS)" in text


def test_a_stand_in_that_takes_something_else_or_begins_with_another_number_is_refused(translation, tmp_path):
    path = tmp_path / "stand_in.py"
    head = "from duplexsump.control.demand import Demand\n\n\nclass Other(Demand):\n"
    path.write_text(head + "    def end(self):\n        self.demand = 0\n")
    with pytest.raises(ValueError, match=r"Other\.end must take what Demand\.end takes"):
        loop.Loop({"host_sim.stand_in": path}, translation.shapes).text()
    path.write_text(head + "    keep: int = 3\n")
    with pytest.raises(ValueError, match=r"Other\.keep: at the head of a class only 0 or None"):
        loop.Loop({"host_sim.stand_in": path}, translation.shapes).text()


def test_a_local_that_hides_a_name_of_its_module_stays_a_local(translation):
    """As a parameter, as a local of a function within, and as the variable of a comprehension."""
    made = loop.Loop(select.loop_paths(), translation.shapes)
    made.names["host_sim.plant.noise"]["taken"] = ("constant", 7)
    node = ast.parse("def f(a):\n    def g(taken):\n        return taken\n    return g(taken), [taken for taken in a]")
    scope = loop.Scope(made, "host_sim.plant.noise")
    scope.enter(node.body[0])
    said = " ".join(loop.unparsed(scope.visit(one)) for one in node.body[0].body)
    assert " ".join(said.split()) == "def g(taken): return taken return (g(7), [taken for taken in a])"


def test_an_edited_plant_is_another_loop_and_the_core_stays(tmp_path):
    paths = select.loop_paths()
    before = cache.loop_key("core", paths.values())
    edited = tmp_path / "plant.py"
    edited.write_text(paths["host_sim.plant.plant"].read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert cache.loop_key("core", {**paths, "host_sim.plant.plant": edited}.values()) != before
    assert cache.loop_key("other", paths.values()) != before
    assert list(paths) == list(cache.MODULES) and all(path.exists() for path in paths.values())


@pytest.mark.parametrize(
    "first", ["host_sim.proof.campaign.campaign", "host_sim.run.closed_loop", "host_sim.site.load",
              "host_sim.proof.search.search_plan"]
)  # fmt: skip
def test_nothing_that_is_compiled_is_imported_from_its_source(compiled, first):
    """A library imports files that are not compiled, and these import files of its own while it is being loaded."""
    code = f"""
import importlib, sys
importlib.import_module({first!r})
from host_sim.compiled import cache, select
names = [name for library in cache.LIBRARIES.values() for name in library if name in sys.modules]
print(len(names), [name for name in names if type(sys.modules[name]) is not select.CompiledModule])
"""
    done, said, error = run(code, "compiled")
    assert done == 0, error
    count, _, others = said.partition(" ")
    assert int(count) > 2 and others == "[]"


def test_every_hook_is_a_name_of_the_core(translation):
    for module, names in hooks.HOOKS.items():
        for name in names:
            assert hasattr(translation.modules[module].live, name), (module, name)


def test_a_changed_source_or_translator_is_another_core(tmp_path):
    for path in CONTROL.glob("*.py"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    assert cache.key(tmp_path) == cache.key(CONTROL)
    (tmp_path / "pump.py").write_text((CONTROL / "pump.py").read_text() + "\n", encoding="utf-8")
    assert cache.key(tmp_path) != cache.key(CONTROL)


def test_without_a_compiled_core_the_sources_run_and_say_why(tmp_path):
    say = "from host_sim.compiled import select; print(select.told())"
    assert run(say, SUMPBENCH_CACHE=str(tmp_path))[1] == "pure Python core (no core is compiled from these sources)"
    assert run(say, "pure")[1] == "pure Python core (asked for)"
    first = "import duplexsump.control.pump; " + say
    assert "imported before host_sim" in run(first)[1]
    code, _out, said = run(say, "compiled", SUMPBENCH_CACHE=str(tmp_path))
    assert code and "sumpbench compile" in said
    code, _out, said = run(say, "fast")
    assert code and 'SUMPBENCH_CORE="fast": must be auto, pure, compiled' in said


def test_a_library_that_cannot_be_loaded_is_passed_over(tmp_path, monkeypatch):
    monkeypatch.setenv("SUMPBENCH_CACHE", str(tmp_path))
    path = cache.library(cache.key(CONTROL))
    path.parent.mkdir(parents=True)
    path.write_bytes(b"no library")
    said = run("from host_sim.compiled import select; print(select.told())", SUMPBENCH_CACHE=str(tmp_path))[1]
    assert said.startswith("pure Python core (the compiled core cannot be loaded")


@pytest.mark.long
def test_without_cython_compiling_is_refused_and_says_what_to_install(monkeypatch, tmp_path):
    monkeypatch.setenv("SUMPBENCH_CACHE", str(tmp_path))
    monkeypatch.setitem(sys.modules, "Cython.Build", None)
    with pytest.raises(InputError, match=r'pip install "sumpbench\[fast\]"'):
        build.build(CONTROL)


@pytest.mark.long
def test_a_compiler_that_fails_is_told(monkeypatch, tmp_path):
    pytest.importorskip("Cython", reason="Cython is missing: pip install sumpbench[fast]")
    monkeypatch.setenv("SUMPBENCH_CACHE", str(tmp_path))
    monkeypatch.setenv("CC", "/nonexistent/cc")
    monkeypatch.setattr(translate.Translation, "text", lambda self: "x = 1\n")
    monkeypatch.setattr(translate.Translation, "declarations", lambda self: "")
    with pytest.raises(InputError, match="the C compiler is missing or failed"):
        build.build(CONTROL)


@pytest.mark.long
def test_a_folded_name_cannot_be_set_and_a_hook_can(compiled):
    code = (
        "from duplexsump.control import gate, timers\n"
        "import host_sim\n"
    )
    assert "imported before" in run(code + "from host_sim.compiled import select; print(select.told())")[1]
    code = (
        "import host_sim\n"
        "from duplexsump.control import belief, timers\n"
        "before = belief.WIRE_MS\n"
        "belief.WIRE_MS = 7000\n"
        "print(before, belief.WIRE_MS)\n"
        "timers.REST = 5\n"
    )
    exit_code, out, said = run(code, "compiled")
    assert out == "2000 7000"
    assert exit_code and "timers.REST is folded into the compiled core" in said


@pytest.mark.long
def test_the_version_says_which_core_runs(compiled):
    for core, words in (("compiled", "compiled core and plant"), ("pure", "pure Python core (asked for)")):
        said = run("import sys; sys.argv = ['x', '--version']; import hil.cli.app as a; a.main()", core)[1]
        assert said.endswith(words)


@pytest.mark.long
def test_both_cores_write_the_same_journals_and_traces_and_search_the_same_states(compiled):
    given = ["--nights", "6", "--first", "20", "--searches", "--site", "demo"]
    found = {core: core_records.child(core, *given) for core in ("compiled", "pure")}
    assert [lines[0][1] for lines in found.values()] == list(core_records.CORES)
    for a, b in zip(found["compiled"][1:], found["pure"][1:], strict=True):
        assert a == b
        assert a[2] > 0
    assert len(found["pure"]) == 1 + 6 + len(core_records.SEARCHES) + 1


@pytest.mark.long
def test_a_compiled_carrier_refuses_what_does_not_fit_a_place(compiled):
    code = (
        "import host_sim.proof.search.canonical as c\n"
        "from host_sim.compiled import select\n"
        "from duplexsump.control.timers import Timers\n"
        "timers = Timers()\n"
        "form = c.Form([(timers, lambda name, i: i in (3, 4))], 1000, extra=1)\n"
        "timers.expire(form.now_ms)\n"
        "timers.arm(3, 5000)\n"
        "state = form.save((7,))\n"
        "print(list(state), form.load(state), timers.left_ms(3), select.carrier() is not None)\n"
        "for wrong in (lambda: form.load(b'12'), lambda: form.save((200,)), lambda: form.save(()),\n"
        "              lambda: (timers.arm(4, 1500), form.save((0,)))):\n"
        "    try:\n        wrong()\n        print('no error')\n"
        "    except Exception as error:\n        print(type(error).__name__)\n"
    )
    for core, errors in (("compiled", "ValueError OverflowError ValueError"), ("pure", "error error error")):
        exit_code, said, told = run(code, core)
        assert exit_code == 0, told
        assert said.splitlines()[0] == f"[5, 255, 7] (7,) 4000 {core == 'compiled'}"
        assert said.split()[-4:] == [*errors.split(), "KeyError"]


@pytest.mark.long
def test_states_are_held_once_in_the_order_in_which_they_came_in_both_cores(compiled):
    code = (
        "import hashlib\n"
        "import random\n"
        "from host_sim.compiled import select\n"
        "from host_sim.proof.search.found import empty\n"
        "drawn, states = random.Random(5), empty()\n"
        "added = 0\n"
        "for number in range(60000):\n"
        "    state = bytes(drawn.choices(range(7), k=drawn.randrange(0, 20)))\n"
        "    added = added * 3 + states.add(state, number - 9) & 0xFFFFFF\n"
        "text = repr([(states.at(i), states.came(i)) for i in range(len(states))]) + repr(states[::7])\n"
        "print(len(states), added, hashlib.sha256(text.encode()).hexdigest(), states[-1], states.add(b'', 5))\n"
        "for wrong in (lambda: states.at(len(states)), lambda: states.came(len(states))):\n"
        "    try:\n        wrong()\n        print('no error')\n"
        "    except IndexError:\n        print('IndexError')\n"
        "print(select.states() is not None)\n"
    )
    said = {}
    for core in ("compiled", "pure"):
        exit_code, said[core], told = run(code, core)
        assert exit_code == 0, told
    assert said["compiled"].splitlines()[:-1] == said["pure"].splitlines()[:-1]
    assert said["pure"].splitlines()[1:] == ["IndexError", "IndexError", "False"]
    assert said["compiled"].splitlines()[-1] == "True"


@pytest.mark.campaign
def test_two_thousand_nights_are_the_same_in_both_cores(compiled):
    command = [sys.executable, "-m", "tests.core_records", "--nights", "2000", "--seed", "1"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("2000 the same in both cores")


# These put lists or functions of Python into the core's parts, or ask of its sources: compiled, it has none of them.
OF_THE_SOURCES = ("alarms", "alarms_horn", "bands", "bands_edges", "controller_record", "demand", "gate", "pair",
                  "public_only", "selector", "settings", "skipping")  # fmt: skip


@pytest.mark.long
def test_the_clauses_hold_on_the_compiled_core(compiled):
    """The tests of the core's clauses, in a process that has taken the compiled core before they ask for one."""
    left_out = [f"--ignore=tests/control/test_{name}.py" for name in OF_THE_SOURCES]
    assert all((ROOT / one.split("=")[1]).exists() for one in left_out)
    code = (
        "import pytest\n"
        "from host_sim.compiled import select\n"
        "assert select.is_compiled(), 'the sources run'\n"
        f"raise SystemExit(pytest.main(['-q', '-p', 'no:cacheprovider', 'tests/control', *{left_out}]))\n"
    )
    exit_code, said, told = run(code, "compiled")
    assert exit_code == 0, said[-2000:] + told
    assert int(re.search(r"(\d+) passed", said).group(1)) > 3000, said[-200:]


def test_the_benchmark_pairs_and_its_history(tmp_path, monkeypatch):
    from host_sim.benchmark import history, pairs

    given = [{"cpu_s": 2.0, "count": 10, "yard_s": 0.1}, {"cpu_s": 0.5, "count": 10, "yard_s": 0.1}]
    pair = pairs._pair("core", [given, given, [given[0], {**given[1], "cpu_s": 0.25}]])
    assert (pair.pure_s, pair.compiled_s, pair.ratio, pair.pure_yards) == (0.2, 0.05, 4.0, 2.0)
    with pytest.raises(RuntimeError, match="did not do the same"):
        pairs._pair("core", [[given[0], {**given[1], "count": 11}]])
    path = tmp_path / "history.jsonl"
    run_now = history.record([pair], [], 0x1234)
    assert history.compared(run_now, history.read(path)) == ["No run before this one on this machine to compare with."]
    history.keep(path, run_now)
    before = history.read(path)
    assert json.loads(path.read_text()) == before[0] == run_now
    assert history.compared(run_now, before)[0].startswith("Nothing is slower")
    slower = {**run_now, "yards": {**run_now["yards"], "core, compiled": 1.3 * run_now["yards"]["core, compiled"]}}
    assert history.compared(slower, before) == [
        "SLOWER: core, compiled takes 1.30 times the median of the last 1 runs."
    ]
    path.write_text("{}\n")
    with pytest.raises(InputError, match="line 1 is no run of the benchmark"):
        history.read(path)


def test_it_is_pure_python_that_the_tests_run_on():
    if os.environ["SUMPBENCH_CORE"] == "pure":
        assert not select.is_compiled()
