"""The firmware fed with recorded water: its outputs are watched, but the water does not follow them.

Levels become contacts by the site's floats, found by vectorised code; the
controller is stepped only where a contact or the mains changes and at the
instants that it names as due.  Recorded motor currents belong to the recorded
controller's pumps, so they are not fed: the firmware runs without sensing.
"""

import numpy as np
from duplexsump.control import settings as s
from duplexsump.control.controller import Controller
from duplexsump.control.records import CONTACT_NAMES, IN_CHARGER, IN_CONTACTS, IN_MAINS, N_INPUTS, N_OUTPUTS
from duplexsump.control.ticks import MASK, diff

from host_sim.errors import InputError
from host_sim.replay.other_firmware import errors_told
from host_sim.replay.reading.log import UNKNOWN

TICK_MS = 100
MOST_BLIND_MS = 120_000  # without sensing nothing else ends a dry run (see settings)


def settings_for(site):
    """Return the site's settings for floats alone: no transmitter, no current, as many contacts as the site has."""
    values = list(site.settings)
    values[s.SENSING], values[s.TRANSMITTER] = s.SENSE_NOTHING, 0
    values[s.FITTED] = sum(1 << i for i in range(4) if site.contacts[i] is not None)
    values[s.NORMALLY_CLOSED] &= values[s.FITTED]
    values[s.BLIND_RUN_MS] = min(values[s.BLIND_RUN_MS], MOST_BLIND_MS)
    for place in (s.PUMP_DOWN_LEAD_MS, s.PUMP_DOWN_LAG_MS, s.PUMP_DOWN_HIGH_MS):
        values[place] = min(values[place], values[s.BLIND_RUN_MS])
    refusals = s.check(values)
    if refusals:
        raise InputError([f"the firmware cannot judge this site by its level: {line}" for line in refusals])
    return values


class Floats:
    """The site's floats as Schmitt triggers over an array of levels; remembers across arrays."""

    def __init__(self, contacts):
        self.fitted = [(1 << i, c.wet_m, c.dry_m) for i, c in enumerate(contacts) if c is not None]
        self.word = 0

    def words(self, level_m):
        """Return an array of n contact words for levels in order of time; nan holds what was."""
        n = len(level_m)
        if not n:
            return np.zeros(0, np.uint8)
        wet = np.zeros(n, np.uint8)
        dry = np.zeros(n, np.uint8)
        with np.errstate(invalid="ignore"):
            for bit, wet_m, dry_m in self.fitted:
                wet |= (level_m >= wet_m).view(np.uint8) * np.uint8(bit)
                dry |= (level_m <= dry_m).view(np.uint8) * np.uint8(bit)
        # From row to row little changes: the floats' memory is worked out where something does.
        changed = np.flatnonzero((wet[1:] != wet[:-1]) | (dry[1:] != dry[:-1])) + 1
        turns = np.concatenate(([0], changed))
        word, words = self.word, []
        for now_wet, now_dry in zip(wet[turns].tolist(), dry[turns].tolist(), strict=True):
            word = (word & ~now_dry) | now_wet
            words.append(word)
        self.word = word
        return np.repeat(np.array(words, np.uint8), np.diff(turns, append=n))


class OpenLoop:
    """One firmware under recorded inputs.  Times are whole ms from the start of the log, never going back."""

    def __init__(self, settings, module=None):
        self.settings = list(settings)
        self.make = module.Controller if module is not None else Controller
        self.controller, self.retained = None, None
        self.inputs = [0] * N_INPUTS
        self.now_ms = 0
        self.steps = 0
        self.outputs = [(0, (0,) * N_OUTPUTS)]
        self._out = None  # the outputs of the last step, as a list
        self.alarms = []  # (time_ms, place in the table, active)
        self._alarm_states = None

    def begin(self, time_ms):
        """Power the controller up."""
        self.controller = self.make(self.settings)
        self.controller.power_up(time_ms & MASK, self.retained)
        self.now_ms = time_ms
        self._alarm_states = None

    def end(self, time_ms):
        """Power the controller down: nothing is known of what follows."""
        self.until(time_ms)
        self.retained = self.controller.retain()
        self.controller = self._out = None
        self._note(time_ms, (0,) * N_OUTPUTS)

    def feed(self, time_ms, word, mains=1):
        """Take a change of the contacts or the mains at an instant on the grid."""
        if self.controller is None:
            self.begin(time_ms)
        else:
            self.until(time_ms)
        inputs = self.inputs
        inputs[IN_CONTACTS], inputs[IN_MAINS], inputs[IN_CHARGER] = word, mains, mains
        self.word = word
        self._step(time_ms)

    def until(self, time_ms):
        """Serve every instant that is due before a time."""
        next_due = self.controller.next_due
        while True:
            ring = self.now_ms & MASK
            due = self.now_ms + diff(next_due(ring), ring)
            if due >= time_ms:
                return
            self._step(due)

    def _step(self, time_ms):
        c = self.controller
        self.now_ms = time_ms
        self.inputs[IN_CONTACTS] = self.word  # the chatter limit wrote its own answer there
        out = c.step(time_ms & MASK, self.inputs)
        self.steps += 1
        if out != self._out:
            self._out = out[:]
            self._note(time_ms, tuple(out))
        states = c.alarms.state
        if states != self._alarm_states:
            before = self._alarm_states or [0] * len(states)
            self._alarm_states = list(states)
            for i, state in enumerate(states):
                if (state == 0) != (before[i] == 0):
                    self.alarm(time_ms, i, state != 0)

    def alarm(self, time_ms, place, active):
        """Keep an alarm that came or went; a long run counts it instead."""
        self.alarms.append((time_ms, place, active))

    def _note(self, time_ms, out):
        if out != self.outputs[-1][1]:
            self.changed(time_ms, out)

    def changed(self, time_ms, out):
        """Keep outputs that changed; a long run counts them instead."""
        self.outputs.append((time_ms, out))


def grid_ms(time_s):
    """Return times in ms on the controller's grid, rounded up, as an array of integers."""
    return (np.ceil(np.asarray(time_s) * 10.0 - 1e-6)).astype(np.int64) * TICK_MS


def run(log, site, settings=None, module=None):
    """Return the OpenLoop that has been through a Log.  Raises InputError where the site or the log does not serve."""
    with errors_told(module):
        return _run(OpenLoop(settings or settings_for(site), module), log, site)


def _run(loop, log, site):
    words = _words(log, site)
    mains = np.ones(len(words), np.int8) if log.mains is None else np.where(log.mains == 0, 0, 1)
    joint = words.astype(np.int16) | (mains.astype(np.int16) << 8)
    turns = np.flatnonzero(np.diff(joint, prepend=joint[0] + 1))
    starts = {float(end): float(start) for start, end in log.gaps}
    places = sorted(set(turns) | set(np.searchsorted(log.time_s, list(starts)) if starts else ()))
    times = grid_ms(log.time_s)
    for i in places:
        if loop.controller is not None and float(log.time_s[i]) in starts:
            gap_ms = int(grid_ms([starts[float(log.time_s[i])]])[0])
            loop.end(max(gap_ms, loop.now_ms))
        loop.feed(int(times[i]), int(words[i]), int(mains[i]))
    if loop.controller is not None:
        loop.until(int(times[-1]) + TICK_MS)
    return loop


def _words(log, site):
    if log.level_m is not None and not log.levels_at_contacts_only:
        return Floats(site.contacts).words(log.level_m)
    words = np.zeros(len(log.time_s), np.uint8)
    for i, name in enumerate(CONTACT_NAMES):
        if name in log.contacts and site.contacts[i] is not None:
            states = log.contact_states(name)
            words |= np.where(states == UNKNOWN, 0, states).astype(np.uint8) << np.uint8(i)
    return words
