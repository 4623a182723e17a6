"""A corpus of nights: every journal through two firmwares, or through one against its record, and what differs."""

import sys
from dataclasses import dataclass, field
from pathlib import Path

from duplexsump.control import alarm_table

from host_sim.errors import InputError
from host_sim.replay import changes, exact
from host_sim.replay.reading import board, sources

ENDING = ".jsonl"


@dataclass
class Night:
    """One journal of a corpus: `channels` are those outputs that differ.

    `alarms` are (time_ms, name, whether it came or cleared, "gone" or "new");
    `compared`
 are the records that went through; `error` is what a firmware
    raised, or ""; `ran` says whether a pump ran.
    """

    name: str
    compared: int = 0
    ran: bool = False
    channels: list = field(default_factory=list)
    alarms: list = field(default_factory=list)
    error: str = ""

    @property
    def same(self):
        """Whether nothing differs."""
        return not (self.channels or self.alarms or self.error)

    @property
    def first_ms(self):
        """The instant of the first difference, or None."""
        times = [time for channel in self.channels for time in _times(channel)]
        times += [time for time, *_ in self.alarms]
        return min(times, default=None)


def _times(channel):
    return [entry[0] for part in (channel.moved, channel.gone, channel.new) for entry in part]


def journals(folder):
    """Yield (name, Journal) of every journal below a folder: JSON lines, and folders of a board's segments.

    Raises InputError for a place that holds none, and for a journal that cannot be read.
    """
    root = Path(folder)
    if not root.is_dir():
        raise InputError("is no folder: name one that holds journals (*.jsonl) or a board's segments (*.seg)",
                         str(root))  # fmt: skip
    files = sorted(path for path in root.rglob(f"*{ENDING}") if sources.is_journal(path))
    boards = sorted({path.parent for path in root.rglob("*.seg")})
    if not files and not boards:
        raise InputError("holds no journal (*.jsonl, or a board's segments *.seg)", str(root))
    for path in files:
        yield str(path.relative_to(root)), sources.journal(path)[0]
    for place in boards:
        for number, journal in enumerate(board.journals_in(place), 1):
            yield f"{place.relative_to(root)} ({number})", journal


def compare(name, journal, first, second):
    """Return the Night of one journal through two firmwares; `first` None is what the journal recorded.

    Each firmware is (what a person calls it, its module).
    """
    found = Night(name)
    try:
        before = None if first is None else exact.replay(journal, module=first[1], collect=True)
        after = exact.replay(journal, module=second[1], collect=True)
    except InputError as error:
        found.error = "; ".join(error.problems)
        return found
    found.compared = after.compared
    found.ran = after.pump_ran or (before is not None and before.pump_ran)
    end_ms = journal.duration_ms or journal.records[-1].time_ms
    outputs = exact.recorded(journal) if before is None else before.outputs
    found.channels = [channel for channel in changes.compare(outputs, after.outputs, end_ms) if not channel.same]
    if before is not None:  # a journal holds no alarms by name
        old, new = (set(_named(side.alarms, module)) for side, (_, module) in ((before, first), (after, second)))
        found.alarms = sorted([(*one, "gone") for one in old - new] + [(*one, "new") for one in new - old])
    return found


def _named(alarms, module):
    # Another firmware's alarms by its own table.
    table = vars(sys.modules.get(f"{module.__package__}.alarm_table", alarm_table)).get("TABLE", alarm_table.TABLE)
    return [(time_ms, table[place][alarm_table.NAME], "raised" if active else "cleared")
            for time_ms, place, active in alarms]  # fmt: skip


def as_json(nights, names):
    """Return Nights as a plain dictionary; `names` are what the two sides are called."""
    return {
        "before": names[0], "after": names[1], "same": all(night.same for night in nights),
        "nights": [{
            "name": night.name, "same": night.same, "compared": night.compared, "first_ms": night.first_ms,
            "error": night.error,
            "outputs": [{"name": c.name, "edges_before": c.edges_before, "edges_after": c.edges_after,
                         "moved": c.moved, "gone": c.gone, "new": c.new} for c in night.channels],
            "alarms": [{"time_ms": t, "name": name, "state": state, "what": what}
                       for t, name, state, what in night.alarms],
        } for night in nights],
    }  # fmt: skip
