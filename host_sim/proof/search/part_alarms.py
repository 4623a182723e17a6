"""Part (e): one alarm of each kind, and the horn with three.  I4, I11, A2, A3."""

from itertools import product

from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control import watch
from duplexsump.control.alarm_table import HIGH_WATER, LATCH, SOUNDING, TABLE, URGENT
from duplexsump.control.alarms import ACKNOWLEDGED, LATCHED, NORMAL, RETURNED, UNACKNOWLEDGED, Alarms
from duplexsump.control.controller import Controller
from duplexsump.control.records import HIGH, N_INPUTS
from duplexsump.control.timers import Timers

from host_sim.proof.search import coarse
from host_sim.proof.search.canonical import Form

# quiet, remind_high, remind_other in ticks; each stage of the horn is 1 tick.
_TIMES = {"narrow": (4, 5, 6), "quick": (3, 3, 4), "wide": (4, 6, 9)}
_ACTIVE = (UNACKNOWLEDGED, ACKNOWLEDGED)


class AlarmsPart:
    """The real alarms.  A move is (condition of each alarm, silence, reset, test).

    With `floats`, the condition of high water is the raw reading of the high
    contact, which goes through the real debounce and the real alarm watch.
    Observers per alarm: ticks since a silence that met it, ticks it has stood
    acknowledged; with floats also how long the reading has been held.
    """

    title = "alarms and the horn"
    invariants = ("I4", "I11", "A2", "A1", "A3")
    controller: Controller
    alarms: Alarms
    timers: Timers
    work: Form
    inputs: list
    before: list
    quiet: int

    def __init__(self, world, which, floats=False):
        self.name = "high water" if floats else "alarms " + "+".join(TABLE[i][0] for i in which)
        self.which, self.floats = which, floats
        self.before = []  # states before this tick
        times = [n * coarse.TICK_MS for n in _TIMES[world]]
        quiet: int = times[0]
        high: int = times[1]
        other: int = times[2]
        self.settings = coarse.values(world, quiet=quiet, remind_high=high, remind_other=other)
        self.settings[s.DEBOUNCE_MS] = 2 * coarse.TICK_MS
        self.settings[s.CALLS] = 1
        self.controller = c = Controller(self.settings)
        self.alarms, self.timers = c.alarms, c.timers
        self.quiet = quiet // coarse.TICK_MS
        self.remind = {i: (high if i == 0 else other) // coarse.TICK_MS for i in which}
        rings = {tm.ALARM, tm.BELL} | ({tm.DEBOUNCE + 3} if floats else set())
        owners = [
            (c.alarms, lambda name, i: ("[" not in name or i in which) and not name.startswith("detail")),
            (c.timers, lambda name, i: i in rings),
        ]
        if floats:
            owners.append((c.contacts, None))
        self.form = Form(owners, coarse.TICK_MS, extra=3 * len(which))
        self.work = self.form.work
        count = 1 << len(which)
        self.moves = list(product(range(count), (0, 1), (0, 1), (0, 1)))
        self.inputs = [0] * N_INPUTS

    def start(self):
        """One state: nothing is wrong."""
        self.timers.at[:] = [-1] * tm.N_TIMERS
        self.timers.expire(self.work.now_ms)
        self.alarms.step(0)
        return [self.work.save((self.quiet, 0, 2) * len(self.which))]

    def step(self, state: bytes, move: tuple):
        """One tick in the order of the controller: reset, conditions, silence, horn."""
        seen = list(self.work.load(state))
        bits, silence, reset, test = move
        alarms: Alarms = self.alarms
        self.before = [alarms.state[i] for i in self.which]
        self.timers.expire(self.work.now_ms)
        conditions = [bits >> k & 1 for k in range(len(self.which))]
        if self.floats:
            conditions = [self._reading(seen, bits)]
        if reset:
            alarms.reset()
        if self.floats:
            watch._level(self.controller, self.inputs)
        else:
            for i, condition in zip(self.which, conditions, strict=True):
                alarms.tell(i, condition)
        if silence:
            self._silenced(seen)
            alarms.silence()
        alarms.step(test)
        breach = self._judge(seen, conditions, silence, test)
        return self.work.save(seen), breach

    def _reading(self, seen, raw):
        # L1 told once more: a reading counts once it has been held for debounce (2 ticks).
        c = self.controller.contacts
        before, settled = c.seen >> 3 & 1, c.wet >> 3 & 1
        seen[2] = 0 if raw != before else min(seen[2] + 1, 2)
        c.step(HIGH if raw else 0)
        return raw if seen[2] >= 2 else settled

    def _silenced(self, seen: list):
        for k, i in enumerate(self.which):
            state = self.alarms.state[i]
            if state in (UNACKNOWLEDGED, RETURNED, LATCHED):
                seen[3 * k] = -1  # becomes 0 in this tick
                seen[3 * k + 1] = -1

    def _judge(self, seen: list, conditions: list, silence, test):
        a: Alarms = self.alarms
        k: int
        i: int
        loud, dropped, calling, needed = False, bool(test), False, bool(test)
        for k, i in enumerate(self.which):
            state: int = a.state[i]
            condition: int = conditions[k]
            seen[3 * k] = min(seen[3 * k] + 1, self.quiet)
            acknowledged = state == ACKNOWLEDGED
            seen[3 * k + 1] = min(seen[3 * k + 1] + 1, self.remind[i]) if acknowledged else 0
            if bool(condition) != (state in _ACTIVE):
                return "I4" if i == HIGH_WATER else "A1", f"{TABLE[i][0]}: condition {condition}, state {state}"
            if not condition and TABLE[i][LATCH] and state not in (NORMAL, 4, 5):
                return "A1", f"{TABLE[i][0]} has returned in state {state} and must be latched"
            if i < SOUNDING:
                calling = calling or state in (UNACKNOWLEDGED, RETURNED, LATCHED)
                fresh = i == HIGH_WATER or self.before[k] != UNACKNOWLEDGED  # later the horn grows ever more seldom
                loud = loud or (state == UNACKNOWLEDGED and fresh and seen[3 * k] >= self.quiet)
                if acknowledged and silence and seen[3 * k + 1] >= self.remind[i]:
                    seen[3 * k] = seen[3 * k + 1] = 0  # the silence answers the reminder of this very tick
                if acknowledged and seen[3 * k + 1] >= self.remind[i]:
                    return "A2", f"{TABLE[i][0]} acknowledged for {seen[3 * k + 1]} ticks and not told again"
            if i < URGENT:
                dropped = dropped or state in (UNACKNOWLEDGED, ACKNOWLEDGED) or (state == RETURNED and a.bell[i])
            elif i < SOUNDING:
                stands = state in (UNACKNOWLEDGED, ACKNOWLEDGED, LATCHED)
                needed = needed or stands or (state == RETURNED and a.bell[i])
        if bool(a.relay) == dropped:
            return "I11", f"alarm relay {a.relay} with alarms {[a.state[i] for i in self.which]}, test {test}"
        if bool(a.service) == needed:
            return "A3", f"service relay {a.service} with alarms {[a.state[i] for i in self.which]}, test {test}"
        if loud and not a.horn:
            return "A2", f"no horn with alarms {[a.state[i] for i in self.which]}"
        if a.horn and not test and (not calling or silence):
            return "A2", f"the horn sounds with alarms {[a.state[i] for i in self.which]}, silence {silence}"
        return None

    def liveness(self):
        """Return (claim, moves, waiting): an alarm that stands and is left alone is heard again."""
        if len(self.which) > 1 or self.floats or self.which[0] >= SOUNDING:
            return
        place = self.form.names.index("horn")
        moves = [(1, 0, 0, 0)]
        yield f"{TABLE[self.which[0]][0]} stands: the horn sounds again", moves, lambda st: not st[place]

    def show(self, move):
        """Say a move in words."""
        bits, silence, reset, test = move
        on = [TABLE[i][0] for k, i in enumerate(self.which) if bits >> k & 1]
        words = (["high reads wet"] if self.floats and bits else on) or ["nothing"]
        tail = [word for word, said in (("silence", silence), ("reset", reset), ("test", test)) if said]
        return " ".join(words + tail)

    def describe(self, state):
        """Return what is not at rest in a state."""
        names = [f"{name}_{k}" for k in range(len(self.which)) for name in ("since_silence", "acknowledged", "held")]
        return self.form.describe(state, names)
