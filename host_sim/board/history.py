"""What happened at the pit, from a board's journal: runs, alarms, power-ups, with dates where the clock was set.

The journal is replayed through the controller, so that its alarms are those that the board had.
"""

import time
from dataclasses import dataclass

from duplexsump.control import alarm_table, alarms
from duplexsump.control.controller import Controller
from duplexsump.control.ticks import diff
from duplexsump.station import journal as j

from host_sim.board.readback import advance

ACTIVE = (alarms.UNACKNOWLEDGED, alarms.ACKNOWLEDGED)
_RESETS = ("power-up", "watchdog reset", "requested reset")


@dataclass
class Happening:
    """One thing that happened.  `at` is in s since 1970-01-01, None where no clock was ever set in that power-up.

    `kind` is "run", "alarm", "cleared", "acknowledged", "power-up" or "event"; `since_s` counts from the first record.
    """

    at: float | None
    since_s: float
    kind: str
    text: str
    pump: int = 0
    lasts_s: float = 0.0
    name: str = ""


def happenings(segments):
    """Return a list of Happening of `readback.Segment`s, in order.

    Segments of another firmware are told by what they recorded themselves (power-ups, runs, events), without alarms.
    """
    found, since_s, before, controller, life = [], 0.0, None, None, []
    state = _State()
    for segment in segments:
        if segment.begins or before is None:
            state.end_runs(found, since_s)
            _date(life, found)
            life = []
            controller = _start(segment)
            before = segment.now_ms
            state.alarms = list(controller.alarms.state) if controller else None
        life.append((len(found), since_s + diff(segment.now_ms, before) / 1000.0, segment.clock_s, False))
        marks = {now: (name, value, text) for now, name, value, text in segment.events}
        for step in segment.steps:
            since_s += max(0, diff(step.now_ms, before)) / 1000.0
            before = step.now_ms
            state.outputs(found, since_s, step.packed)
            if controller is not None:
                controller = _follow(controller, step, state, found, since_s)
            if step.now_ms in marks:
                _event(found, since_s, *marks.pop(step.now_ms), life)
        for mark in marks.values():
            _event(found, since_s, *mark, life)
    state.end_runs(found, since_s)
    _date(life, found)
    return sorted(found, key=lambda h: h.since_s)


class _State:
    def __init__(self):
        self.on = [None, None]
        self.alarms = None

    def outputs(self, found, since_s, packed):
        for n in range(2):
            on = packed >> n & 1
            if on and self.on[n] is None:
                self.on[n] = since_s
            elif not on and self.on[n] is not None:
                lasts = since_s - self.on[n]
                found.append(Happening(None, self.on[n], "run", f"pump {n + 1} ran", n + 1, lasts))
                self.on[n] = None

    def end_runs(self, found, since_s):
        self.outputs(found, since_s, 0)


def _start(segment):
    try:
        controller = Controller(list(segment.settings))
        if segment.begins:
            controller.power_up(segment.now_ms, segment.retained or None)
        else:
            controller.restore(segment.snapshot)
    except (ValueError, IndexError):
        return None  # of another firmware
    return controller


def _follow(controller, step, state, found, since_s):
    # As `readback.replay` does: the steps between two records, in which alarms may clear by time, then the recorded.
    def seen(now_ms):
        _compare(controller, state, found, since_s - diff(step.now_ms, now_ms) / 1000.0)

    try:
        advance(controller, step, seen)
        controller.step(step.now_ms, list(step.inputs), True)
    except (ValueError, IndexError):
        return None
    seen(step.now_ms)
    return controller


def _compare(controller, state, found, since_s):
    # Tell what alarms have changed since the last look.
    now = controller.alarms.state
    if now == state.alarms:
        return
    for i, old in enumerate(state.alarms):
        if now[i] == old:
            continue
        row = alarm_table.TABLE[i]
        text, name = row[alarm_table.TEXT], row[alarm_table.NAME]
        if now[i] in ACTIVE and old not in ACTIVE:
            found.append(Happening(None, since_s, "alarm", text, name=name))
        elif old in ACTIVE and now[i] not in ACTIVE:
            found.append(Happening(None, since_s, "cleared", text, name=name))
        elif (old, now[i]) == (alarms.UNACKNOWLEDGED, alarms.ACKNOWLEDGED):
            found.append(Happening(None, since_s, "acknowledged", text, name=name))
    state.alarms = list(now)


def _event(found, since_s, name, value, text, life):
    if name == j.EVENTS[j.CLOCK_SET]:
        life.append((len(found), since_s, value, True))
    words = f"{name} {text}".strip()
    if name == j.EVENTS[j.POWER_UP]:
        words = _RESETS[value] if 0 <= value < len(_RESETS) else name
    kind = "power-up" if name == j.EVENTS[j.POWER_UP] else "event"
    found.append(Happening(None, since_s, kind, words))


def _date(life, found):
    # One offset for a power-up: its clock runs on, so a time set late dates what came before.
    # What a segment opens with counts whole minutes; the event of setting it is exact.
    known = sorted((exact, place, clock - since) for place, since, clock, exact in life if clock)
    if not known:
        return
    for happening in found[life[0][0] :]:
        if happening.at is None:
            happening.at = happening.since_s + known[-1][2]


def when(happening):
    """Return the date and time of a Happening, or the time since the first record where no clock was set."""
    if happening.at is not None:
        return time.strftime("%Y-%m-%d %H:%M:%S", time.localtime(happening.at))
    minutes, seconds = divmod(int(happening.since_s), 60)
    return f"no date, +{minutes // 60} h {minutes % 60:02d} min {seconds:02d} s"


def lines(found):
    """Return a list of texts, one a happening."""
    told = []
    for h in found:
        words = {"alarm": f"ALARM {h.text}", "cleared": f"cleared: {h.text}", "acknowledged": f"acknowledged: {h.text}"}
        text = words.get(h.kind, h.text)
        told.append(f"{when(h)}  {text}" + (f" {h.lasts_s:.0f} s" if h.kind == "run" else ""))
    return told
