"""The commands that procedures are written in, over any kit: wet a float, press a button, wait for a relay.

They use the trade's terms; the electrical meaning follows from the settings in
force on the board, read over its link at each reset.  Times are taken at the
pins.
"""

from duplexsump.control import alarm_table, alarms
from duplexsump.control import settings as s
from duplexsump.station import registers as r

from hil.bench.motor_current import MotorCurrent
from hil.bench.stimuli import Stimuli
from hil.bench.verdict import FAIL, PASS, Check, Failed, Measurement, judge, worst
from hil.kits import base as kits
from hil.kits import wires
from host_sim.board.client import Client
from host_sim.errors import InputError

ALARMS = {row[alarm_table.NAME]: place for place, row in enumerate(alarm_table.TABLE)}
STANDING = tuple(state for state in alarms.STATES if state != "normal")
BACK_MS = 60000  # a board whose watchdog had to reset it answers by then
LOOK_MS = 100  # how often an alarm is looked at over the link


class Bench(Stimuli):
    """One kit with the settings of its board.  `allow_settings` lets procedures change them on a real board."""

    def __init__(self, kit, allow_settings=False):
        self.kit = kit
        self.allow_settings = allow_settings or kit.may_change_settings
        self.values = s.defaults()
        self.original = None  # the settings record to go back to, None while nothing was changed
        self.dark = False  # whether the procedure has cut the power
        self.draws_of = {n: MotorCurrent(self, n) for n in (1, 2)}
        self.wet = set()
        self.clear()
        self.mark_ms = 0
        kit.listeners.append(self._relay_moved)

    # Beginning and end.

    def reset(self):
        """Restore the settings, put everything at rest without current, restart the board, clear the record."""
        self.restart()
        self.clear()

    def clear(self):
        """Clear the record."""
        self.measurements, self.checks, self.notes = [], [], []

    def restart(self):
        """Do what `reset` does, but keep the record."""
        for draw in self.draws_of.values():
            draw.follow("none")
        self._put_back()
        self.kit.reset()
        self.values = self.client.settings()
        self.kit.rest = {**self.kit.rest, **wires.rest_values(self.values)}
        self.kit.to_rest()
        self.wet = set()
        self._stimulus()

    def close(self):
        """Restore the settings, drop the outputs and release the board, whatever its state."""
        try:
            self.leave()
        finally:
            self.kit.close()

    def leave(self):
        """Restore the settings and drop the outputs; the kit stays open for another bench."""
        try:
            for draw in self.draws_of.values():
                draw.follow("none")
            self._put_back()
        finally:
            if self._relay_moved in self.kit.listeners:
                self.kit.listeners.remove(self._relay_moved)
            self.kit.drop()

    def _put_back(self):
        # Whatever state the board was left in: without power, or stopped dead until its watchdog has seen it.
        original, self.original = self.original, None
        dark, self.dark = self.dark, False
        if original is None or self.kit.forgets:
            return
        if dark:
            self.kit.power(True)
        until = self.now_ms() + BACK_MS
        while True:
            try:
                self.client.put_settings(original)
                return
            except InputError:
                if self.now_ms() >= until:
                    raise
                self.kit.run_ms(LOOK_MS)

    @property
    def client(self) -> Client:
        """The client on the board's link."""
        return self.kit.client()

    # Settings.

    def setting(self, name):
        """Return a setting of the board in its own unit.  Raises InputError for an unknown name."""
        return self.values[_place(name)]

    def setting_s(self, name):
        """Return a setting that is kept in ms, in s."""
        return self.setting(name) / 1000.0

    def settings(self, **changes):
        """Put changed settings in force until the next reset; pumps then rest as after a power-up (S4).

        Nothing at all happens where the board has these values already.

        Raises Missing where they may not be changed, InputError with the board's own words where it refuses the set.
        """
        values = list(self.values)
        for name, value in changes.items():
            values[_place(name)] = value
        if values == self.values:
            return
        if not self.allow_settings:
            words = ", ".join(f"{name} = {self.setting(name)}, {value} needed" for name, value in changes.items())
            raise kits.Missing(f"on this board {words}; --allow-settings lets the bench change it", "settings")
        found = self.client.settings()
        self.original = self.original or found
        self.client.put_settings(values)
        self.kit.run_ms(LOOK_MS)
        self.values = self.client.settings()
        if self.values != values:
            raise Failed(f"the board did not accept the settings {changes}")
        self.kit.rest = {**self.kit.rest, **wires.rest_values(values)}
        for name in wires.FLOATS:
            self._place_float(name, name in self.wet)
        self._stimulus()

    def _stimulus(self):
        # Where measured times begin.
        self.mark_ms = self.kit.now_ms()

    # Waiting and looking.

    @property
    def timing_ms(self):
        """Timing uncertainty of this kit's edges in ms; limits on a time are widened by it."""
        return self.kit.timing_ms

    def now_ms(self):
        """Return the kit's time in ms."""
        return self.kit.now_ms()

    def read(self, wire):
        """Return the value at a pin, now."""
        return self.kit.read(wire)

    def stride(self, hours):
        """Let hours pass in one jump; the board runs only at its end.  Raises Missing where the kit cannot."""
        self.kit.stride_ms(round(hours * 3600000.0))
        self._stimulus()

    def wait(self, seconds):
        """Let time pass."""
        self.kit.run_ms(round(seconds * 1000.0))

    def ready(self):
        """Wait until a pump may start at once: the longest power-up hold (S4) and the rest of S1 are over."""
        self.wait(max(4.0 * self.setting_s("boot_hold"), self.setting_s("min_off")) + 1.0)
        self._stimulus()

    def has(self, name):
        """Tell whether the kit has this wire."""
        return name in self.kit.wires

    def is_on(self, wire):
        """Tell whether an output is on at the pin, now."""
        return bool(self.kit.read(wire))

    def when(self, wire, value, within_s, since_ms=None):
        """Return the ms at which an output turned to `value` at the pin, looking for `within_s` from now.

        An output that stands so already counts: its edge where that lies behind the last stimulus, else now.  With
        `since_ms` the first edge from then on is wanted, even a past one.  Raises Failed with what was seen.
        """
        start = len(self.kit.edges)
        if since_ms is not None:
            past = [edge.ms for edge in self._edges(wire, 0) if edge.value == value and edge.ms >= since_ms]
            if past:
                return past[0]
        if self.kit.read(wire) == value:
            last = [edge.ms for edge in self._edges(wire, 0) if edge.value == value][-1:]
            recent = [ms for ms in last if ms >= self.mark_ms]
            return recent[0] if recent else self.now_ms()

        def turned():
            return any(edge.value == value for edge in self._edges(wire, start))

        if not self.kit.run_until_edge(turned, round(within_s * 1000.0)):
            raise Failed(f"{wire} did not turn {_on(value)} within {within_s:g} s: {self._seen()}")
        return next(edge.ms for edge in self._edges(wire, start) if edge.value == value)

    def when_any(self, names, value, within_s):
        """Return (wire, ms) of the first of some outputs that turns to `value` from now on.  Raises Failed."""
        start = len(self.kit.edges)

        def first():
            return [edge for edge in self.kit.edges[start:] if edge.wire in names and edge.value == value]

        if not self.kit.run_until_edge(lambda: bool(first()), round(within_s * 1000.0)):
            raise Failed(f"none of {', '.join(names)} turned {_on(value)} within {within_s:g} s: {self._seen()}")
        return first()[0].wire, first()[0].ms

    def edges(self, wire, since_ms=0):
        """Return the changes of one output at the pin since an instant, as a list of (ms, value)."""
        return [(edge.ms, edge.value) for edge in self._edges(wire, 0) if edge.ms >= since_ms]

    def stays(self, wire, value, for_s):
        """Let time pass and check that an output keeps its value.  Raises Failed with the time of its change."""
        began, start = self.now_ms(), len(self.kit.edges)
        if self.kit.read(wire) != value:
            raise Failed(f"{wire} is {_on(1 - value)}: {self._seen()}")
        if self.kit.run_until_edge(lambda: bool(self._edges(wire, start)), round(for_s * 1000.0)):
            after_s = (self._edges(wire, start)[0].ms - began) / 1000.0
            raise Failed(f"{wire} turned {_on(1 - value)} after {after_s:.1f} s, before {for_s:g} s: {self._seen()}")

    def _edges(self, wire, start):
        edges = self.kit.edges
        return [edges[place] for place in range(start, len(edges)) if edges[place].wire == wire]

    def _seen(self):
        on = [name for name in wires.OUTPUTS if name in self.kit.wires and self.kit.read(name)]
        return f"outputs on: {', '.join(on) or 'none'}"

    # Over the link.

    def alarm(self, name):
        """Return the state of an alarm: "normal", "unacknowledged", "acknowledged", "returned", "latched" or
        "latched_acknowledged"."""
        if name not in ALARMS:
            raise InputError(f'there is no alarm "{name}": {", ".join(ALARMS)}', "bench")
        return alarms.STATES[self.client.words(r.ALARM_STATES_AT + ALARMS[name], 1)[0]]

    def alarms(self):
        """Return {name: state} of all alarms that are not normal."""
        words = self.client.words(r.ALARM_STATES_AT, alarm_table.COUNT)
        return {name: alarms.STATES[words[place]] for name, place in ALARMS.items() if words[place]}

    def when_alarm(self, name, within_s, states=STANDING):
        """Return the ms at which an alarm was first read in one of `states`.  Raises Failed with its actual state."""
        states = (states,) if isinstance(states, str) else states
        until = self.kit.now_ms() + round(within_s * 1000.0)
        while self.alarm(name) not in states:
            if self.kit.now_ms() >= until:
                words = f'alarm "{name}" is {self.alarm(name)} after {within_s:g} s'
                raise Failed(f"{words}, {' or '.join(states)} expected; alarms: {self.alarms() or 'none'}")
            self.kit.run_ms(LOOK_MS)
        return self.kit.now_ms()

    def states(self):
        """Return the discrete inputs as {name: mask}, such as "suspect" or "believed"."""
        return self.client.states()

    def value(self, name):
        """Return an input register by its name, such as "pump_1_state" or "starts_1"."""
        found = self.client.values()
        if name not in found:
            raise InputError(f'there is no register "{name}": {", ".join(found)}', "bench")
        return found[name]

    # The record.

    def measure(self, name, value, unit, low=None, high=None, margin=0.0):
        """Record a measured value with its limits (see `verdict.judge`); return the Measurement."""
        found = Measurement(name, value, unit, low, high, margin, judge(value, low, high, margin))
        self.measurements.append(found)
        return found

    def check(self, name, condition, seen=""):
        """Record a yes/no item with what was seen; return whether it passed."""
        self.checks.append(Check(name, PASS if condition else FAIL, str(seen)))
        return bool(condition)

    def note(self, text):
        """Record a remark."""
        self.notes.append(str(text))

    def verdict(self):
        """Return the worst of what was measured and checked since the last reset."""
        return worst(item.verdict for item in (*self.measurements, *self.checks))


def _place(name):
    try:
        return s.index(name)
    except ValueError as error:
        raise InputError(str(error), "bench") from error


def _on(value):
    return "on" if value else "off"
