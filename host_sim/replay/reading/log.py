"""A log as read and cleaned: one clock, SI units, and an account of everything that was wrong with it."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np

UNKNOWN = -1  # of a channel that is on, off or not recorded at that row


@dataclass
class DataIssue:
    """One kind of damage that was met: `count` of them, the first at row `row` (counted from 1; 0: no one row)."""

    kind: str
    count: int
    text: str
    row: int = 0


@dataclass
class Log:
    """A log on one clock.

    `time_s` is an array of n rising seconds since `begins`.  Every channel is
    None where the log has none of it, or an array of n: `level_m` metres above
    the pit's bottom, `rain_m_s` and `current_a[i]` with nan where a reading is
    missing; `contacts[name]`, `pumps[i]` and `mains` 1, 0 or UNKNOWN.
    `levels_at_contacts_only` says that levels are known only where a contact turned.
    `gaps` are (start s, end s) without rows.
    """

    name: str
    begins: datetime
    time_s: np.ndarray
    level_m: np.ndarray | None = None
    contacts: dict[str, np.ndarray] = field(default_factory=dict)
    pumps: list = field(default_factory=lambda: [None, None])
    current_a: list = field(default_factory=lambda: [None, None])
    mains: np.ndarray | None = None
    rain_m_s: np.ndarray | None = None
    gaps: list[tuple[float, float]] = field(default_factory=list)
    issues: list[DataIssue] = field(default_factory=list)
    rows_read: int = 0
    levels_at_contacts_only: bool = False
    every_change: bool = False  # whether a row was written at every change, as a journal does
    held: bool = False  # a foreign log with rows only at changes: its readings were held forward
    interval_s: float | None = None  # of such a log: the shortest time from row to row that it shows
    bands: tuple | None = None  # of a journal: the band of each motor's current, after `control.records`

    @property
    def duration_s(self):
        """Seconds from the first row to the last."""
        return float(self.time_s[-1] - self.time_s[0])

    @property
    def spacing_s(self):
        """The usual time from row to row, in seconds."""
        if self.interval_s is not None:
            return self.interval_s
        return float(np.median(np.diff(self.time_s))) if len(self.time_s) > 1 else 0.0

    @property
    def begins_s(self):
        """Seconds after midnight at which the log begins, on its own clock."""
        b = self.begins
        return b.hour * 3600.0 + b.minute * 60.0 + b.second + b.microsecond / 1e6

    def at(self, time_s):
        """Return the wall clock of a time of the log as a datetime, in the zone in which the log begins."""
        utc = self.begins.astimezone(UTC) if self.begins.tzinfo else self.begins
        when = utc + timedelta(seconds=float(time_s))
        return when.astimezone(self.begins.tzinfo) if self.begins.tzinfo else when

    def contact_states(self, name):
        """Return an array of n of a contact's states in which each missing one is the last before it; UNKNOWN first."""
        values = self.contacts[name]
        last = np.maximum.accumulate(np.where(values >= 0, np.arange(len(values)), -1))
        return np.where(last < 0, UNKNOWN, values[np.maximum(last, 0)])

    def channels(self):
        """Return the names of the channels that the log holds."""
        level = None if self.levels_at_contacts_only else self.level_m
        named = {"level": level, "mains": self.mains, "rain": self.rain_m_s}
        named.update({f"contact {name}": values for name, values in self.contacts.items()})
        for i in (0, 1):
            named[f"pump {i + 1}"], named[f"current {i + 1}"] = self.pumps[i], self.current_a[i]
        return [name for name, values in named.items() if values is not None]


def note(issues, kind, count, text, row=0):
    """Add a DataIssue, or count it in with one of the same kind and text."""
    if not count:
        return
    for issue in issues:
        if issue.kind == kind and issue.text == text:
            issue.count += int(count)
            return
    issues.append(DataIssue(kind, int(count), text, int(row)))
