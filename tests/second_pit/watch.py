"""What is seen of a night: floods and calls, dry runs, starts, and rules that people and motors depend on.

It looks at outputs, terminals and the true water only, never into the controller; alarm names alone are
asked of the brain, for the timeline and the healthy nights.
"""

from duplexsump.control import records

from . import listed
from .faults import KINDS
from .floats import HIGH, LAG, LEAD, NAMES
from .site import setting
from .water import STEP_S

CALL_S = 1800.0  # a call this long before the floor gets wet belongs to that flood
LENIENT_S = 3.0  # a contact that read wet so lately may still be wet to a debounced reading
LEVEL_STEP_M = 0.014  # a level is taken in steps of 10 mm, and one is left 4 mm outside it
SLACK_S = 5.0  # a dry run may outlast blind_run by the debounce, the shortest run and a tick
EXCUSES = ("pumps", "sensors", "mains", "battery", "resets", "selector")


class Episode:
    """One flood: from the floor getting wet to its being dry for good, with the calls around it."""

    __slots__ = ("below_s", "called_before_s", "called_s", "deaf", "dry_s", "told", "unread", "wet_s")

    def __init__(self, wet_s, called_before_s, deaf=False, below_s=0.0, unread=""):
        self.wet_s = wet_s
        self.dry_s = None
        self.called_before_s = called_before_s  # how long before, None: nobody
        self.called_s = None  # when first called during the flood
        self.below_s = below_s  # when the water last stood below lead
        self.deaf = deaf  # on its way up from lead the water was told of by nothing that is sound
        self.told = not deaf  # ... nor while it stood on the floor
        self.unread = unread  # what the narrative lists as not to be told apart, as the floor got wet

    @property
    def silent(self):
        """Nobody was called, neither on its way nor while it stood, though something that is sound told of it."""
        return self.called_before_s is None and self.called_s is None and self.told


class PumpLog:
    """Starts, stops and dry running of one pump."""

    __slots__ = (
        "called", "dry_now", "dry_s", "dry_since", "fickle", "longest_at", "longest_dry", "longest_read", "on",
        "read_s", "starts", "stop_s", "useless_s",
    )  # fmt: skip

    def __init__(self):
        self.on = 0
        self.starts = []
        self.stop_s = None
        self.dry_now = 0.0
        self.dry_since = 0.0
        self.read_s = 0.0  # of this dry run, while something told of the water
        self.called = False  # somebody was called as it began
        self.fickle = False  # a float came and went in it
        self.dry_s = 0.0
        self.longest_dry = 0.0
        self.longest_at = 0.0
        self.longest_read = 0.0
        self.useless_s = 0.0  # live, under water, and moving nothing

    def most_starts(self, window_s=3600.0):
        """Return the most starts in any window of an hour."""
        best, first = 0, 0
        for i, t in enumerate(self.starts):
            while t - self.starts[first] >= window_s:
                first += 1
            best = max(best, i - first + 1)
        return best


class Watch:
    """Everything that is reported of one night."""

    def __init__(self, night, pit, brain, log, close=0.0):
        self.floor = night.site.floor - close
        self.answered = False  # high has turned dry since nothing sound was left below it
        self.night, self.pit, self.brain, self.log = night, pit, brain, log
        site = night.site
        self.pumps = [PumpLog(), PumpLog()]
        self.episodes = []
        self.violations = []
        self.standing = set()
        self.raised = {}
        self.active = ()
        self.peak = pit.level
        self.peak_s = 0.0
        self.wet_s = 0.0
        self.last_call = -1e9
        self.up_s = 0.0
        self.powered = False
        self.last_wet = [-1e9] * 4
        self.word = None
        self.horn, self.relay = 0, 1
        self.fitted = setting(site, "fitted")
        self.normally_closed = setting(site, "normally_closed")
        self.spacing = setting(site, "start_spacing") / 1000
        self.rests = [setting(site, name) / 1000 for name in ("min_off", "lag_min_off", "flood_min_off")]
        self.min_run = setting(site, "min_run") / 1000
        self.dry_limit = setting(site, "blind_run") / 1000 + SLACK_S
        self.dry_over = False  # a dry run was longer than that, and nothing excuses it
        self.boot_hold = setting(site, "boot_hold") / 1000
        self.suspect = 0
        self.told = False  # whether anything sound told of the water since it was last below lead
        self.telling = 0.0  # for how long it has told without a break
        self.debounce = setting(site, "debounce") / 1000
        self.below_s = 0.0

    # -- events ------------------------------------------------------------------------------------

    def say(self, t, text):
        """Tell the log, where there is one."""
        if self.log:
            self.log(t, text, self.pit)

    def power(self, t, alive):
        """The controller came up or went dark."""
        self.powered = alive
        self.word = None
        if alive:
            self.up_s = t
        self.say(t, "controller up" if alive else "controller dark")

    def stepped(self, t, raw):
        """The controller took a step on `raw`; called after it."""
        out = self.brain.out
        word = (raw[records.IN_CONTACTS] ^ self.normally_closed) & self.fitted
        seen = word | (self.word or 0)
        for i in range(4):
            if seen & (1 << i):
                self.last_wet[i] = t
        if word != self.word:
            self._answers(word)
            self._contacts(t, word)
        for n in range(2):
            off = out[n] and raw[records.IN_SELECTOR_1 + n] == records.SELECT_OFF
            self._stands(t, off, f"pump {n + 1} on with its selector OFF")
            hot = out[n] and raw[records.IN_THERMAL_1 + n]
            self._stands(t, hot, f"pump {n + 1} on with its thermal contact open")
        if hasattr(self.brain, "active"):
            self._alarms(t)

    def _answers(self, word):
        *lower, high = self.pit.floats.floats
        if any(f is not None and f.sound() for f in lower):
            self.answered = False
        elif self.word and self.word & ~word & (1 << HIGH) and high.sound():
            self.answered = True

    def _contacts(self, t, word):
        if self.log:
            was = self.word
            for i, name in enumerate(NAMES):
                bit = 1 << i
                if self.fitted & bit and (was is None or (word ^ was) & bit) and (was is not None or word & bit):
                    self.say(t, f"{name} reads {'wet' if word & bit else 'dry'}")
        self.word = word

    def _alarms(self, t):
        active = self.brain.active()
        if active != self.active:
            for name in active:
                if name not in self.active:
                    self.raised.setdefault(name, t)
                    self.say(t, f"alarm {name}")
            for name in self.active:
                if name not in active:
                    self.say(t, f"alarm {name} over")
            self.active = active
        if self.log and self.brain.believed_not() != self.suspect:
            self.suspect = self.brain.believed_not()
            names = [name for i, name in enumerate(NAMES) if self.suspect & (1 << i)]
            self.say(t, "not believed: " + (" ".join(names) or "none"))

    def _stands(self, t, wrong, what):
        # What stands is told once, when it begins.
        if wrong and what not in self.standing:
            self.standing.add(what)
            self._wrong(t, what)
        elif not wrong:
            self.standing.discard(what)

    def _wrong(self, t, what):
        if len(self.violations) < 500:
            self.violations.append((round(t, 1), what))
        self.say(t, "VIOLATION " + what)

    # -- every tick --------------------------------------------------------------------------------

    def tick(self, t, out):
        """Look at outputs and water; called once a step, after the controller's."""
        pumps = self.pumps
        if out[0] != pumps[0].on or out[1] != pumps[1].on:
            for n in sorted((0, 1), key=lambda n: out[n]):  # stops before starts: who starts may be alone by now
                self._switched(t, n, out[n])
        level = self.pit.level
        if level > self.peak:
            self.peak, self.peak_s = level, t
        if level < self.pit.site.levels[LEAD][0]:
            self.told, self.telling = False, 0.0
            self.below_s = t
        elif not self.told:  # a contact that was cut within its debounce has told nobody
            self.telling = self.telling + STEP_S if self._sound() else 0.0
            self.told = self.telling > self.debounce + 2 * STEP_S
        if self.word is not None and self.word & ~1:
            for i in range(1, 4):
                if self.word & (1 << i):
                    self.last_wet[i] = t
        if out[records.OUT_HORN] != self.horn or out[records.OUT_RELAY] != self.relay:
            self._called(t, out[records.OUT_HORN], out[records.OUT_RELAY])
        if self.horn or not self.relay:
            self.last_call = t
        if level >= self.floor or (self.episodes and self.episodes[-1].dry_s is None):
            self._flood(t, level)
        for n in range(2):
            if self.pit.units[n].live:
                self._load(t, n, pumps[n], self.pit.units[n])

    def _sound(self):
        # Whether something that follows the water tells of it: a contact from lead up that is sound and wet, a sound
        # transmitter, or the current of a pump that runs in it.  A float that hangs wet tells of nothing.
        pit = self.pit
        if any(f is not None and f.sound() and f.wet for f in pit.floats.floats[LEAD:]):
            return True
        if pit.transmitter and pit.transmitter.sound() and pit.level >= pit.site.levels[LEAD][0] + LEVEL_STEP_M:
            return True
        return pit.site.sensing == 2 and any(unit.live for unit in pit.units)

    def _called(self, t, horn, relay):
        if horn != self.horn:
            self.say(t, "horn on" if horn else "horn off")
        if relay != self.relay:
            self.say(t, "alarm relay healthy" if relay else "alarm relay dropped")
        self.horn, self.relay = horn, relay

    def _flood(self, t, level):
        floor = self.floor
        episode = self.episodes[-1] if self.episodes else None
        if level >= floor:
            self.wet_s += STEP_S
            if episode is None or episode.dry_s is not None:
                before = t - self.last_call
                called = before if before <= CALL_S else None
                episode = Episode(t, called, not self.told, self.below_s, listed.no_answer(self.pit, self.answered))
                self.episodes.append(episode)
                self.say(t, "FLOOR WET")
        elif level < floor - 0.01 and episode.dry_s is None:
            episode.dry_s = t
            self.say(t, "floor dry again")
        if episode.called_s is None and (self.horn or not self.relay):
            episode.called_s = t
        episode.told = episode.told or self._sound()

    def _load(self, t, n, log, unit):
        dry = unit.dry() and log.on
        if dry:
            if log.dry_now == 0.0:
                log.dry_since = t
                log.read_s = 0.0
                log.called = False
                log.fickle = False
            log.dry_now += STEP_S
            log.dry_s += STEP_S
            self._judge_dry(log)
            if log.dry_now > log.longest_dry:
                log.longest_dry, log.longest_at, log.longest_read = log.dry_now, log.dry_since, log.read_s
        else:
            log.dry_now = 0.0
        if unit.airlocked and unit.cover >= 1.0:
            log.useless_s += STEP_S

    def _judge_dry(self, log):
        # Only the time in which something tells of the water counts; where nothing does, somebody is called at once.
        soon = log.dry_now <= listed.CALLED_S
        log.called = log.called or (soon and bool(self.horn or not self.relay))
        unread = listed.no_reading(self.pit)
        if not unread:
            log.read_s += STEP_S
        log.fickle = log.fickle or listed.comes_and_goes(self.pit)
        fickle = listed.FICKLE_DRY_S + SLACK_S if log.fickle else 0.0
        if log.read_s > max(self.dry_limit, fickle) or (unread and not soon and not log.called):
            self.dry_over = True

    # -- starts and stops --------------------------------------------------------------------------

    def _switched(self, t, n, on):
        log = self.pumps[n]
        if on == log.on:
            return
        log.on = on
        log.dry_now = 0.0
        self.say(t, f"pump {n + 1} {'on' if on else 'off'}")
        if on:
            self._started(t, n, log)
        else:
            self._stopped(t, n, log)

    def _started(self, t, n, log):
        for who, other in enumerate(self.pumps):
            for start in other.starts[-1:]:
                if t - start < self.spacing - 0.01 and not (who == n and t == start):
                    self._wrong(t, f"pump {n + 1} started {t - start:.1f} s after pump {who + 1}")
        rest = self._rest(t)
        if log.stop_s is not None and t - log.stop_s < rest - 0.01:
            self._wrong(t, f"pump {n + 1} started after {t - log.stop_s:.1f} s of rest, {rest:.1f} s asked for")
        if t - self.up_s < self.boot_hold - 0.01:
            self._wrong(t, f"pump {n + 1} started {t - self.up_s:.1f} s after the power-up")
        log.starts.append(t)

    def _rest(self, t):
        # The shortest rest that any reading of late allows; what a transmitter stands for is no contact here.
        alone = not (self.pumps[0].on and self.pumps[1].on)  # the one that starts is marked already
        lately = [t - wet_s <= LENIENT_S or (self.pit.site.transmitter and i < HIGH)
                  for i, wet_s in enumerate(self.last_wet)]
        if lately[HIGH] or (alone and lately[LAG]):
            return self.rests[2]
        return self.rests[1] if lately[LAG] or lately[LEAD] else self.rests[0]

    def _stopped(self, t, n, log):
        log.stop_s = t
        ran = t - log.starts[-1]
        if ran < self.min_run - 0.01 and self.powered and not self._excused(t):
            self._wrong(t, f"pump {n + 1} stopped after {ran:.1f} s")

    def _excused(self, t):
        # A short run may be due to a fault of pump, sensor or supply, now or a moment ago.
        if not self.pit.supply.mains:
            return True
        for fault in self.night.faults:
            if KINDS[fault.kind].group in EXCUSES and fault.start_s - 15.0 <= t <= (fault.end_s or 1e12) + 30.0:
                return True
        return False

    # -- the end -----------------------------------------------------------------------------------

    def end(self, seconds):
        """Close what is still open."""
        for episode in self.episodes:
            if episode.dry_s is None:
                episode.dry_s = seconds

    @property
    def flooded(self):
        return bool(self.episodes)

    @property
    def deaf(self):
        """Whether in each flood of the night nothing sound told of the rise: not to be told from a pit at rest."""
        return self.flooded and all(e.deaf for e in self.episodes)

    @property
    def silent(self):
        """Whether any flood of the night went by with nobody called."""
        return any(e.silent for e in self.episodes)

    @property
    def late(self):
        """Whether any flood that something sound told of was called only once the floor was wet."""
        return any(e.called_before_s is None and e.called_s is not None and not e.deaf for e in self.episodes)

    @property
    def longest_dry(self):
        return max(log.longest_dry for log in self.pumps)

    @property
    def dry_s(self):
        return sum(log.dry_s for log in self.pumps)
