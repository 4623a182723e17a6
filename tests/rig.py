"""A small rig for the controller: it holds an input record, steps the controller and notes what comes out.

The rig knows nothing of the clauses.  A test script says what the inputs do and
when, the rig steps the real controller (from due instant to due instant, or
every tick) and collects output edges and alarm states; watchers, such as the
judges and the invariants, are called after every step.
"""

from duplexsump.control import alarms, pump, records, settings, ticks
from duplexsump.control.controller import Controller

TICK_MS = ticks.TICK_MS
CONTACT_BIT = dict(zip(records.CONTACT_NAMES, records.CONTACTS, strict=True))
INPUT_PLACE = {name: place for place, name in enumerate(records.INPUT_NAMES)}
OUTPUT_PLACE = {name: place for place, name in enumerate(records.OUTPUT_NAMES)}
SELECTOR = {"auto": records.SELECT_AUTO, "off": records.SELECT_OFF, "hand": records.SELECT_HAND}
CURRENT = {name: band for band, name in enumerate(records.CURRENT_NAMES)}
TRANSMITTER = {"ok": records.TRANSMITTER_OK, "low": records.TRANSMITTER_LOW, "high": records.TRANSMITTER_HIGH}
BATTERY = {"good": records.BATTERY_GOOD, "low": records.BATTERY_LOW, "dead": records.BATTERY_DEAD}
WORDS = {
    "selector_1": SELECTOR, "selector_2": SELECTOR, "current_1": CURRENT, "current_2": CURRENT,
    "transmitter": TRANSMITTER, "battery": BATTERY,
}
ALARM_PLACE = {row[0]: place for place, row in enumerate(alarms.TABLE)}
ALARM_PRIORITY = {row[0]: row[1] for row in alarms.TABLE}
ACTIVE = ("unacknowledged", "acknowledged")
NO_CURRENT, WITH_FEEDBACK, WITH_CURRENT = settings.SENSE_NOTHING, settings.SENSE_FEEDBACK, settings.SENSE_CURRENT


def make_settings(**overrides):
    """Return a settings record: the defaults with `overrides` by name.  Raises AssertionError when they are refused."""
    values = settings.defaults()
    for name, value in overrides.items():
        values[settings.index(name)] = value
    refusals = settings.check(values)
    assert not refusals, refusals
    return values


def to_ms(seconds):
    """Return seconds as ms on the 100 ms grid; a test that asks for a time off the grid is a mistake."""
    ms = round(seconds * 10) * 100
    assert abs(ms - seconds * 1000) < 1, f"{seconds} s is not on the 100 ms grid"
    return ms


class Rig:
    """One controller on the bench.

    Pump currents follow the outputs one tick later: `load[n]` is the band that
    pump n + 1 draws while its output is on, `weld[n]` the band while it is off.
    With a `plant` (see tests/pit.py) contacts and currents come from that.
    """

    def __init__(self, *, start_ms=0, retained=None, ticking=False, always=False, plant=None, boot=True, **overrides):
        self.settings = make_settings(**overrides)
        self.start_ms = start_ms
        self.elapsed_ms = 0
        self.ticking = ticking
        self.always = always
        self.plant = plant
        self.held = [0] * records.N_INPUTS
        self.held[records.IN_MAINS] = 1
        self.held[records.IN_CHARGER] = 1
        self.scratch = [0] * records.N_INPUTS
        self.load = ["normal", "normal"]
        self.weld = ["none", "none"]
        self.script = []
        self.watchers = []
        self.edges = []  # (seconds, output, value)
        self.alarm_log = []  # (seconds, alarm, state)
        self.steps = 0
        self.outputs = [0] * records.N_OUTPUTS
        self.alarm_states = ["normal"] * len(alarms.TABLE)
        self.alarm_numbers = []  # the same as the core has them: what has not changed needs no words
        self.boot_ms = 0
        if boot:
            self.power_up(retained)

    # -- power -----------------------------------------------------------------------------------

    def power_up(self, retained=None):
        """Start a new controller at this instant with what the life before it retained."""
        self.c = Controller(self.settings)
        if self.always:
            self.c.always = True
        self.c.power_up(self.now_ms, retained)
        self.boot_ms = self.elapsed_ms
        for watcher in self.watchers:
            if hasattr(watcher, "power_up"):
                watcher.power_up(self)
        return self.step()

    def power_cut(self, dark_s=1.0):
        """Cut the controller's own supply for `dark_s`; what it keeps survives."""
        retained = list(self.c.retain())
        self._note_outputs([0] * records.N_OUTPUTS)
        dark_ms = to_ms(dark_s)
        if self.plant:
            self.plant.advance(dark_ms, (0, 0), self.held)
        self.elapsed_ms += dark_ms
        self._follow_plant()
        return self.power_up(retained)

    # -- time ------------------------------------------------------------------------------------

    @property
    def now_ms(self):
        """The controller's clock: 30 bits, wrapping."""
        return (self.start_ms + self.elapsed_ms) & ticks.MASK

    @property
    def t(self):
        """Seconds since the rig began."""
        return self.elapsed_ms / 1000

    def step(self):
        """One step of the controller at this instant with the inputs as they are."""
        self._follow_plant()
        self.scratch[:] = self.held
        out = self.c.step(self.now_ms, self.scratch)
        self.steps += 1
        self._note_outputs(out)
        self._note_alarms()
        for watcher in self.watchers:
            watcher(self)
        due = self.c.next_due(self.now_ms)
        ahead = ticks.diff(due, self.now_ms)
        assert 0 < ahead <= ticks.DAY_MS, f"t={self.t}: next_due lies {ahead} ms ahead"
        assert ahead % TICK_MS == 0, f"t={self.t}: next_due lies off the grid, {ahead} ms ahead"
        self.due_ms = self.elapsed_ms + ahead
        return self

    def _next_ms(self, end_ms):
        if self.ticking or self._currents_change():
            return self.elapsed_ms + TICK_MS
        instants = [end_ms, self.due_ms]
        if self.script:
            instants.append(max(self.script[0][0], self.elapsed_ms + TICK_MS))
        if self.plant:
            instants.append(self.elapsed_ms + self.plant.next_event_ms(self.elapsed_ms, self.pumps_on()))
        return min(instants)

    def _move_to(self, ms):
        if self.plant:
            self.plant.advance(ms - self.elapsed_ms, self.pumps_on(), self.held)
        self.elapsed_ms = ms
        if not self.plant:
            self._set_currents()
        while self.script and self.script[0][0] <= ms:
            self.apply(self.script.pop(0)[1])

    def run(self, seconds):
        """Run on for `seconds`; the last step lies on the end itself."""
        end_ms = self.elapsed_ms + to_ms(seconds)
        while self.elapsed_ms < end_ms:
            self._move_to(self._next_ms(end_ms))
            self.step()
        return self

    def run_until(self, claim, within_s):
        """Run until `claim(rig)` holds; raises AssertionError when it does not hold within `within_s`."""
        end_ms = self.elapsed_ms + to_ms(within_s)
        while not claim(self):
            assert self.elapsed_ms < end_ms, f"not so within {within_s} s (t={self.t})\n{self.story()}"
            self._move_to(self._next_ms(end_ms))
            self.step()
        return self

    # -- inputs ----------------------------------------------------------------------------------

    def apply(self, changes):
        """Change inputs by name (or call `changes(rig)`) without a step."""
        if callable(changes):
            changes(self)
            return
        for name, value in changes.items():
            if name in CONTACT_BIT:
                bit = CONTACT_BIT[name]
                self.held[records.IN_CONTACTS] &= ~bit
                self.held[records.IN_CONTACTS] |= bit if value else 0
            else:
                self.held[INPUT_PLACE[name]] = WORDS[name][value] if isinstance(value, str) else value

    def set(self, **changes):
        """Change inputs by name now, and step at this instant."""
        self.apply(changes)
        self.step()
        return self

    def at(self, seconds, action=None, **changes):
        """Plan input changes (or a call of `action(rig)`) at `seconds` since the rig began."""
        self.script.append((to_ms(seconds), action or changes))
        self.script.sort(key=lambda entry: entry[0])
        return self

    def press(self, button, hold_s=0.2):
        """Press a push button (silence or reset), hold it and let it go."""
        self.set(**{button: 1}).run(hold_s)
        return self.set(**{button: 0})

    def fill(self, *names, gap_s=3.0):
        """Let contacts turn wet one after another, `gap_s` apart: rising water."""
        for name in names:
            self.set(**{name: 1}).run(gap_s)
        return self

    def drain(self, *names, gap_s=3.0):
        """Let contacts turn dry one after another, `gap_s` apart: falling water."""
        for name in names:
            self.set(**{name: 0}).run(gap_s)
        return self

    def _wanted_currents(self):
        if self.settings[settings.SENSING] == NO_CURRENT:
            return [0, 0]
        return [CURRENT[self.load[n] if self.outputs[n] else self.weld[n]] for n in range(2)]

    def _currents_change(self):
        places = (records.IN_CURRENT_1, records.IN_CURRENT_2)
        if self.plant:
            self.scratch[:] = self.held
            self.plant.show(self.scratch, self.pumps_on(), self.settings[settings.SENSING])
            return self.scratch != self.held
        return any(self.held[p] != w for p, w in zip(places, self._wanted_currents(), strict=True))

    def _set_currents(self):
        self.held[records.IN_CURRENT_1], self.held[records.IN_CURRENT_2] = self._wanted_currents()

    def _follow_plant(self):
        if self.plant:
            self.plant.show(self.held, self.pumps_on(), self.settings[settings.SENSING])

    # -- what came out ---------------------------------------------------------------------------

    def _note_outputs(self, out):
        for name, place in OUTPUT_PLACE.items():
            if out[place] != self.outputs[place]:
                self.edges.append((self.t, name, out[place]))
                self.outputs[place] = out[place]

    def _note_alarms(self):
        if self.c.alarms.state == self.alarm_numbers:
            return
        self.alarm_numbers = list(self.c.alarms.state)
        for place, row in enumerate(alarms.TABLE):
            state = alarms.STATES[self.c.alarms.state[place]]
            if state != self.alarm_states[place]:
                self.alarm_log.append((self.t, row[0], state))
                self.alarm_states[place] = state

    def pumps_on(self):
        """Return the commanded outputs of the two pumps, 0 or 1 each."""
        return self.outputs[records.OUT_PUMP_1], self.outputs[records.OUT_PUMP_2]

    def output(self, name):
        """Return an output by name."""
        return self.outputs[OUTPUT_PLACE[name]]

    def starts(self, n, since=0.0):
        """Return the seconds at which pump n (1 or 2) was started, from `since` on."""
        return [t for t, name, value in self.edges if name == f"pump_{n}" and value and t >= since]

    def stops(self, n, since=0.0):
        """Return the seconds at which pump n (1 or 2) was stopped, from `since` on."""
        return [t for t, name, value in self.edges if name == f"pump_{n}" and not value and t >= since]

    def runs(self, n, since=0.0):
        """Return (start, stop) of every run of pump n from `since` on; a run still going ends now."""
        starts, stops = self.starts(n, since), self.stops(n, since)
        return [(a, next((b for b in stops if b >= a), self.t)) for a in starts]

    def run_time(self, n, since=0.0):
        """Return the seconds that pump n ran."""
        return sum(b - a for a, b in self.runs(n, since))

    def all_starts(self):
        """Return (seconds, n) of every start of either pump in order."""
        return sorted([(t, 1) for t in self.starts(1)] + [(t, 2) for t in self.starts(2)])

    def pump_state(self, n):
        """Return the name of the state of pump n (1 or 2)."""
        state = self.c.pumps[n - 1].state
        return pump.STATES[state] if isinstance(state, int) else state

    def suspects(self):
        """Return the names of the contacts that are not believed."""
        mask = self.c.belief.suspect
        return {name for name, bit in CONTACT_BIT.items() if mask & bit}

    def alarm(self, name):
        """Return the IEC 62682 state of an alarm."""
        return self.alarm_states[ALARM_PLACE[name]]

    def active(self, name):
        """Tell whether an alarm's condition stands (unacknowledged or acknowledged)."""
        return self.alarm(name) in ACTIVE

    def active_alarms(self):
        """Return the names of all active alarms."""
        return [row[0] for row in alarms.TABLE if self.active(row[0])]

    def raised(self, name, since=0.0):
        """Return the seconds at which an alarm became unacknowledged, from `since` on."""
        return [t for t, which, state in self.alarm_log if which == name and state == "unacknowledged" and t >= since]

    def horn_edges(self, since=0.0):
        """Return (seconds, value) of the horn's edges."""
        return [(t, value) for t, name, value in self.edges if name == "horn" and t >= since]

    def story(self):
        """Return what happened as text: for the message of a failed claim."""
        lines = [(t, f"{name} {'on' if value else 'off'}") for t, name, value in self.edges]
        lines += [(t, f"alarm {name}: {state}") for t, name, state in self.alarm_log]
        return "\n".join(f"{t:10.1f} s  {text}" for t, text in sorted(lines)[-120:])


def ready(settle_s=70.0, **settings_by_name):
    """Return a rig past its power-up delay and rest, all contacts dry."""
    return Rig(**settings_by_name).run(settle_s)
