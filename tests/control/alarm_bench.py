"""The alarms on the bench, with nothing else of the controller: one call of `go` is one step.  Times in ms."""

from duplexsump.control import alarms as al
from duplexsump.control import timers as tm
from duplexsump.control.alarm_table import TABLE
from duplexsump.control.ticks import MASK

from tests.rig import make_settings

COUNT = len(TABLE)
PLACES = range(COUNT)
HIGHS = [i for i in PLACES if TABLE[i][1] == 0]
SOUNDING = [i for i in PLACES if TABLE[i][1] <= 1]
N_SOUNDING = len(SOUNDING)
MEDIUMS = [i for i in PLACES if TABLE[i][1] == 1]
LATCHING = [i for i in PLACES if TABLE[i][2]]
SECOND, MINUTE, HOUR = 1000, 60_000, 3_600_000
QUIET, REMIND_HIGH, REMIND_OTHER = 15 * MINUTE, 30 * MINUTE, 12 * HOUR
NORMAL, UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED, LATCHED, LATCHED_ACKNOWLEDGED = range(6)
STAGES = {  # (ms, horn) of the edges for one alarm that nobody attends to, from its raise on
    "high water": [],
    "high": [(5 * MINUTE, 0)] + [(k * HOUR + (1 - on) * MINUTE, on) for k in range(1, 7) for on in (1, 0)],
    "medium": [(2 * MINUTE, 0)] + [(k * MINUTE + (1 - on) * 20 * SECOND, on) for k in (10, 30, 60) for on in (1, 0)],
    "returned": [(k * MINUTE + (1 - on) * 10 * SECOND, on) for k in (10, 30, 60) for on in (1, 0)],
}  # fmt: skip


class Bench:
    """The alarms with a clock; `go` is one step."""

    def __init__(self, start=0, **overrides):
        self.timers = tm.Timers()
        self.a = al.Alarms(make_settings(**overrides), self.timers)
        self.now = start
        self.timers.expire(start)

    def go(self, ms=0, on=(), off=(), silence=False, test=0):
        self.now = (self.now + ms) & MASK
        self.timers.expire(self.now)
        for i in on:
            self.a.tell(i, 1)
        for i in off:
            self.a.tell(i, 0)
        if silence:
            self.a.silence()
        self.a.step(test)
        return self.a.horn

    def left(self, timer):
        return self.timers.left_ms(timer) if self.timers.running(timer) else None

    def heard(self, until_ms):
        """Step from due instant to due instant for `until_ms`; return [(ms, horn)] of the horn's edges."""
        edges, horn, gone = [], self.a.horn, 0
        while gone < until_ms:
            ahead = min(self.timers.next_ms(until_ms), until_ms - gone)
            gone += ahead
            if self.go(ahead) != horn:
                horn = self.a.horn
                edges.append((gone, horn))
        return edges


def kind(i):
    """The key of STAGES for alarm `i`."""
    return "high water" if i == 0 else "high" if i in HIGHS else "medium"
