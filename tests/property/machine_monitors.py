"""The invariants I1 to I13 as watchers of a run: each looks at every step and says what is wrong.

They are written from the narrative.  What the controller believes is read from
it, because the invariants speak of belief; whether a belief is right is for
the clause tests and I14.
"""

from duplexsump.control import records as r
from duplexsump.control import settings as s

from tests.judge.senses import Settled
from tests.rig import ALARM_PRIORITY

UPPER = r.LEAD | r.LAG | r.HIGH
SLACK_MS = 300  # a tick to see an input, one to decide, one to act
HIGH_ALARMS = [name for name, priority in ALARM_PRIORITY.items() if priority == ALARM_PRIORITY["high_water"]]


class Invariants:
    """Watches a rig without forces and without a transmitter's virtual contacts where belief matters."""

    def __init__(self, rig):
        self.settings = rig.settings
        self.wrong = []
        self.checked = dict.fromkeys((f"I{i}" for i in range(1, 14)), 0)
        self.power_up(rig)
        rig.watchers.append(self)

    def power_up(self, rig):
        """A new life of the controller."""
        self.boot_ms = rig.elapsed_ms
        self.senses = Settled(self.settings[s.DEBOUNCE_MS])
        self.on = [0, 0]
        self.stopped_ms = [rig.elapsed_ms] * 2
        self.last_start_ms = None
        self.last_spacing_ms = 0
        self.before_ms = rig.elapsed_ms
        self.idle_run_ms = [None, None]  # None while the condition does not stand
        self.suspect_run_ms = [None, None]
        self.waiting_ms = 0
        self.flood_ms = [0, 0]
        self.states = ["idle", "idle"]
        self.before = list(rig.held)
        self.word = 0
        self.tried_at_boot = [0, 0]
        self.selector_was_off = [False, False]

    def _say(self, name, text):
        self.wrong.append(f"{self.now / 1000:.1f} s: {name}: {text}")

    def _met(self, name, holds, text):
        self.checked[name] += 1
        if not holds:
            self._say(name, text)

    def __call__(self, rig):
        self.rig = rig
        self.now = rig.elapsed_ms
        self.passed_ms = self.now - self.before_ms
        word = self.senses.see(self.now, rig.held[r.IN_CONTACTS] & self.settings[s.FITTED])
        out = rig.pumps_on()
        believed = self._believed(rig, word)
        self._starts(rig, word, believed, out)
        self._people(rig, out)
        self._alarms(rig, word)
        if not self.settings[s.TRANSMITTER]:
            self._dry_pit(rig, believed, out)
            self._suspects_only(rig, word, believed, out)
            self._service(rig, believed, out)
            self._flood(rig, believed, out)
        self.on = list(out)
        self.word = word
        self.before_ms = self.now
        self.before = list(rig.held)
        self.states = [rig.pump_state(1), rig.pump_state(2)]

    def _believed(self, rig, word):
        virtual = (r.OFF | r.LEAD | r.LAG) & ~self.settings[s.FITTED] if self.settings[s.TRANSMITTER] else 0
        return (word | rig.c.contacts.wet & virtual) & ~rig.c.belief.suspect

    # -- I1, I7, I9 ------------------------------------------------------------------------------

    def _starts(self, rig, word, believed, out):
        for n in range(2):
            if self.on[n] and not out[n]:
                self.stopped_ms[n] = self.now
        for n in range(2):
            if out[n] and not self.on[n]:
                self._rest(n, word, believed, any(a and b for a, b in zip(self.on, out, strict=True)))
                self._spacing(rig, n)
                if self.states[n] == "locked":
                    self._out_of_lock(rig, n, believed)
        for n in range(2):
            if rig.held[r.IN_SELECTOR_1 + n] == r.SELECT_OFF:
                self.selector_was_off[n] = True
            elif rig.pump_state(n + 1) != "locked":
                self.selector_was_off[n] = False

    def _rest(self, n, word, believed, running):
        rest_ms = self.settings[s.MIN_OFF_MS]
        if believed & r.LAG or (believed & r.LEAD and not running):
            rest_ms = self.settings[s.LAG_MIN_OFF_MS]
        if word & r.HIGH or (believed & r.LAG and not running):
            rest_ms = self.settings[s.FLOOD_MIN_OFF_MS]
        rested_ms = self.now - self.stopped_ms[n]
        self._met("I1", rested_ms >= rest_ms, f"pump {n + 1} started after {rested_ms} ms, rest {rest_ms} ms")

    def _spacing(self, rig, n):
        if self.last_start_ms is not None:
            apart_ms = self.now - self.last_start_ms
            text = f"pump {n + 1} started {apart_ms} ms after a start, spacing {self.last_spacing_ms} ms"
            self._met("I7", apart_ms >= self.last_spacing_ms, text)
        place = s.GENERATOR_SPACING_MS if rig.held[r.IN_GENERATOR] else s.START_SPACING_MS
        self.last_start_ms, self.last_spacing_ms = self.now, self.settings[place]

    def _out_of_lock(self, rig, n, believed):
        inputs = rig.held
        reset = inputs[r.IN_RESET] and not self.before[r.IN_RESET]
        reset = reset or inputs[r.IN_COMMAND] & ~self.before[r.IN_COMMAND] & r.CMD_RESET
        water = rig.c.contacts.rose & UPPER
        others_out = rig.c.pumps[1 - n].state >= 3 or not rig.c.pair.available & (2 - n)
        flood = believed & r.HIGH or (believed & r.LAG and others_out)
        boot = not self.tried_at_boot[n]
        self.tried_at_boot[n] = 1
        allowed = reset or water or flood or boot or self.selector_was_off[n]
        self._met("I9", allowed, f"pump {n + 1} started while locked out")

    # -- I2, I4, I11 -----------------------------------------------------------------------------

    def _people(self, rig, out):
        for n in range(2):
            barred = rig.held[r.IN_SELECTOR_1 + n] == r.SELECT_OFF or rig.held[r.IN_THERMAL_1 + n]
            if barred:
                self._met("I2", not out[n], f"pump {n + 1} is on with OFF or an open thermal contact")

    def _alarms(self, rig, word):
        if word & r.HIGH:
            self._met("I4", rig.active("high_water"), "high is wet and high water is not active")
        active = [name for name in HIGH_ALARMS if rig.active(name)]
        if active:
            self._met("I11", not rig.output("relay"), f"the alarm relay is energised with {active} active")

    def _going_on(self, stood_ms):
        return 0 if stood_ms is None else stood_ms + self.passed_ms

    # -- I3, I13 ---------------------------------------------------------------------------------

    def _in_auto(self, rig):
        return all(rig.held[r.IN_SELECTOR_1 + n] != r.SELECT_HAND for n in range(2))

    def _dry_pit(self, rig, believed, out):
        st = self.settings
        runs = 2 if rig.c.belief.untold == 1 else 1  # R1: `off` may be good, and the pump is loaded
        limit_ms = st[s.DEBOUNCE_MS] + st[s.MIN_RUN_MS] + runs * st[s.BLIND_RUN_MS] + SLACK_MS
        trusted = st[s.FITTED] & ~rig.c.belief.suspect
        idle = self._in_auto(rig) and trusted and not believed and not rig.c.blind.reason and not rig.c.blind.wants()
        for n in range(2):
            if not idle or not out[n]:
                self.idle_run_ms[n] = None
                continue
            self.idle_run_ms[n] = self._going_on(self.idle_run_ms[n])
            text = f"every believed contact dry and pump {n + 1} on for {self.idle_run_ms[n]} ms, limit {limit_ms} ms"
            self._met("I3", self.idle_run_ms[n] <= limit_ms, text)

    def _suspects_only(self, rig, word, believed, out):
        st = self.settings
        limit_ms = st[s.BLIND_RUN_MS] + SLACK_MS
        suspects = word & rig.c.belief.suspect
        for n in range(2):
            loaded = st[s.SENSING] == s.SENSE_CURRENT and rig.held[r.IN_CURRENT_1 + n] >= r.CURRENT_NORMAL
            hand = rig.held[r.IN_SELECTOR_1 + n] == r.SELECT_HAND
            if believed or not suspects or loaded or hand or not (self.on[n] and out[n]):
                self.suspect_run_ms[n] = None
                continue
            self.suspect_run_ms[n] = self._going_on(self.suspect_run_ms[n])
            text = f"pump {n + 1} on for {self.suspect_run_ms[n]} ms on suspects alone, limit {limit_ms} ms"
            self._met("I13", self.suspect_run_ms[n] <= limit_ms, text)

    # -- I5, I6 ----------------------------------------------------------------------------------

    def _able(self, rig, n):
        """Available as the narrative defines it, read from the inputs as far as they tell."""
        auto = rig.held[r.IN_SELECTOR_1 + n] == r.SELECT_AUTO
        return auto and not rig.held[r.IN_THERMAL_1 + n] and bool(rig.c.supply.fed & (1 << n))

    def _service(self, rig, believed, out):
        st = self.settings
        available = any(
            self._able(rig, n) and rig.pump_state(n + 1) in ("idle", "starting", "running") for n in range(2)
        )
        welded = any(pump.welded for pump in rig.c.pumps)
        hand = any(rig.held[r.IN_SELECTOR_1 + n] == r.SELECT_HAND for n in range(2))
        owed = believed & r.LEAD and available and not rig.c.demand.stopped and not welded and not hand
        if not owed or any(out) or any(self.on):
            self.waiting_ms = 0
            return
        self.waiting_ms += self.passed_ms
        delay_ms = st[s.BOOT_HOLD_MS] if self.now - self.boot_ms < 240_000 else 0
        limit_ms = max(st[s.LAG_MIN_OFF_MS], delay_ms) + st[s.GENERATOR_SPACING_MS] + SLACK_MS
        text = f"lead wet, a pump available and none running for {self.waiting_ms} ms, limit {limit_ms} ms"
        self._met("I5", self.waiting_ms <= limit_ms, text)

    def _flood(self, rig, believed, out):
        st = self.settings
        hold_ms = st[s.BOOT_HOLD_MS] if self.now - self.boot_ms < 300_000 else 0
        limit_ms = 2 * (max(60_000, st[s.FLOOD_RETRY_MS]) + st[s.DRY_RUN_MS] + st[s.OVERLOAD_MS]) + hold_ms
        limit_ms += 2 * st[s.GENERATOR_SPACING_MS] + st[s.FLOOD_MIN_OFF_MS] + SLACK_MS
        for n in range(2):
            overloaded = rig.c.pumps[n].cause == 4
            owed = believed & r.HIGH and not any(out) and self._able(rig, n) and not overloaded
            owed = owed and not any(pump.welded for pump in rig.c.pumps) and self._in_auto(rig)
            if any(out) or any(self.on):
                self.flood_ms[n] = 0 if out[n] else self.flood_ms[n]
                continue
            if not owed:
                self.flood_ms[n] = 0
                continue
            self.flood_ms[n] += self.passed_ms
            text = f"high wet, none running, pump {n + 1} not tried for {self.flood_ms[n]} ms, limit {limit_ms} ms"
            self._met("I6", self.flood_ms[n] <= limit_ms, text)

    def check(self):
        """Raise AssertionError with everything that was wrong."""
        assert not self.wrong, "\n".join(self.wrong[:10])
