"""`sumpbench rehearse`: a board goes through a night, and its journal is laid beside the simulator's."""

import pytest

from hil.kits import select
from hil.kits.virtual import VirtualKit
from hil.rehearsal import rehearsal
from hil.rehearsal.rehearsal import compare, lives
from host_sim.run.journal import Life, Record
from tests.hil.test_accept_command import sumpbench
from tests.micropython.places import micropython
from tests.sampled import sampled


def rows(*times_ms):
    return [(time_ms, (time_ms % 7,), (1,)) for time_ms in times_ms]


@pytest.mark.long
def test_the_command_compares_every_life(tmp_path):
    micropython()
    code, said, errors = sumpbench(
        "rehearse", "--virtual", "--hours", "1", "--fault", "controller-reset@20min", cwd=tmp_path
    )
    assert (code, errors) == (0, ""), said
    last = said.strip().splitlines()[-1]
    assert "records of 2 power-ups compared: identical, record for record; 1 h in" in last
    assert int(last.split(": ")[2].split(" ")[0]) > 100
    assert list(tmp_path.iterdir()) == []


@pytest.mark.long
def test_a_board_with_other_settings_is_found(monkeypatch):
    micropython()
    from dataclasses import replace

    from host_sim.site.load import load_site, packaged

    site = replace(load_site(packaged("demo")), duration_s=1800.0)
    other = list(site.settings)
    other[0] += 300
    with VirtualKit(settings=other) as kit:
        found = rehearsal.rehearse(kit, site)
    assert not found.passed
    assert found.records > 10 and "power-up 1: simulated" in found.differences[0]


@pytest.mark.long
@pytest.mark.parametrize(
    ("arguments", "words"),
    sampled([
        ((), "which board?"),
        (("--virtual", "no-such-night"), 'packaged scenario "no-such-night" is unknown'),
        (("--virtual", "--fault", "no-such-fault@1h"), "no-such-fault"),
        (("--virtual", "--emulated"), "one board at a time"),
    ], 4),
)  # fmt: skip
def test_what_cannot_be_used_is_told_in_a_line(arguments, words, tmp_path):
    code, said, errors = sumpbench("rehearse", *arguments, cwd=tmp_path)
    assert code == 2
    assert words in errors
    assert "Traceback" not in said + errors


def test_times_may_differ_by_one_tick_and_no_more():
    assert compare([rows(0, 1000)], [[(0, (0,), (1,)), (1100, (1000 % 7,), (1,))]]).passed
    late = compare([rows(0, 1000)], [[(0, (0,), (1,)), (1200, (1000 % 7,), (1,))]])
    assert len(late.differences) == 1 and not late.passed
    other = compare([rows(0, 1000)], [[(0, (0,), (1,)), (1000, (9,), (1,))]])
    assert len(other.differences) == 1


def test_what_is_missing_is_a_difference():
    assert "2 records simulated, 1 on the board" in compare([rows(0, 1000)], [rows(0)]).differences[0]
    assert "2 power-ups simulated, 1 on the board" in compare([rows(0), rows(0)], [rows(0)]).differences[0]
    nothing = compare([], [])
    assert not nothing.passed and "nothing was compared" in nothing.differences[0]


def outputs(pump=0, late=0):
    return (pump, 0, 0, 0, 0, 0, 0, late, 0)


def test_lives_begin_at_nought_and_have_no_late_mark():
    records = [
        Life(500, "up", 0),
        Record(500, (1,), outputs()),
        Record(900, (2,), outputs(1, 1), 100),
        Record(1000, (2,), outputs(1, 1), 100),
        Life(1000, "down", 0),
        Life(3000, "up", 0),
        Record(3100, (3,), outputs()),
    ]
    off, on = (0,) * 8, (1,) + (0,) * 7
    assert lives(records) == [[(0, (1,), off), (400, (2,), on)], [(100, (3,), off)]]


def test_a_late_step_is_counted_and_two_ticks_are_a_difference():
    found = rehearsal.Outcome(records=1)
    rehearsal._late(found, [Life(0, "up", 0), Record(0, (), ()), Record(100, (), (), 100)])
    assert found.late == 1 and found.passed
    rehearsal._late(found, [Record(400, (), (), 200)])
    assert found.late == 2 and "200 ms late" in found.differences[0]


def test_the_kit_gets_the_sites_settings(monkeypatch):
    seen = []
    monkeypatch.setattr("hil.kits.virtual.VirtualKit", lambda settings, seed: seen.append((settings, seed)))
    select.open_kit(select.Choice(virtual=True, seed=3), [1, 2])
    assert seen == [([1, 2], 3)]
