"""The ideal controller: it sees the true water and every fault, and keeps the settings' rests and spacing.

It may run any pump that would move water: supplied, neither jammed nor locked by air, selector not at OFF, thermal
contact closed.  It bridles itself as a firmware must: rest and start spacing as the settings say, the shortest
run, the power-up delay where the controller dies with the mains, and the shorter settling of a mains that came back.
A flood under this controller was not to be avoided; a dry floor under it was possible, for one who sees the water.
Where on its way up from `lead` nothing that is sound told of it (`Watch.deaf`: every float from lead up hangs or is
cut, no sound transmitter, no current of a running pump) no controller can tell it from a pit into which nothing runs.
"""

from .power import BATTERY
from .site import setting

OUTPUTS = 8
BOTH_AT_LEAD, BY_LEVEL = "both at lead", "by level"
POLICIES = (BY_LEVEL, BOTH_AT_LEAD)


class Oracle:
    """A brain for `night.run`.  `policy`: BY_LEVEL takes one pump at lead, two at lag; BOTH_AT_LEAD all it has."""

    def __init__(self, site, policy=BY_LEVEL):
        self.policy = policy
        self.site = site
        self.out = [0] * OUTPUTS
        self.out[4] = 1
        self.rests = [setting(site, name) / 1000 for name in ("min_off", "lag_min_off", "flood_min_off")]
        self.spacing = setting(site, "start_spacing") / 1000
        self.min_run = setting(site, "min_run") / 1000
        self.hold = setting(site, "boot_hold") / 1000
        self.settle = setting(site, "flood_settle") / 1000
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
        self._mains(t)
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
        return self.mains_since is not None and t - self.mains_since >= self.settle

    def _level(self):
        level, wet = self.pit.level, self.wet
        if level >= wet[2] or (level >= wet[1] and self.policy == BOTH_AT_LEAD):
            self.demand = 2
        elif level >= wet[1]:
            self.demand = max(self.demand, 1)
        elif level <= self.bottom:
            self.demand = 0

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
        level, wet = self.pit.level, self.wet
        if level >= wet[3] or (level >= wet[2] and not (self.out[0] or self.out[1])):
            rest = self.rests[2]
        elif level >= wet[2] or not (self.out[0] or self.out[1]):
            rest = self.rests[1]
        else:
            rest = self.rests[0]
        if t - self.stopped[n] >= rest - 1e-9:
            self.out[n] = 1
            self.started[n] = self.last_start = t
