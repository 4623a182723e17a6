"""The mutant runner: a slice of mutants is killed, and the runner itself can tell a kill from a survival."""

import json
import subprocess
from pathlib import Path

import pytest

from host_sim.errors import InputError
from host_sim.proof.mutants import mutant_filter, mutations, runner, show, test_selection

ROOT = Path(__file__).resolve().parents[2]


def judged(module, function, keep=lambda mutant: True):
    found = [m for m in mutations.Source(module).mutants() if m.function == function and keep(m)]
    assert found, f"{module} has no function {function}, or no mutant in it"
    return show.judge(module, found, ROOT)


@pytest.mark.long
def test_canary_a_plain_mistake_is_killed_and_a_harmless_change_survives_with_its_reason():
    mistake, harmless = "want &= ~self.barred", "for n in range(2):"
    report = judged("gate", "Gate.step", lambda m: m.text in (mistake, harmless))
    killed = [verdict for verdict in report.verdicts if verdict.mutant.text == mistake]
    assert all(verdict.killed and "tests/control/test_" in verdict.by for verdict in killed)
    assert len(killed) >= 3
    assert [(v.killed, bool(v.reason)) for v in report.verdicts if v.mutant.text == harmless] == [(False, True)]


@pytest.mark.long
def test_canary_a_mutant_that_hangs_is_stopped():
    source = mutations.Source("pump")
    loop = [m for m in source.mutants() if m.function == "Pump._drop" and m.text == "self.count -= 1"]
    dropped = [m for m in loop if m.what == "statement dropped"]
    tests = [ROOT / "tests" / "control" / "test_clause_s5_s8.py"]
    verdict = runner.run(dropped, tests).verdicts[0]
    assert verdict.killed
    assert verdict.by == "it hung and was stopped"


@pytest.mark.long
def test_every_mutant_can_be_switched_on_and_off_again():
    total = 0
    for name in mutations.MODULES:
        source = mutations.Source(name)
        found = list(source.mutants())
        total += len(found)
        for mutant in found[:: max(1, len(found) // 10)]:
            live = source.live(mutant.function)
            good = live.__code__
            off = source.switch_on(mutant)
            assert live.__code__ is not good
            off()
            assert live.__code__ is good
    assert total > 5000, f"only {total} mutants: the generator has gone blind"


def test_no_two_mutants_of_a_function_are_the_same_code():
    source = mutations.Source("gate")
    codes = {}
    for mutant in source.mutants():
        code = source.code(mutant)
        key = (mutant.function, code.co_code, str(code.co_consts), code.co_names)
        codes.setdefault(key, []).append(mutant)
    good = {(name, source.live(name).__code__.co_code) for name in source.functions}
    doubles = [m for m in codes.values() if len(m) > 1]
    assert len(doubles) < len(codes) / 10, doubles
    assert sum((name, code) in good for name, code, consts, names in codes) < len(codes) / 3


def test_tests_that_fail_by_themselves_are_refused(tmp_path):
    (tmp_path / "test_wrong.py").write_text("def test_wrong():\n    assert False\n")
    mutant = next(mutations.Source("gate").mutants())
    with pytest.raises(RuntimeError, match="fail without any mutant"):
        runner.run([mutant], [tmp_path / "test_wrong.py"])


def test_every_module_of_the_core_is_mutated_and_has_its_tests():
    core = ROOT / "firmware" / "lib" / "duplexsump" / "control"
    modules = {path.stem for path in core.glob("*.py")}
    # No rule stands in these: names of records and timers, texts of alarms.
    assert modules - set(mutations.MODULES) == {"__init__", "records", "alarm_table"}
    for module in mutations.MODULES:
        stages = test_selection.stages(module, ROOT / "tests", slow=True)
        assert len(stages) == 3, module
        assert all(path.exists() for stage in stages for path in stage)


def test_the_list_of_equivalents_names_lines_that_are_there():
    names = {*mutations.MODULES, *(key[0] for key in runner.equivalents())}
    lines = {name: {m.key for m in mutations.Source(name).mutants()} for name in sorted(names)}
    for key, reason in runner.equivalents().items():
        assert key in lines[key[0]], key
        assert len(reason) > 15, key


def test_changed_lines_are_read_from_the_difference(tmp_path):
    def git(*words):
        name = ["-c", "user.name=a", "-c", "user.email=a@example.org"]
        subprocess.run(["git", "-C", str(tmp_path), *name, *words], check=True, capture_output=True)

    core = tmp_path / "firmware" / "lib" / "duplexsump" / "control"
    core.mkdir(parents=True)
    (core / "gate.py").write_text("a = 1\nb = 2\nc = 3\nd = 4\n")
    git("init", "-q")
    git("add", ".")
    git("commit", "-qm", "one")
    (core / "gate.py").write_text("a = 1\nb = 9\nc = 3\nd = 4\ne = 5\nf = 6\n")
    assert runner.changed_lines(tmp_path) == {"gate": {2, 5, 6}}


def test_a_commit_that_is_not_there_is_refused():
    with pytest.raises(InputError, match='--since "no-such-commit"'):
        runner.changed_lines(ROOT, "no-such-commit")


@pytest.mark.long
def test_survivors_of_a_run_are_run_again_by_themselves(tmp_path, capsys):
    kept = tmp_path / "run.json"
    line = next(m for m in mutations.Source("ticks").mutants() if m.function == "diff")
    kept.write_text(json.dumps({"ticks": {"survived": [str(line).replace(f":{line.line} ", ":9999 ")]}}))
    found = mutant_filter.survived(mutant_filter.of_modules(["ticks", "gate"]), kept)
    assert show.mutants(found, ROOT, False, True) == 0
    assert json.loads(capsys.readouterr().out)["ticks"]["mutants"] == 1


@pytest.mark.parametrize("text", ["", "[1, 2]", '{"ticks": {}}'])
def test_a_file_that_is_no_run_is_refused(tmp_path, text):
    kept = tmp_path / "run.json"
    found = mutant_filter.of_modules(["ticks"])
    with pytest.raises(InputError, match="--again"):
        mutant_filter.survived(found, kept)
    kept.write_text(text)
    with pytest.raises(InputError, match="not what"):
        mutant_filter.survived(found, kept)


def test_an_unknown_module_is_refused():
    with pytest.raises(InputError, match='module "pumps"'):
        mutant_filter.of_modules(["pumps"])


def test_a_sample_is_drawn_by_its_seed_and_no_larger_than_asked():
    everything = mutant_filter.of_modules(["ticks", "gate"])
    drawn = mutant_filter.sample(everything, 30, 7)
    assert sum(map(len, drawn.values())) == 30
    assert drawn == mutant_filter.sample(everything, 30, 7) != mutant_filter.sample(everything, 30, 8)
    assert all(mutant in everything[name] for name, mutants in drawn.items() for mutant in mutants)
    assert mutant_filter.sample(everything, 10_000, 7) == everything


@pytest.mark.long
def test_hand_mutants_are_told_with_the_test_that_caught_them(capsys):
    assert show.mutants(mutant_filter.by_hand(["supply"]), ROOT, False, False, "Hand mutants") == 0
    said = capsys.readouterr().out
    assert "caught: a spent battery counts as good again" in said
    assert "1 mutants, 1 killed" in said


@pytest.mark.long
def test_a_core_that_fails_its_tests_unmutated_is_said_to(monkeypatch, capsys):
    monkeypatch.setattr("duplexsump.control.supply.Supply._charger", lambda self, idle: None)
    assert show.mutants(mutant_filter.of_modules(["supply"]), ROOT, False, False) == 1
    assert "these tests fail without any mutant" in capsys.readouterr().err
