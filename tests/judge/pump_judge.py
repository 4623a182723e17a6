"""An independent judge of pump sequences, built by hand from the narrative with `transitions`.

It stands outside the controller: it sees what went in and what came out, and
fails on any sequence that the narrative does not allow.  It does not know what
the controller believes, so where a clause asks for a believed contact the judge
allows whatever some belief could explain; the invariants look at belief.

Two pumps, one small machine each:

    stopped -> starting -> running -> stopped      S1, S2, S3, S5 (proved)
    starting, running -> out -> starting           S5, S5b, S7, R1, R3
    out -> locked -> starting                      S5, R3, R4, S4
    any -> withdrawn -> stopped, out, locked       OFF, thermal contact, supply
"""

from duplexsump.control import records as r
from duplexsump.control import settings as s
from transitions import Machine, MachineError

from tests.judge.senses import Held, Settled

STATES = ("stopped", "starting", "running", "out", "locked", "withdrawn")

# trigger, from, to, and the clause that allows it.
TRANSITIONS = (
    ("start", "stopped", "starting", "D1"),
    ("start", "out", "starting", "S5 after the retry rest, or R3"),
    ("start", "locked", "starting", "R3, R4, S4"),
    ("prove", "starting", "running", "S5"),
    ("stop", "starting", "stopped", "S3"),
    ("stop", "running", "stopped", "S3"),
    ("trip", "starting", "out", "S5"),
    ("trip", "running", "out", "S5b, S7, R1"),
    ("lock", "out", "locked", "S5, R1"),
    ("withdraw", "stopped", "withdrawn", "M1, S7, A4"),
    ("withdraw", "starting", "withdrawn", "M1, S7, A4"),
    ("withdraw", "running", "withdrawn", "M1, S7, A4"),
    ("withdraw", "out", "withdrawn", "M1, S7, A4"),
    ("withdraw", "locked", "withdrawn", "M1, S7, A4"),
    ("restore", "withdrawn", "stopped", "M1, A4"),
    ("rest", "withdrawn", "out", "S7: a rest of retry after the thermal contact"),
    ("pardon", "out", "stopped", "R1, R4, S5 before a mains loss"),
    ("pardon", "locked", "stopped", "R4, S4"),
)


class Pump:
    """What the judge knows of one pump."""

    def __init__(self, n):
        self.n = n
        self.machine = Machine(self, states=list(STATES), initial="stopped", auto_transitions=False)
        for trigger, source, target, _ in TRANSITIONS:
            self.machine.add_transition(trigger, source, target)
        self.started_ms = None
        self.stopped_ms = None
        self.tripped_ms = None
        self.trips = 0
        self.cause = None
        self.on = False
        self.none, self.under, self.over, self.jam = Held(), Held(), Held(), Held()
        self.thermal = False
        self.closed_ms = None
        self.was_locked = False
        self.from_locked = False
        self.tried = self.flooded = False  # R3: a run out of a rest or a lockout; with high wet in it
        self.loaded = Held()


class PumpJudge:
    """Watches a rig; `wrong` collects what the narrative does not allow, each with its second and clause."""

    SLACK_MS = 100  # one tick: inputs are seen at steps

    def __init__(self, rig):
        self.settings = rig.settings
        self.wrong = []
        self.seen = {"starts": 0, "trips": 0, "withdrawals": 0}
        self.ran_ms = [rig.elapsed_ms, rig.elapsed_ms]  # outlives a reset, as the idle time of D7 does
        self.battery = r.BATTERY_GOOD
        self.power_up(rig)
        rig.watchers.append(self)

    def power_up(self, rig):
        """A new life: every pump stopped now, nothing settled yet."""
        self.boot_ms = getattr(rig, "boot_ms", rig.elapsed_ms)
        self.settled = Settled(self.settings[s.DEBOUNCE_MS])
        self.pumps = [Pump(0), Pump(1)]
        for pump in self.pumps:
            pump.stopped_ms = self.boot_ms
        self.last_start_ms = None
        self.spacing_ms = 0
        self.asked = False
        self.off_fell = False
        self.two_asked = False
        self.no_level = False
        self.fell_ms, self.rose_ms = {}, {}
        self.mains_back_ms = None
        self.mains_lost_ms = None
        self.mains = 1
        self.before = None
        self.word = 0

    # -- one step --------------------------------------------------------------------------------

    def __call__(self, rig):
        now, inputs, out = rig.elapsed_ms, rig.held, rig.outputs
        self.now = now
        raw = self._with_forces(inputs)
        word = self.settled.see(now, raw)
        told = getattr(rig, "active", lambda name: False)
        self.floats_suspect = told("floats_out_of_sequence") or self.settings[s.TRANSMITTER]
        self.cut = told("float_wiring")
        self.welded = [told("pump_1_will_not_stop"), told("pump_2_will_not_stop")]
        self._note_wiring(word)
        self._note_demand(word, inputs)
        self._note_mains(inputs)
        for pump in self.pumps:
            self._pardons(pump, inputs, word)
            self._withdrawal(pump, inputs)
        for value in (0, 1):  # What stops in a step has stopped before anything starts in it.
            for pump in self.pumps:
                if bool(out[r.OUT_PUMP_1 + pump.n]) == bool(value):
                    self._edge(pump, inputs, value)
        for pump in self.pumps:
            self._musts(pump, inputs)
        self.word = word
        self.before = list(inputs)

    def _with_forces(self, inputs):
        word = inputs[r.IN_CONTACTS]
        if inputs[r.IN_JUMPER] and inputs[r.IN_FORCE_MASK]:
            self.no_level = True  # Forces lapse on a clock of their own: the judge only knows that they may hold.
        return word

    def _say(self, clause, text):
        self.wrong.append(f"{self.now / 1000:.1f} s: {clause}: {text}")

    def _note_wiring(self, word):
        fitted = self.settings[s.FITTED] & (r.OFF | r.LEAD | r.LAG)
        for bit in r.CONTACTS[:3]:
            if (word ^ self.word) & bit & fitted:
                (self.rose_ms if word & bit else self.fell_ms)[bit] = self.now
        for moved in (self.rose_ms, self.fell_ms):
            if sum(self.now - t <= 2_000 for t in moved.values()) >= 2 and word & fitted in (0, fitted):
                self.no_level = True

    def _note_demand(self, word, inputs):
        above = word & (r.LEAD | r.LAG | r.HIGH)
        if above:
            self.asked = True
        if word & (r.LAG | r.HIGH):
            self.two_asked = True
        if self.settings[s.TRANSMITTER]:
            self.asked = self.two_asked = self.no_level = True  # The level itself is not judged here.
        self.off_fell = bool((self.off_fell or self.word & ~word & r.OFF) and not above)
        idle = not any(p.on for p in self.pumps)
        # Where off did not take part, the pit may still be drawn down by time (L3).
        if self.off_fell and idle and not self.no_level:
            self.asked = self.two_asked = False

    def _note_mains(self, inputs):
        mains = inputs[r.IN_MAINS]
        if mains and not self.mains:
            self.mains_back_ms = self.now
        if not mains and self.mains:
            self.mains_lost_ms = self.now
            for pump in self.pumps:
                if pump.state in ("out", "locked") and self.now - pump.tripped_ms <= 3_000 + self.SLACK_MS:
                    pump.pardon()
                    pump.trips = 0
        self.mains = mains
        self.battery = inputs[r.IN_BATTERY]

    # -- what may end an outage early ------------------------------------------------------------

    def _pardons(self, pump, inputs, word):
        if self.before is None or pump.state not in ("out", "locked"):
            return
        reset = inputs[r.IN_RESET] and not self.before[r.IN_RESET]
        reset = reset or inputs[r.IN_COMMAND] & ~self.before[r.IN_COMMAND] & r.CMD_RESET
        rose = word & ~self.word & (r.LEAD | r.LAG | r.HIGH)
        # R1: a trip for not pumping goes with the float that caused it; who is suspect, the alarm tells.
        if reset or ((rose or self.floats_suspect) and pump.cause == "under"):
            pump.pardon()
            pump.trips = 0

    def _withdrawal(self, pump, inputs):
        selector, thermal = inputs[r.IN_SELECTOR_1 + pump.n], inputs[r.IN_THERMAL_1 + pump.n]
        away = selector == r.SELECT_OFF or thermal or self._no_supply(pump.n, inputs)
        if away and pump.state != "withdrawn":
            pump.was_locked = pump.state == "locked"
            pump.withdraw()
            self.seen["withdrawals"] += 1
        if thermal:
            pump.thermal = True
        elif self.before and self.before[r.IN_THERMAL_1 + pump.n]:
            pump.closed_ms = self.now
        if selector == r.SELECT_OFF:
            pump.was_locked = False
            pump.thermal = bool(thermal)
            pump.trips = 0
        if not away and pump.state == "withdrawn":
            if pump.thermal:
                pump.rest()
                # The rest counts from the closing, which was seen in the step after it was last open.
                pump.tripped_ms, pump.cause = pump.closed_ms, "thermal"
            else:
                pump.restore()
            if pump.was_locked:
                # Still locked out: the way back leads over out.
                pump.machine.set_state("locked")
            pump.thermal = False

    def _no_supply(self, n, inputs):
        # A4: once lag or high has been wet, a mains that is not seen may be used all the same.
        kind = self.settings[s.SUPPLY_1 if n == 0 else s.SUPPLY_2]
        return kind == s.MAINS and not inputs[r.IN_MAINS] and not self.two_asked

    def _no_current_says_nothing(self, n, inputs):
        # A4: without a mains to be seen, or one that has not settled, a missing current is no fault.
        # R3: and with high wet it ends no try, nor from then on.
        if self.pumps[n].tried and self.pumps[n].flooded:
            return True
        if self.settings[s.SUPPLY_1 + n] == s.BATTERY:
            return False
        unsettled = self.mains_back_ms is not None and self.now - self.mains_back_ms <= self.settings[s.MAINS_SETTLE_MS]
        return not inputs[r.IN_MAINS] or unsettled

    def _battery_taken(self, inputs):
        # A4: at most battery_pumps on the battery: one of two gives way at once.
        on = [self.settings[s.SUPPLY_1 + n] == s.BATTERY or not inputs[r.IN_MAINS] for n in range(2)]
        return all(on) and self.settings[s.BATTERY_PUMPS] == 1

    def _useless(self, n):
        # A4: below battery_dead a pump on the battery is not available, except while high is wet;
        # S6: nor is one that will not stop.
        if self.welded[n]:
            return True
        supply = self.settings[s.SUPPLY_1 if n == 0 else s.SUPPLY_2]
        on_battery = supply == s.BATTERY or (supply == s.EITHER and not self.mains)
        return on_battery and self.battery == r.BATTERY_DEAD

    # -- edges -----------------------------------------------------------------------------------

    def _edge(self, pump, inputs, value):
        band = inputs[r.IN_CURRENT_1 + pump.n]
        if value and not pump.on:
            self._start(pump, inputs)
        elif pump.on and not value:
            self._stop(pump, band, inputs)
        pump.on = bool(value)
        if pump.on:
            self.ran_ms[pump.n] = self.now
            pump.flooded = pump.flooded or bool(self.settled.word & r.HIGH)
        if self.settings[s.SENSING] == s.SENSE_NOTHING:
            if pump.state == "starting":
                pump.prove()
            return
        running = self.now - pump.started_ms if pump.on else 0
        pump.none.see(self.now, pump.on and band == r.CURRENT_NONE)
        pump.under.see(self.now, pump.on and band == r.CURRENT_UNDER)
        pump.over.see(self.now, pump.on and band >= r.CURRENT_OVER)
        pump.jam.see(self.now, pump.on and band == r.CURRENT_LOCKED and running >= 1_000)
        if pump.state == "starting" and band != r.CURRENT_NONE:
            pump.prove()
        self._stays_loaded(pump, band)

    def _stays_loaded(self, pump, band):
        # R4: a try that stays loaded ends the lockout; with feedback a proved one is enough.
        loaded_ms = pump.loaded.see(self.now, pump.on and band >= r.CURRENT_NORMAL)
        enough = 0 if self.settings[s.SENSING] == s.SENSE_FEEDBACK else self.settings[s.DRY_RUN_MS]
        if pump.from_locked and pump.state == "running" and loaded_ms >= enough:
            pump.from_locked = False
            pump.trips = 0

    def _start(self, pump, inputs):
        self.seen["starts"] += 1
        pump.from_locked = pump.state == "locked"
        resting = pump.state == "out" and self.now - pump.tripped_ms < self.settings[s.RETRY_MS]
        pump.tried, pump.flooded = pump.state == "locked" or resting, False
        self._check_rest(pump)
        self._check_spacing(inputs)
        self._check_reason(pump, inputs)
        if pump.state in ("out", "locked"):
            self._check_retry(pump)
        try:
            pump.start()
        except MachineError:
            self._say("table", f"pump {pump.n + 1} started while {pump.state}")
            pump.machine.set_state("starting")
        pump.started_ms = self.now
        self.last_start_ms = self.now

    def _check_rest(self, pump):
        word, st = self.settled.word, self.settings
        others_off = not self.pumps[1 - pump.n].on
        rest, clause = st[s.MIN_OFF_MS], "min_off"
        if word & r.LAG or (word & r.LEAD and others_off) or st[s.TRANSMITTER] or self.no_level:
            rest, clause = st[s.LAG_MIN_OFF_MS], "lag_min_off"
        if word & r.HIGH or (word & r.LAG and others_off) or self.no_level:
            rest, clause = st[s.FLOOD_MIN_OFF_MS], "flood_min_off"
        rested = self.now - pump.stopped_ms
        # Power-up counts as a stop, but the hold of S4 is what applies to the first start.
        if rested < rest and pump.stopped_ms != self.boot_ms:
            self._say("S1", f"pump {pump.n + 1} started after {rested} ms of rest, {clause} = {rest} ms")
        if self.now - self.boot_ms < st[s.BOOT_HOLD_MS]:
            self._say("S4", f"pump {pump.n + 1} started {self.now - self.boot_ms} ms after power-up")

    def _check_spacing(self, inputs):
        spacing = self.spacing_ms
        if self.last_start_ms is not None and self.now - self.last_start_ms < spacing:
            self._say("S2", f"two starts {self.now - self.last_start_ms} ms apart, start_spacing = {spacing} ms")
        # What feeds the house at a start says how long the next must wait.
        self.spacing_ms = self.settings[s.GENERATOR_SPACING_MS if inputs[r.IN_GENERATOR] else s.START_SPACING_MS]

    def _check_reason(self, pump, inputs):
        hand = [inputs[r.IN_SELECTOR_1 + n] == r.SELECT_HAND for n in range(2)]
        if hand[pump.n]:
            return
        exercise = self.now - self.ran_ms[pump.n] >= self.settings[s.EXERCISE_DAYS] * 86_400_000 - 120_000
        if not self.asked and not exercise:
            self._say("D1", f"pump {pump.n + 1} started and no contact from lead up was wet")
        back = self.mains_back_ms is not None and self.now - self.mains_back_ms < 120_000
        # With suspect floats lead alone may ask for two: who is suspect, the alarms tell.
        two = self.two_asked or self.floats_suspect or self.cut
        if self.pumps[1 - pump.n].on and not (two or hand[1 - pump.n] or back):
            self._say("D1", f"pump {pump.n + 1} started beside the other and neither lag nor high was wet")

    def _check_retry(self, pump):
        word, st = self.settled.word, self.settings
        both_out = all(p.state in ("out", "locked", "withdrawn") or self._useless(p.n) for p in self.pumps)
        early = bool(word & r.HIGH) or (both_out and bool(word & r.LAG)) or self.no_level
        # R3: beside one that runs only with high wet.
        if early and (not self.pumps[1 - pump.n].on or word & r.HIGH):
            return
        rested = self.now - pump.tripped_ms
        if pump.state == "locked":
            self._say("R4", f"pump {pump.n + 1} started while locked out ({pump.cause})")
        elif rested < st[s.RETRY_MS]:
            self._say("S5", f"pump {pump.n + 1} started {rested} ms after it tripped ({pump.cause})")

    def _stop(self, pump, band, inputs):
        pump.stopped_ms = self.now
        if pump.state == "withdrawn":
            return
        cause = self._trip_cause(pump, band, inputs)
        if cause is None:
            ran = self.now - pump.started_ms
            # Whether `high` is believed in such a try, and a missing current so no fault (R3), cannot be seen here; nor
            # where `high` has turned dry before the start had to be proved, whether it still was when that was due.
            dried = band == r.CURRENT_NONE and not self.settled.word & r.HIGH
            due = dried and ran + self.SLACK_MS >= self.settings[s.START_PROOF_MS]
            unsure = pump.tried and pump.flooded and (self.floats_suspect or self.cut or due)
            lost = unsure or self._useless(pump.n) or self._battery_taken(inputs)
            if not lost and ran < self.settings[s.MIN_RUN_MS]:
                self._say("S3", f"pump {pump.n + 1} stopped after {ran} ms, min_run = {self.settings[s.MIN_RUN_MS]} ms")
            pump.trips = 0
            pump.stop()
            return
        self.seen["trips"] += 1
        pump.cause = cause
        pump.tripped_ms = self.now
        other = self.pumps[1 - pump.n]
        no_water = not self.settled.word & (r.LEAD | r.LAG | r.HIGH)
        if cause == "under" and (no_water or other.state in ("out", "locked")):
            # R1: the pit is empty; nothing is counted, and the other's trip is taken back.
            pump.stop()
            if other.state in ("out", "locked") and other.cause == "under":
                other.pardon()
                other.trips = 0
            return
        pump.trips += 1
        pump.trip()
        if pump.trips >= self.settings[s.RETRIES] or pump.from_locked:
            pump.lock()

    def _trip_cause(self, pump, band, inputs):
        st, slack = self.settings, self.SLACK_MS
        moist = inputs[r.IN_MOISTURE_1 + pump.n] and not (self.before and self.before[r.IN_MOISTURE_1 + pump.n])
        if st[s.MOISTURE_TRIPS] and moist:
            return "moisture"
        if st[s.SENSING] == s.SENSE_NOTHING:
            return None
        ran = self.now - pump.started_ms
        excused = self._no_current_says_nothing(pump.n, inputs)
        none = pump.none.see(self.now, band == r.CURRENT_NONE and not excused)
        if none + slack >= st[s.START_PROOF_MS]:
            return "start" if pump.state == "starting" else "lost"
        if pump.over.see(self.now, band >= r.CURRENT_OVER) + slack >= st[s.OVERLOAD_MS]:
            return "over"
        if pump.jam.see(self.now, band == r.CURRENT_LOCKED and ran >= 1_000) + slack >= 1_000:
            return "over"
        if pump.under.see(self.now, band == r.CURRENT_UNDER) + slack >= st[s.DRY_RUN_MS]:
            return "under"
        return None

    # -- what must not go on ---------------------------------------------------------------------

    def _musts(self, pump, inputs):
        if not pump.on:
            return
        if inputs[r.IN_SELECTOR_1 + pump.n] == r.SELECT_OFF:
            self._say("M1", f"pump {pump.n + 1} runs with its selector at OFF")
        if inputs[r.IN_THERMAL_1 + pump.n]:
            self._say("S7", f"pump {pump.n + 1} runs with its thermal contact open")
        if self._no_supply(pump.n, inputs):
            self._say("A4", f"pump {pump.n + 1} hangs on the mains and is on without it")
        if self.settings[s.SENSING] == s.SENSE_NOTHING or self.no_level:
            return
        band, st, slack = inputs[r.IN_CURRENT_1 + pump.n], self.settings, self.SLACK_MS
        hand = inputs[r.IN_SELECTOR_1 + pump.n] == r.SELECT_HAND
        none = band == r.CURRENT_NONE and not self._no_current_says_nothing(pump.n, inputs)
        limits = [
            ("S5", pump.none.see(self.now, none), st[s.START_PROOF_MS], "no current"),
            ("S7", pump.over.see(self.now, band >= r.CURRENT_OVER), st[s.OVERLOAD_MS], "overload"),
            ("S7", pump.jam.see(self.now, band == r.CURRENT_LOCKED and self.now - pump.started_ms >= 1_000),
             1_000, "locked rotor"),
        ]
        if not hand:
            limits.append(("R1", pump.under.see(self.now, band == r.CURRENT_UNDER), st[s.DRY_RUN_MS], "underload"))
        for clause, stood, limit, what in limits:
            if stood > limit + slack:
                self._say(clause, f"pump {pump.n + 1} still on after {stood} ms of {what}, limit {limit} ms")

    def check(self):
        """Raise AssertionError with everything that was wrong."""
        assert not self.wrong, "\n".join(self.wrong[:20])
