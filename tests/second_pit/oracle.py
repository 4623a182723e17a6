"""The ideal controller: it sees the true water and every fault, and keeps the settings' rests and spacing.

It may run any pump that would move water: supplied, neither jammed nor locked by air, selector not at OFF, thermal
contact closed.  It bridles itself as a firmware must: rest and start spacing as the settings say, the shortest
run, the power-up delay where the controller dies with the mains, and the shorter settling of a mains that came back.
A flood under this controller was not to be avoided; a dry floor under it was possible, for one who sees the water.
Where on its way up from `lead` nothing that is sound told of it (`Watch.deaf`: every float from lead up hangs or is
cut, no sound transmitter, no current of a running pump) no controller can tell it from a pit into which nothing runs.
A flood of a night that it would have kept dry is excused only where `TakesOver` floods as well: the same pit, handed to
the ideal controller the moment that the water last stood below `lead`, which then goes by what is sound and has stood
for `debounce`, takes one pump at `lead` and two at `lag`, keeps `mains_settle`, and forgets at a power-up what any
controller forgets.  A pit that happened to be full when both pumps or the mains failed is such
a night; one in which any pump could have run in time is not.
"""

from .power import BATTERY
from .site import setting
from .water import STEP_S

OUTPUTS = 8
BOTH_AT_LEAD, BY_LEVEL = "both at lead", "by level"
POLICIES = (BY_LEVEL, BOTH_AT_LEAD)


class Oracle:
    """A brain for `night.run`.  `policy`: BY_LEVEL takes one pump at lead, two at lag; BOTH_AT_LEAD all it has."""

    def __init__(self, site, policy=BY_LEVEL, sensed=False):
        self.policy = policy
        self.sensed = sensed  # it starts by sound contacts alone, and forgets demand and stops without power
        self.site = site
        self.out = [0] * OUTPUTS
        self.out[4] = 1
        self.rests = [setting(site, name) / 1000 for name in ("min_off", "lag_min_off", "flood_min_off")]
        self.spacing = setting(site, "start_spacing") / 1000
        self.min_run = setting(site, "min_run") / 1000
        self.hold = setting(site, "boot_hold") / 1000
        self.settles = [setting(site, name) / 1000 for name in ("mains_settle", "flood_settle")]
        self.debounce = setting(site, "debounce") / 1000 + STEP_S if sensed else 0.0  # as a step later sees it
        self.turned = [None] * 4  # since when each contact has told of water
        self.told = [False] * 4
        self.batteries = setting(site, "battery_pumps")
        self.wet = [pair[0] + 0.002 for pair in site.levels]  # once the float has turned
        self.bottom = max(site.levels[0][1], site.intake + 0.03)
        self.demand = 0
        self.stopped = [0.0, 0.0]
        self.started = [-1e9, -1e9]
        self.last_start = -1e9
        self.up = 0.0
        self.mains_since = -1e9
        self.pit = None
        self.watched = False  # whether the watch shall look at every step

    def tell(self, pit):
        """Take the truth."""
        self.pit = pit

    def power_up(self, now_ms):
        """The ideal controller's own supply came: the power-up delay, if it dies with the mains."""
        self.up = now_ms / 1000
        if self.sensed:  # nobody tells it how long it was dark, and a power-up takes the contacts as they are
            self.demand = 0
            self.turned = [-1e9] * 4
            self.stopped = [self.up, self.up]

    def power_down(self):
        """Outputs drop."""
        for n in range(2):
            if self.out[n]:
                self.stopped[n] = self.pit_time
            self.out[n] = 0

    pit_time = 0.0

    def step(self, now_ms, raw):
        """Decide about both pumps."""
        t = self.pit_time = now_ms / 1000
        self._see(t)
        self._level()
        usable = [n for n in (0, 1) if self._usable(n, t)]
        want = self._want(usable)
        for n in (0, 1):
            if self.out[n] and n not in want and (n not in usable or t - self.started[n] >= self.min_run):
                self.out[n] = 0
                self.stopped[n] = t
        if t - self.up >= self.hold - 1e-9:
            for n in want:
                self._start(n, t)
        return self.watched

    def follow(self, t, out):
        """Take the starts and stops of another controller for its own."""
        self.pit_time = t
        self._see(t)
        for n in range(2):
            if out[n] and not self.out[n]:
                self.started[n] = self.last_start = t
            elif self.out[n] and not out[n]:
                self.stopped[n] = t
            self.out[n] = out[n]

    def _see(self, t):
        self._mains(t)
        self.told = [self._wet(contact) for contact in range(4)]

    def _mains(self, t):
        if not self.pit.supply.mains:
            self.mains_since = None
        elif self.mains_since is None:
            self.mains_since = t

    def _usable(self, n, t):
        if not self.pit.can_run(n):
            return False
        cord = self.pit.cords[n]
        if self.pit.supply.on_battery(cord) or self.out[n]:
            return True
        settle = self.settles[1 if not self.sensed or self.told[3] else 0]
        return self.mains_since is not None and t - self.mains_since >= settle

    def _level(self):
        if self.told[2] or (self.told[1] and self.policy == BOTH_AT_LEAD):
            self.demand = 2
        elif self.told[1]:
            self.demand = max(self.demand, 1)
        elif self.pit.level <= self.bottom:
            self.demand = 0

    def _wet(self, contact):
        # Whether the water stands at a contact (1 lead, 2 lag, 3 high), for as long as a debounce asks.
        if not self._tells(contact):
            self.turned[contact] = None
            return False
        if self.turned[contact] is None:
            self.turned[contact] = self.pit_time
        return self.pit_time - self.turned[contact] >= self.debounce - 1e-9

    def _tells(self, contact):
        # By sound floats and a sound transmitter where it goes by these: one above tells of those below.
        pit = self.pit
        if not self.sensed or (pit.transmitter and pit.transmitter.sound()):
            return pit.level >= self.wet[contact]
        return any(f is not None and f.sound() and f.wet for f in pit.floats.floats[contact:])

    def _want(self, usable):
        # Running pumps first, those on the mains before those on the battery, rested before resting.
        order = sorted(usable, key=lambda n: (not self.out[n], self.site.supplies[n] == BATTERY, self.stopped[n]))
        want, batteries = [], 0
        for n in order[: self.demand]:
            on_battery = self.pit.supply.on_battery(self.pit.cords[n])
            if on_battery and batteries >= self.batteries:
                continue
            batteries += on_battery
            want.append(n)
        return want

    def _start(self, n, t):
        if self.out[n] or t - self.last_start < self.spacing - 1e-9:
            return
        lag = self.told[2]
        if self.told[3] or (lag and not (self.out[0] or self.out[1])):
            rest = self.rests[2]
        elif lag or not (self.out[0] or self.out[1]):
            rest = self.rests[1]
        else:
            rest = self.rests[0]
        if t - self.stopped[n] >= rest - 1e-9:
            self.out[n] = 1
            self.started[n] = self.last_start = t


class TakesOver:
    """A brain for `night.run`: `brain` until `at_s`, from then on `ideal`, an Oracle."""

    def __init__(self, brain, ideal, at_s):
        self.brain, self.ideal, self.at_s = brain, ideal, at_s
        self.out = brain.out

    def tell(self, pit):
        """Take the truth, for the ideal controller."""
        self.ideal.tell(pit)

    def power_up(self, now_ms):
        """Both come up."""
        self.brain.power_up(now_ms)
        self.ideal.power_up(now_ms)
        self.out = self.brain.out if now_ms / 1000 < self.at_s else self.ideal.out

    def power_down(self):
        """Outputs drop."""
        self.brain.power_down()
        self.ideal.power_down()
        self.out = self.ideal.out

    def step(self, now_ms, raw):
        """Let one of them decide; the ideal controller knows what the other did."""
        t = now_ms / 1000
        if t >= self.at_s:
            self.out = self.ideal.out
            self.ideal.step(now_ms, raw)
            return True
        self.brain.step(now_ms, raw)
        self.out = self.brain.out
        self.ideal.follow(t, self.out)
        return True
