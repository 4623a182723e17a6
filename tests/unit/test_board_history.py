"""What a board's journal tells people: runs, alarms and dates, the same as the simulator saw in the same night."""

import pytest
from duplexsump.station import journal as j

from host_sim.board import history
from host_sim.board.readback import Segment, Step
from host_sim.run import closed_loop
from host_sim.run.journal import Life, firmware_checksum
from host_sim.site.load import load_site, packaged

BEGAN_S = 1_800_000_000


@pytest.fixture(scope="module")
def night():
    """The demo night's trace, and its journal as one segment of a board whose clock was never set."""
    trace = closed_loop.run(load_site(packaged("demo")))
    life = next(record for record in trace.journal.records if isinstance(record, Life))
    segment = Segment(1, 1, firmware_checksum(), 0, True, life.now_ms,
                      list(trace.journal.settings), None, list(life.snapshot))  # fmt: skip
    records = [record for record in trace.journal.records if not isinstance(record, Life)]
    segment.steps = [Step(record.time_ms, 0, tuple(record.inputs), j.pack(list(record.outputs))) for record in records]
    return trace, segment


@pytest.mark.long
def test_runs_and_alarms_are_those_that_the_simulator_saw(night):
    trace, segment = night
    found = history.happenings([segment])
    runs = [(h.pump, round(h.since_s, 1)) for h in found if h.kind == "run"]
    assert runs == sorted([(run.pump, round(run.start_s, 1)) for run in trace.runs], key=lambda run: run[1])
    raised = [(h.name, round(h.since_s, 1)) for h in found if h.kind == "alarm"]
    seen = [(span.name, round(span.raised_s, 1)) for span in trace.alarms]
    assert sorted(raised) == sorted(seen) and len(raised) >= 4


@pytest.mark.long
def test_without_a_clock_there_is_no_date_and_a_clock_set_late_dates_what_was_before(night):
    _, segment = night
    assert all(h.at is None for h in history.happenings([segment]))
    last = segment.steps[-1]
    segment.events = [(last.now_ms, j.EVENTS[j.CLOCK_SET], BEGAN_S + round(last.now_ms / 1000), "")]
    try:
        found = history.happenings([segment])
    finally:
        segment.events = []
    assert all(h.at == pytest.approx(BEGAN_S + h.since_s, abs=1.0) for h in found)
    assert history.lines(found)[0][:2] == "20"


def test_a_journal_of_another_firmware_still_tells_its_runs(night):
    trace, segment = night
    foreign = Segment(**{**vars(segment), "snapshot": [1, 2, 3], "settings": [0], "begins": False})
    found = history.happenings([foreign])
    assert {h.kind for h in found} == {"run"} and len(found) == len(trace.runs)
