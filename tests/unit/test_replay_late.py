"""J2: a board whose steps came late replays the same by `journal`, from a folder of segments and from JSON lines.

The board is the station on the PC, kept busy now and then for longer than a tick, as one run faster than it can.
"""

import random

import pytest
from duplexsump.control import records as r

from host_sim.board import readback
from host_sim.replay import exact
from host_sim.replay.reading import board
from host_sim.run.journal import Record, read_journal
from tests.station_rig import run, start

SEED = 20261130


@pytest.fixture(scope="module")
def segments(tmp_path_factory):
    folder = tmp_path_factory.mktemp("late") / "pit"
    board, station = start(folder)
    draw = random.Random(SEED)
    run(board, station, 15000)
    for _ in range(240):
        wet = draw.choice((0, 1, 3, 7, 15))
        board.raw[r.IN_CONTACTS] = (wet ^ 8) & 15
        for _ in range(draw.randrange(1, 12)):
            run(board, station, draw.randrange(300, 4000))
            board.rest(draw.choice((0, 0, 130, 260, 700, 2100)))  # busy with something else
    station.recorder.close(station.controller.now)
    return folder / "journal"


@pytest.fixture(scope="module")
def read(segments):
    return [readback.read_segment(path.read_bytes()) for path in sorted(segments.glob("*.seg"))]


@pytest.mark.long
def test_the_board_was_late_and_its_pumps_ran(read):
    steps = [step for segment in read for step in segment.steps]
    assert sum(step.late_ms > 100 for step in steps) > 20, "by more than one tick"
    assert any(step.packed & 3 for step in steps)


def test_journal_and_replay_say_the_same_of_it(read, segments, tmp_path):
    by_segments = readback.replay(read)
    assert by_segments.differences == [] and by_segments.records > 200
    for number, journal in enumerate(readback.to_journals(read)):
        found = exact.replay(journal)
        assert found.passed, found.difference
        journal.write(tmp_path / f"{number}.jsonl")
        again = read_journal(tmp_path / f"{number}.jsonl")
        assert again == journal
        assert exact.replay(again).passed
    journal, *_ = board.journals_in(segments)
    assert exact.replay(journal).passed


def test_how_late_a_step_was_matters(read):
    journal = readback.to_journals(read)[0]
    on_time = [Record(row.time_ms, row.inputs, row.outputs) if isinstance(row, Record) else row
               for row in journal.records]  # fmt: skip
    journal.records = on_time
    assert exact.replay(journal).difference is not None
