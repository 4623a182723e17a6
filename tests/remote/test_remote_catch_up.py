"""What happened while the gateway was out is kept once, and told late; what it saw itself is not told again."""

import pytest
from duplexsump.station import journal as j

from hil.remote import topics
from hil.remote.gateway.book import Book
from hil.remote.gateway.catch_up import CatchUp
from hil.remote.gateway.outbox import Outbox
from host_sim.board.readback import Segment, Step
from host_sim.run import closed_loop
from host_sim.run.journal import Life, firmware_checksum
from host_sim.site.load import load_site, packaged

BEGAN_S = 1_800_000_000


@pytest.fixture(scope="module")
def night():
    """The demo night's trace, and its journal as one segment whose clock was set at the start."""
    trace = closed_loop.run(load_site(packaged("demo")))
    life = next(record for record in trace.journal.records if isinstance(record, Life))
    segment = Segment(1, 1, firmware_checksum(), BEGAN_S, True, life.now_ms, list(trace.journal.settings), None,
                      list(life.snapshot))  # fmt: skip
    records = [record for record in trace.journal.records if not isinstance(record, Life)]
    segment.steps = [Step(record.time_ms, 0, tuple(record.inputs), j.pack(list(record.outputs))) for record in records]
    return trace, segment


def caught_up(folder, segment, looks):
    """Return (runs, alarms, records) after readings at `looks` (s of the night) and the segment, twice."""
    book, outbox = Book(folder / "b"), Outbox(folder / "o")
    catch_up = CatchUp(book, outbox)
    for look in looks:
        catch_up.heard(BEGAN_S + look)
    for _ in range(2):
        catch_up.segment(segment, (120000, 60000))
    records = [topics.unpack(payload) for _, payload in outbox.take(1000)]
    return book.runs(0, 1e12), book.alarms(0, 1e12), records


@pytest.mark.long
def test_a_gateway_that_was_out_all_night_learns_runs_and_alarms(night, tmp_path):
    trace, segment = night
    runs, alarms, records = caught_up(tmp_path, segment, (1, trace.duration_s - 1))
    assert [(round(began - BEGAN_S, 1), pump) for began, pump, *_ in runs] == sorted(
        (round(run.start_s, 1), run.pump) for run in trace.runs)  # fmt: skip
    over = {(a.name, round(a.raised_s)): round(a.cleared_s) for a in trace.alarms if a.cleared_s is not None}
    assert {(name, round(began - BEGAN_S)): round(ended - BEGAN_S) for began, name, _, ended, _ in alarms} == over
    assert len(records) == 2 * len(over) and all(body["late"] == 1 for body in records)


def test_one_that_looked_on_is_told_nothing_again(night, tmp_path):
    trace, segment = night
    looks = range(0, round(trace.duration_s), 60)
    assert caught_up(tmp_path, segment, looks) == ([], [], [])


@pytest.mark.long
def test_only_the_time_without_readings_counts(night, tmp_path):
    trace, segment = night
    looks = list(range(0, 3600, 60))
    first = min((run for run in trace.runs if run.start_s > looks[-1]), key=lambda run: run.start_s)
    looks.append(max(looks[-1] + 121, round(first.end_s) + 1))
    runs, _, _ = caught_up(tmp_path, segment, looks)
    assert round(first.start_s, 1) in [round(began - BEGAN_S, 1) for began, *_ in runs] and len(runs) <= 2


def test_a_restart_remembers_when_it_last_heard(tmp_path):
    book = Book(tmp_path / "b")
    CatchUp(book, None).heard(1000.0)
    again = CatchUp(book, None)
    again.heard(5000.0)
    assert again.blind == [(1000.0, 5000.0)]
