"""The goals of speed and size: what is met, what is missed, and what a busy machine cannot tell."""

import pytest

from host_sim.benchmark import goals, history, pairs


def pair(name, unit, pure_s, compiled_s):
    """Return a Pair as `pairs.compare()` gives it."""
    ratio = pure_s / compiled_s if compiled_s else None
    return pairs.Pair(name, unit, pure_s, compiled_s, ratio, pure_s, compiled_s)


def test_a_goal_is_met_missed_or_unknown_without_a_compiled_core():
    found = goals._of_pairs({
        "core": pair("core", "step", 44e-6, 2.2e-6), "night": pair("night", "step", 60e-6, 20e-6),
        "campaign": pair("campaign", "night", 0.4, 0.05), "searches": pair("searches", "move", 30e-6, None),
    })  # fmt: skip
    assert [(goal.figure, goal.met) for goal in found] == [
        ("20.0 times", True), ("3.0 times", False), ("20.0", False), ("no compiled core", None)]  # fmt: skip
    assert "pure Python 2.5" in found[2].note
    assert "sumpbench compile" in found[3].note


@pytest.mark.parametrize(
    ("clock_s", "load", "met"), [(5.2, 0.1, True), (7.0, 0.1, False), (7.0, 3.0, None), (5.2, 3.0, True)]
)
def test_a_second_worker_is_judged_by_the_clock_where_the_machine_was_free(monkeypatch, clock_s, load, met):
    answers = {"1": {"wall_s": 10.0, "cpu_s": 10.0}, "2": {"wall_s": clock_s, "cpu_s": 10.4}}
    monkeypatch.setattr(goals, "_child", lambda what, count, nights: answers[count])
    monkeypatch.setattr(goals.os, "cpu_count", lambda: 2)
    monkeypatch.setattr(goals, "_turns", lambda count: 1000 * count)
    goal = goals._two_workers(64, load)
    assert (goal.figure, goal.met) == (f"{5.0 / clock_s:.2f}", met)
    assert ("busy" in goal.note) == (met is None) and "two plain loops side by side: 1.00" in goal.note


def test_a_second_worker_is_not_judged_where_no_second_loop_runs_beside_the_first(monkeypatch):
    """Two threads of one core: a loop of plain Python gets no more out of them than two workers do."""
    answers = {"1": {"wall_s": 10.0, "cpu_s": 10.0}, "2": {"wall_s": 8.0, "cpu_s": 15.0}}
    monkeypatch.setattr(goals, "_child", lambda what, count, nights: answers[count])
    monkeypatch.setattr(goals.os, "cpu_count", lambda: 2)
    monkeypatch.setattr(goals, "_turns", lambda count: {1: 1000, 2: 1300}[count])
    goal = goals._two_workers(64, 0.1)
    assert goal.met is None and "side by side: 0.65" in goal.note


def test_the_loops_beside_which_a_second_worker_is_judged_do_turn(monkeypatch):
    monkeypatch.setattr(goals, "LOOP", goals.LOOP.replace("2.0", "0.02"))
    assert goals._turns(2) > 1


def test_the_whole_exploration_names_a_breach(monkeypatch):
    told = {"cpu_s": 90.0, "states": 5, "transitions": 9, "broken": "duty:quick: I3", "core": "compiled"}
    monkeypatch.setattr(goals, "_child", lambda what: told)
    goal = goals._whole_search()
    assert goal.met and "BROKEN: duty:quick: I3" in goal.note


def test_a_measurement_that_fails_is_no_figure():
    with pytest.raises(RuntimeError, match=r"(?s)measuring .* failed: .*No module named"):
        goals._run(["-c", "import nothing_of_this_name"])


def test_the_install_is_what_sumpbench_requires_and_what_that_requires():
    found = {one.name: one for one in goals.packages()}
    if not found:
        pytest.skip("sumpbench is not installed here")
    assert set(goals.GIVES) <= set(found), "a package of the default install without a word of what it gives"
    lines = goals.importlib.metadata.requires(goals.DISTRIBUTION)
    direct = {goals._plain(line) for line in lines if "extra" not in line}
    assert set(goals.GIVES) == {*direct, goals.DISTRIBUTION} and found["sumpbench"].size > 2e6
    # What the extras bring is no part of it; what the pictures need beside numpy is theirs alone.
    assert not {"pyarrow", "cython", "hypothesis"} & set(found)
    assert found["kiwisolver"].plotting and found["pillow"].plotting and not found["numpy"].plotting
    assert found["numpy"].size > 20e6 and found["kiwisolver"].gives == "required by matplotlib"
    whole, rest = goals._install()
    assert whole.figure == f"{sum(one.size for one in found.values()) / 1e6:.0f} MB"
    assert rest.figure == f"{sum(one.size for one in found.values() if not one.plotting) / 1e6:.0f} MB"


def test_a_goal_that_the_run_before_met_and_this_one_misses_is_told():
    met, missed = (goals.Goal("start-up", figure, "0.3 s", ok) for figure, ok in (("0.2 s", True), ("0.4 s", False)))
    before, now = history.record([], [], 1, [met]), history.record([], [], 1, [missed])
    assert history.compared(now, [before]) == ["MISSED: start-up: 0.4 s, which the run before reached."]
    assert history.compared(before, [now])[0].startswith("Nothing is slower")
