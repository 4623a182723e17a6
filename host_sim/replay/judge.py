"""A table log under our firmware: what it would have done on that water, where the recorded pumps did otherwise."""

from dataclasses import dataclass, field

import numpy as np
from duplexsump.control import alarm_table
from duplexsump.control.records import OUT_PUMP_1, OUT_PUMP_2

from host_sim.replay import openloop

# The alarms that follow from the water and the mains alone; the others speak of pumps, whose water is not in the log.
OF_WATER = ("high_water", "mains_lost", "mains_unsteady")
OF_CONTACTS = ("floats_out_of_sequence", "float_wiring", "chattering")  # where the contacts themselves were recorded
LEAST_S = 60.0  # a difference shorter than this is a matter of debounce, rests and stop levels; our own choice
STOP_M = 0.02  # so near the stop level a float of the log and ours may differ; our own choice


@dataclass
class Span:
    """A stretch in which the firmware called more or fewer pumps than ran; `level_m` at its start, or nan."""

    start_s: float
    end_s: float
    called: int
    ran: int
    level_m: float


@dataclass
class Judgement:
    """What the firmware made of a log: its `starts`, its alarms, and where the recorded pumps differed.

    The water follows the recorded pumps, so its starts are no count of what it
    would have started, and of its alarms only those are kept that follow from
    the water, the mains and recorded contacts.
    """

    starts: list[int] = field(default_factory=lambda: [0, 0])
    run_s: list[float] = field(default_factory=lambda: [0.0, 0.0])
    recorded_starts: int | None = None
    first_alarm_s: float | None = None
    alarms: list = field(default_factory=list)  # (time s, name, priority, text)
    spans: list[Span] = field(default_factory=list)
    steps: int = 0
    outputs: list = field(default_factory=list)

    @property
    def ran(self):
        """Whether a pump of the firmware's ever ran: a log in which none did proves nothing."""
        return any(self.starts)


def judge(log, site, ran=None, settings=None, module=None):
    """Return the Judgement of a log.

    `ran` is an array of n, how many pumps ran at each row (UNKNOWN below 0),
    recorded or found in the level; None: no comparison.  The level follows the
    recorded pumps, so the firmware's own starts are what it would have done
    next, not a night of its own: that is what a what-if is for.
    Raises InputError where the site does not serve.
    """
    loop = openloop.run(log, site, settings, module)
    found = Judgement(steps=loop.steps, outputs=loop.outputs)
    end_s = float(log.time_s[-1])
    times = np.array([t for t, _ in loop.outputs]) / 1000.0
    table = np.array([out for _, out in loop.outputs])
    for n, place in ((0, OUT_PUMP_1), (1, OUT_PUMP_2)):
        on = table[:, place]
        found.starts[n] = int((np.diff(on, prepend=0) == 1).sum())
        found.run_s[n] = float((on * np.diff(np.append(times, end_s))).sum())
    by_level = log.level_m is not None and not log.levels_at_contacts_only
    kept = OF_WATER if by_level else OF_WATER + OF_CONTACTS
    for time_ms, i, active in loop.alarms:
        row = alarm_table.TABLE[i]
        if active and row[alarm_table.NAME] in kept:
            priority = alarm_table.PRIORITIES[row[alarm_table.PRIORITY]]
            found.alarms.append((time_ms / 1000.0, row[alarm_table.NAME], priority, row[alarm_table.TEXT]))
    heard = [time for time, _, priority, _ in found.alarms if priority != "low"]
    found.first_alarm_s = min(heard) if heard else None
    if ran is not None:
        called = table[np.searchsorted(times, log.time_s, side="right") - 1][:, [OUT_PUMP_1, OUT_PUMP_2]].sum(axis=1)
        found.recorded_starts = int(((np.diff(ran) > 0) & (ran[1:] > 0)).sum())
        found.spans = _differences(log, called, ran, site.contacts[0])
    return found


def _differences(log, called, ran, off):
    differ = (called != ran) & (ran >= 0)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], differ, [False])).astype(np.int8)))
    spans = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        start, end = float(log.time_s[first]), float(log.time_s[min(last, len(log.time_s) - 1)])
        inside = any(a < end and b > start for a, b in log.gaps)
        if end - start >= LEAST_S and not inside:
            level = np.nan if log.level_m is None else float(log.level_m[first])
            if off is not None and abs(level - off.dry_m) < STOP_M and called[(first + last) // 2] > ran[first]:
                continue  # the logged pump stopped a hair above where our float turns: no difference of control
            middle = (first + last) // 2
            spans.append(Span(start, end, int(called[middle]), int(ran[middle]), level))
    return spans
