"""A rehearsal: a site's night on a board in the simulated pit, and its journal against the simulator's.

What crossed into and out of the core must be the same, record for record, in
each life of the controller from its beginning on, times within one tick.  A
board that was busy, as with a new segment of its journal, makes a step one tick
late and records that it did (J2): such a step is counted, its late mark is not
compared, and where that mark is all that it says it has no fellow in the
simulator's journal, whose controller is never busy.  Two ticks are a difference.  The
simulator's controller needs no boot, so the virtual board is given none here; an
emulated one boots in its own time, and agrees up to the first loss of power.
"""

import time
from dataclasses import dataclass, field, replace

from duplexsump.control.records import OUT_LATE

from hil.rehearsal.pit_in_loop import PitInLoop
from host_sim.board import readback
from host_sim.plant.plant import TICK_MS
from host_sim.run import closed_loop
from host_sim.run.journal import Life, Record, decided

PIECE_MS = 1800000  # between two words of progress
MOST = 20  # differences told


@dataclass
class Outcome:
    """What came of it: records compared, lives of the controller, differences in words, and how long it took."""

    records: int = 0
    lives: int = 0
    late: int = 0  # steps that the board made late, one tick at the most
    differences: list = field(default_factory=list)
    power: list = field(default_factory=list)  # (ms, "power lost" or "power returns")
    seconds_board: float = 0.0
    seconds_wall: float = 0.0

    @property
    def passed(self):
        """Whether the two journals are the same, and there was something to compare."""
        return self.records > 0 and not self.differences


def rehearse(kit, site, faults=(), seed=None, say=lambda text: None):
    """Take a kit's board, which has the site's settings, through the site's night; return the Outcome.

    Raises Missing where the kit cannot empty the board's memory, Failed where the board does not start.
    """
    plan = site if seed is None else replace(site, seed=seed)
    simulated = closed_loop.run(plan, list(faults)).journal
    began_s = time.perf_counter()
    night, read = _night(kit, plan, list(faults))
    night.begin()
    left_ms = round(plan.duration_s * 1000.0)
    while left_ms > 0:
        step_ms = min(PIECE_MS, left_ms)
        night.run_ms(step_ms)
        left_ms -= step_ms
        level_mm = night.pit.plant.level_m() * 1000.0
        say(f"{night.now_ms() / 3600000.0:5.1f} h of {plan.duration_s / 3600.0:g} h, level {level_mm:.0f} mm")
    records = [record for journal in readback.to_journals(read(kit)) for record in journal.records]
    outcome = compare(lives(simulated.records), lives(records))
    _late(outcome, records)
    outcome.power = list(night.lost)
    outcome.seconds_board, outcome.seconds_wall = plan.duration_s, time.perf_counter() - began_s
    return outcome


def _night(kit, plan, faults):
    # (the pit in the loop, how to read the journal): an emulated board sleeps through what changes nothing.
    if kit.place == "emulated":
        from hil.rehearsal.emulated_night import EmulatedNight, segments

        return EmulatedNight(kit, plan, faults), segments
    if kit.exact:
        kit.board.boot_ms = 0
    return PitInLoop(kit, plan, faults), _fetch


def _fetch(kit):
    return [readback.read_segment(data) for data in readback.fetch(kit.client())]


def _late(outcome, records):
    # How late a step was stands in its record; the times of two records alone do not tell it where it has no fellow.
    for record in records:
        late_ms = getattr(record, "late_ms", 0)
        outcome.late += late_ms > 0
        if late_ms > TICK_MS:
            outcome.differences.append(f"a step {late_ms} ms late on the board, at {record.time_ms / 1000.0:.1f} s")


def lives(records):
    """Return the Records of each life, as rows of (ms since it began, inputs, outputs without the late mark).

    Left out is what says nothing but that it came late.
    """
    found, began_ms = [], 0
    for record in records:
        if isinstance(record, Life) and record.power == "up":
            found.append([])
            began_ms = record.time_ms
        elif isinstance(record, Record):
            row = (record.time_ms - began_ms, tuple(record.inputs), decided(record.outputs))
            if not (found[-1] and record.outputs[OUT_LATE] and row[1:] == found[-1][-1][1:]):
                found[-1].append(row)
    return found


def compare(simulated, board):
    """Return the Outcome of two lists of lives; nothing compared is itself a difference."""
    outcome = Outcome(lives=len(board))
    if len(simulated) != len(board):
        outcome.differences.append(f"{len(simulated)} power-ups simulated, {len(board)} on the board")
    for number, (ours, theirs) in enumerate(zip(simulated, board, strict=False), 1):
        for one, other in zip(ours, theirs, strict=False):
            outcome.records += 1
            if one[1:] != other[1:] or abs(one[0] - other[0]) > TICK_MS:
                outcome.differences.append(f"power-up {number}: simulated {_words(one)}; on the board {_words(other)}")
        if len(ours) != len(theirs):
            outcome.differences.append(f"power-up {number}: {len(ours)} records simulated, {len(theirs)} on the board")
    if not outcome.records:
        outcome.differences.append("nothing was compared: one of the journals holds no record")
    return outcome


def _words(row):
    return f"{row[0] / 1000.0:.1f} s inputs {row[1]} outputs {row[2]}"
