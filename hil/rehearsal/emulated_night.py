"""A whole flood night on the emulated board: the pit in the loop, the board dozing where nothing would change."""

from duplexsump.control.records import OUT_LATE

from hil.kits.emulated.quiet import MS, Quiet
from hil.rehearsal.pit_in_loop import PitInLoop
from host_sim.board import readback
from host_sim.errors import InputError
from host_sim.run.journal import Life, Record, decided

JOURNAL = "/pit/journal/"
# The board reads its wires within 2 ms of a tick's instant, and its relays move some 12 ms after it.  The pit's instant
# lies between the two: it then sees them move in the step that moved them, and its wires are for the step to come.
BEHIND_MS = 6


class EmulatedNight(PitInLoop):
    """A site's pit on an `EmulatedKit` with the site's settings.  With `every_tick` the board looks at every tick."""

    def __init__(self, kit, site, faults=(), every_tick=False):
        super().__init__(kit, site, faults)
        self.every_tick = every_tick

    def begin(self):
        """Begin with a board that knows nothing of the past; the pit's time 0 is some ms behind its first step."""
        super().begin()
        first_ms = segments(self.kit)[0].now_ms
        self.origin_ms = int(self.kit.pico.ticks_ns(first_ms) // MS) + BEHIND_MS
        if not self.every_tick:
            self.kit.quiet = Quiet(self.kit, first_ms)
            self.kit.exact = True


def segments(kit):
    """Return the journal's segments on an emulated board's flash, in order.  Raises InputError where there are none."""
    files = sorted((path, data) for path, data in kit.files().items() if path.startswith(JOURNAL))
    if not files:
        raise InputError("there is no journal on this board", "emulated board")
    return [readback.read_segment(data) for _, data in files]


def recorded(kit, site="board"):
    """Return the `Record`s and `Life`s (`run.journal`) of an emulated board's journal, those of its last settings."""
    return readback.to_journals(segments(kit), site)[-1].records


def differences(simulated, board, until_ms, tick_ms=100, most=20):
    """Return (how many records were compared, where two lists of records differ, in words; times may by one tick).

    Only records up to `until_ms` count.  Nothing compared is itself a difference.  A step that the board made one
    tick late is as `rehearsal` says: its mark is not compared, nor what says nothing else.
    """
    ours, theirs = _told(simulated, until_ms), _told(board, until_ms)
    found = []
    if not ours or not theirs:
        return 0, [f"nothing was compared: {len(ours)} records simulated, {len(theirs)} on the board"]
    for one, other in zip(ours, theirs, strict=False):
        same = tuple(one.inputs) == tuple(other.inputs) and decided(one.outputs) == decided(other.outputs)
        if not same or abs(one.time_ms - other.time_ms) > tick_ms:
            found.append(f"simulated {_words(one)}, on the board {_words(other)}")
            if len(found) == most:
                break
    if len(ours) != len(theirs):
        found.append(f"{len(ours)} records simulated, {len(theirs)} on the board")
    lives = [sum(isinstance(row, Life) and row.power == "up" for row in rows) for rows in (simulated, board)]
    if lives[0] != lives[1]:
        found.append(f"{lives[0]} power-ups simulated, {lives[1]} on the board")
    return min(len(ours), len(theirs)), found


def _told(records, until_ms):
    found = []
    for row in records:
        if not isinstance(row, Record) or row.time_ms > until_ms:
            continue
        before = found[-1] if found else None
        silent = before is not None and row.inputs == before.inputs and decided(row.outputs) == decided(before.outputs)
        if not (silent and row.outputs[OUT_LATE]):
            found.append(row)
    return found


def _words(record):
    return f"{record.time_ms / 1000:.1f} s inputs {tuple(record.inputs)} outputs {tuple(record.outputs)}"
