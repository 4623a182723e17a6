"""The replay on logs of a pit that is not the simulator's: what it establishes is true, what it cannot tell it says."""

import dataclasses
from functools import cache

import numpy as np
import pytest

from host_sim.cli.app import main as command_line
from host_sim.replay import night as nights
from host_sim.replay.findings.finding import ESTABLISHED, Finding
from host_sim.replay.second_log.logger import Logger
from host_sim.replay.second_log.matrix import broken_goals, draw, table
from host_sim.replay.second_log.pit import CONTROLLERS, DEEP, simulate
from host_sim.replay.second_log.score import score, true_claims

SEED = 400  # for tuning; those for reporting begin at 9000


@pytest.fixture
def sumpbench(monkeypatch, capsys):
    """Give a function that runs the command line and returns (exit code, what it printed or, refused, its errors)."""

    def run(*given):
        monkeypatch.setattr("sys.argv", ["sumpbench", *map(str, given)])
        capsys.readouterr()
        with pytest.raises(SystemExit) as left:
            command_line()
        printed = capsys.readouterr()
        return left.value.code, printed.out or printed.err

    return run


@cache
def slice_of_the_matrix():
    """Return the scores of eight nights, one of each kind, as three loggers kept them."""
    scores = [s for _, s in draw(8, SEED, rows=(1, 30), channels=("level", "level and run"), loggers=1)]
    print("\n".join(table(scores)))
    return scores


@pytest.mark.long
def test_nothing_is_wrongly_established():
    wrong = [(s.kind, str(s.logger), s.wrong) for s in slice_of_the_matrix() if ESTABLISHED in s.wrong.values()]
    assert not wrong


def test_a_healthy_night_is_called_healthy_or_not_to_be_told():
    healthy = [s for s in slice_of_the_matrix() if s.kind == "healthy"]
    assert len(healthy) == 4
    assert {s.outcome for s in healthy} <= {"quiet", "abstained"}


def test_fine_logs_name_the_trouble_and_coarse_ones_abstain_from_it():
    fine = [s for s in slice_of_the_matrix() if s.kind != "healthy" and s.logger.every_s == 1]
    assert sum(s.outcome == "named" for s in fine) >= len(fine) // 2
    coarse = [s for s in slice_of_the_matrix() if s.logger.every_s == 30]
    assert {s.outcome for s in coarse} == {"abstained"}


def test_the_verdict_on_the_floor_is_never_wrong():
    assert not [(s.kind, str(s.logger)) for s in slice_of_the_matrix() if s.floor_wrong]


def test_bounds_hold_and_bands_hold_most_of_the_time():
    bounds = [s.inside for s in slice_of_the_matrix() if s.bounds]
    bands = [s.inside for s in slice_of_the_matrix() if not s.bounds and s.inside == s.inside]
    assert len(bounds) >= 16 and np.mean(bounds) > 0.95
    assert len(bands) >= 12 and np.mean(bands) > 0.85


@pytest.mark.long
def test_the_score_can_fail(monkeypatch):
    night = simulate("healthy", CONTROLLERS[0], SEED)
    explain = nights.explain

    def spoilt(*args, **options):
        account = explain(*args, **options)
        account.findings.append(Finding("weak pump", ESTABLISHED, 0.0, 1.0, "pump 1 delivers 60%"))
        return account

    assert score(night, Logger()).outcome in ("quiet", "abstained")
    monkeypatch.setattr("host_sim.replay.second_log.score.nights.explain", spoilt)
    assert score(night, Logger()).wrong == {"weak pump": ESTABLISHED}


def test_the_second_pit_keeps_its_water():
    night = simulate("too much inflow", CONTROLLERS[0], SEED)
    again = simulate("too much inflow", CONTROLLERS[0], SEED)
    assert np.array_equal(night.level, again.level)
    assert night.wet.any() and night.level.max() < DEEP + 0.5
    assert "not keeping up" in true_claims(night)
    calm = dataclasses.replace(night, kind="healthy", on=np.zeros_like(night.on))
    assert "not keeping up" not in true_claims(calm)


def test_the_goals_can_be_missed():
    scores = [dataclasses.replace(s) for s in slice_of_the_matrix()]
    assert not broken_goals(scores)
    scores[0].wrong, scores[1].floor_wrong = {"weak pump": ESTABLISHED}, True
    for s in scores:
        s.inside = 0.8 if s.inside == s.inside else s.inside
        s.outcome = "wrong" if s.kind == "healthy" else s.outcome
    told = " / ".join(broken_goals(2 * scores))
    for text in ("wrongly established on 2 logs", "healthy nights called faulty: 8", "the floor called dry or wet",
                 "bounds of all logs: truth inside 80.0%"):  # fmt: skip
        assert text in told


def test_one_command_prints_the_table_of_pieces_and_the_goals(sumpbench, tmp_path):
    for first in ("0", "1"):
        code, told = sumpbench("replay-trial", "--matrix", "--nights", 1, "--first", first, "--seed", 400, "--rows",
                               30, "--channels", "level,run only", "--loggers", 1, "--json")  # fmt: skip
        assert code == 0, told
        (tmp_path / f"{first}.json").write_text(told)
    code, told = sumpbench("replay-trial", "--sum", tmp_path / "0.json", "--sum", tmp_path / "1.json")
    assert code == 0, told
    assert "seeds 400 to 401" in told and "every goal met" in told
    line = next(line for line in told.splitlines() if line.strip().startswith("all "))
    assert line.split()[1] == "4"


@pytest.mark.parametrize(("given", "said"), [
    (("--rows", "7"), "give some of 1, 5, 10, 30, 60, 300"), (("--channels", "float"), "give some of level"),
    (("--sum", "pyproject.toml"), "holds no scores of this matrix")])  # fmt: skip
def test_what_the_matrix_cannot_take_is_refused(sumpbench, given, said):
    code, told = sumpbench("replay-trial", "--matrix", *given)
    assert code == 2 and said in " ".join(told.split())


@pytest.mark.campaign
def test_the_whole_matrix_on_fresh_seeds():
    assert not broken_goals([s for _, s in draw(24, 9101, loggers=2)])
