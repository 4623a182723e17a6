"""The firmware's core at the pit's terminals, and controllers that are broken on purpose."""

from duplexsump.control import records, ticks
from duplexsump.control.alarm_table import NAME, TABLE
from duplexsump.control.bands import Bands
from duplexsump.control.controller import Controller

ALARMS = tuple(row[NAME] for row in TABLE)
DARK = [0] * records.N_OUTPUTS


class Firmware:
    """`step(now_ms, raw)` gives the real controller what the terminals show.  `out` is the list of its outputs.

    It is called at every tick; a tick in which no terminal changed and nothing is due is left out,
    unless `every` is set: the tests compare the two.
    """

    def __init__(self, site, every=False, offset_ms=0):
        self.settings = list(site.settings)
        self.every = every
        self.offset_ms = offset_ms
        self.controller = None
        self.kept = None
        self.out = DARK
        self.seen = None
        self.due = 0
        self.inputs = [0] * records.N_INPUTS
        self.lives = 0
        self.raised = dict.fromkeys(ALARMS, 0)

    def power_up(self, now_ms):
        """Begin a life with what the one before kept."""
        self.controller = Controller(self.settings)
        self.bands = Bands(self.settings)
        self.controller.power_up((now_ms + self.offset_ms) & ticks.MASK, self.kept)
        self.out = self.controller.out
        self.seen = None
        self.lives += 1

    def power_down(self):
        """End a life: all outputs drop, the alarm relay with them."""
        self.kept = self.controller.retain()
        self.controller = None
        self.out = DARK

    def step(self, now_ms, raw):
        """Step if anything may have changed; returns True where it did."""
        out = self.out
        pumps = (out[records.OUT_PUMP_1], out[records.OUT_PUMP_2])
        if not self.every and now_ms < self.due and self.seen == (raw, pumps):
            return False
        self.seen = (raw[:], pumps)
        self.bands.convert(raw, self.inputs, *pumps)
        ring = (now_ms + self.offset_ms) & ticks.MASK
        self.controller.step(ring, self.inputs)
        self.due = now_ms + ticks.diff(self.controller.next_due(ring), ring)
        return True

    def active(self):
        """Return the names of the alarms whose condition stands."""
        if self.controller is None:
            return ()
        return tuple(name for name, on in zip(ALARMS, self.controller.alarms.active, strict=True) if on)

    def believed_not(self):
        """Return the mask of contacts that the controller does not believe."""
        return 0 if self.controller is None else self.controller.belief.suspect


class _Spoilt(Firmware):
    """A controller whose outputs or inputs are tampered with."""

    def power_up(self, now_ms):
        super().power_up(now_ms)
        self.out = self.controller.out[:]

    def step(self, now_ms, raw):
        stepped = super().step(now_ms, self.spoil_inputs(raw))
        self.out = self.controller.out[:] if self.controller else DARK
        self.spoil_outputs(self.out)
        return stepped

    def spoil_inputs(self, raw):
        return raw

    def spoil_outputs(self, out):
        pass


class NeverPumpTwo(_Spoilt):
    """Never starts pump 2."""

    def spoil_outputs(self, out):
        out[records.OUT_PUMP_2] = 0


class DeafToHigh(_Spoilt):
    """Takes `high` for dry whatever it reads."""

    def spoil_inputs(self, raw):
        raw = raw[:]
        closed = self.settings[3] & records.HIGH  # normally_closed: closed is dry
        raw[records.IN_CONTACTS] = raw[records.IN_CONTACTS] & ~records.HIGH | closed
        return raw


class Silent(_Spoilt):
    """Never drops the alarm relay and never sounds the horn."""

    def spoil_outputs(self, out):
        out[records.OUT_RELAY], out[records.OUT_HORN] = 1, 0


class Hasty(_Spoilt):
    """Stops and starts as the lead contact says at every tick: no rest, no spacing, no shortest run."""

    def spoil_outputs(self, out):
        wet = self.inputs[records.IN_CONTACTS] & records.LEAD
        out[records.OUT_PUMP_1] = out[records.OUT_PUMP_2] = 1 if wet else 0


BRAINS = {
    "firmware": Firmware,
    "never-pump-2": NeverPumpTwo,
    "deaf-to-high": DeafToHigh,
    "silent": Silent,
    "hasty": Hasty,
}
