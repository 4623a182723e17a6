"""One night: the pit in plain 100 ms steps with a brain at its terminals."""

import heapq
import random
from dataclasses import dataclass, field

from duplexsump.control import records

from .faults import KINDS
from .floats import Floats
from .power import MAINS, Battery, Cord, Supply, Transmitter, reading
from .site import make_floats
from .watch import Watch
from .water import STEP_S, Unit

SPREAD_M2 = 40.0  # floor on which water over the pit's edge spreads
STEP_MS = 100


@dataclass
class Night:
    """What happens: a site, an inflow, faults; `hours` long.  `line` is what gives it again."""

    site: object
    inflow: object
    faults: list
    seed: int
    hours: float = 3.0
    shape: str = "constant"
    group: str = ""
    line: str = ""
    start_level: float | None = None
    extras: dict = field(default_factory=dict)

    @property
    def seconds(self):
        return self.hours * 3600.0


class Pit:
    """Water, floats, pumps and supply of a night; what faults act on."""

    def __init__(self, night):
        site = night.site
        self.site = site
        self.night_s = night.seconds
        rng = random.Random(night.seed)
        self.rng = rng
        self.floats = Floats(make_floats(site, random.Random(site.float_seed)))
        self.units = [
            Unit(site.curves[n], site.intake, site.spin_s[n], site.back_volume[n]) for n in range(2)
        ]
        amps = site.battery_amps
        self.cords = [Cord(site.supplies[n], site.rated[n], amps, site.gains[n]) for n in range(2)]
        battery = Battery(site.battery_ah, 0.02) if any(s != MAINS for s in site.supplies) else None
        self.supply = Supply(battery)
        self.transmitter = Transmitter(random.Random(night.seed + 1), site.span) if site.transmitter else None
        self.selectors = [0, 0]
        self.controller_power = True
        self.level = site.levels[0][0] if night.start_level is None else night.start_level
        self.inflow = night.inflow.at(0.0)
        self.events = []
        self.order = 0
        if self.transmitter:
            self.transmitter.sample(self.level, 0.0)
        for fault in night.faults:
            self.at(fault.start_s, KINDS[fault.kind].begin, fault)
            if fault.end_s is not None:
                self.at(fault.end_s, KINDS[fault.kind].end, fault)

    def at(self, seconds, act, what):
        """Let act(pit, what) happen at `seconds`."""
        heapq.heappush(self.events, (seconds, self.order, act, what))
        self.order += 1

    def happen(self, t):
        """Do what is due; return the time of the next event, or a time far off."""
        events = self.events
        while events and events[0][0] <= t + 1e-9:
            _, _, act, what = heapq.heappop(events)
            act(self, what)
        return events[0][0] - 1e-9 if events else 1e12

    def can_run(self, n):
        """Tell whether pump n (0 or 1) would move water if its output were on: what the ideal controller knows."""
        unit, cord = self.units[n], self.cords[n]
        if unit.jammed or unit.airlocked or cord.thermal_open or self.selectors[n] == 1:
            return False
        return self.supply.feeds(cord, self.load_with(n))

    def load_with(self, n):
        """Return the amperes on the battery with pump n on, and the other if it is on now."""
        load = 0.0
        if self.supply.battery is None:
            return load
        for i in range(2):
            if (i == n or self.units[i].live) and self.supply.on_battery(self.cords[i]):
                load += self.cords[i].battery_amps
        return load

    def pump(self, commands):
        """Let both pumps and the inflow act for one step."""
        units, cords = self.units, self.cords
        one, two = units
        out = 0.0
        on_1, on_2 = cords[0].closed(commands[0]), cords[1].closed(commands[1])
        cords[0].on, cords[1].on = on_1, on_2
        if on_1 or on_2 or one.live or two.live or one.back_left or two.back_left:
            out = self._move(on_1, on_2)
        elif self.supply.battery is not None:
            self.supply.step(0.0)
        change = self.inflow * STEP_S - out
        site = self.site
        level = self.level + change / (site.area if self.level < site.floor else SPREAD_M2)
        self.level = level if level > 0.0 else 0.0

    def _move(self, on_1, on_2):
        units, cords, supply = self.units, self.cords, self.supply
        live, load = [False, False], 0.0
        for n, on in enumerate((on_1, on_2)):
            # OFF opens the coil circuit in the wiring; a welded contact does not mind.
            if on and (self.selectors[n] != 1 or cords[n].relay_welded):
                live[n] = supply.feeds(cords[n], self.load_with(n))
                if live[n] and supply.on_battery(cords[n]):
                    load += cords[n].battery_amps
        supply.step(load)
        flow_1, flow_2 = units[0].flow, units[1].flow
        return units[0].step(live[0], self.level, flow_2) + units[1].step(live[1], self.level, flow_1)


class Terminals:
    """The controller's raw record, kept as the pit shows it."""

    def __init__(self, pit):
        self.pit = pit
        self.raw = [0] * records.N_INPUTS
        self.noise = random.Random(pit.rng.randrange(1 << 30))
        self.sensing = pit.site.settings[15]

    def slow(self, second):
        """Refresh what is measured once a second."""
        self.pit.supply.second()
        for cord in self.pit.cords:
            cord.flicker = self.noise.uniform(0.975, 1.025)

    def slower(self):
        """Refresh what only a fault or a person changes: after every event."""
        pit, raw = self.pit, self.raw
        for n in range(2):
            raw[records.IN_SELECTOR_1 + n] = pit.selectors[n]
            raw[records.IN_THERMAL_1 + n] = 1 if pit.cords[n].thermal_open else 0
        raw[records.IN_MAINS] = raw[records.IN_CHARGER] = pit.supply.shown()
        pit.floats.touch()

    def refresh(self, second):
        """Fill the raw record for this tick and return it."""
        pit, raw = self.pit, self.raw
        raw[records.IN_CONTACTS] = pit.floats.step(pit.level)
        if self.sensing:
            cords, units = pit.cords, pit.units
            raw[records.IN_CURRENT_1] = reading(cords[0], units[0], self.sensing, second)
            raw[records.IN_CURRENT_2] = reading(cords[1], units[1], self.sensing, second)
        raw[records.IN_BATTERY] = pit.supply.mv
        if pit.transmitter:
            raw[records.IN_LEVEL] = pit.transmitter.ua
        return raw


def run(night, brain, *, log=None, until_flood=False, close=0.0):
    """Let `brain` have the night; return its Watch.  `log(t, text)` is told what happens, where given.

    A brain has `out`, `step(now_ms, raw)`, `power_up(now_ms)` and `power_down()`; one that has `tell(pit)` is
    shown the truth first: only the ideal controller asks for that.  `until_flood` ends it when the floor gets wet;
    `close`: water so near the floor (m) counts as on it.
    """
    pit = Pit(night)
    terminals = Terminals(pit)
    watch = Watch(night, pit, brain, log, close)
    if hasattr(brain, "tell"):
        brain.tell(pit)
    powered = False
    due = 0.0
    household = Household(night.site.answers_s)
    for tick in range(int(night.seconds * 10) + 1):
        t = tick * STEP_S
        if t >= due:
            due = pit.happen(t)
            terminals.slower()
        if tick % 5 == 0:
            if pit.transmitter:
                pit.transmitter.sample(pit.level, 0.5)
            if tick % 10 == 0:
                pit.inflow = night.inflow.at(t)
                terminals.slow(tick // 10)
        raw = terminals.refresh(tick // 10)
        alive = pit.controller_power and (night.site.backed or pit.supply.mains)
        if alive != powered:
            powered = alive
            if alive:
                brain.power_up(tick * STEP_MS)
            else:
                brain.power_down()
            watch.power(t, alive)
        if alive:
            raw[records.IN_SILENCE] = household.press(t, brain.out[records.OUT_HORN])
            if brain.step(tick * STEP_MS, raw) is not False:
                watch.stepped(t, raw)
        out = brain.out
        watch.tick(t, out)
        if until_flood and watch.episodes:
            break
        pit.pump((out[0], out[1]))
    watch.end(night.seconds)
    return watch


class Household:
    """Somebody who presses silence `answers_s` after the horn began; None: nobody."""

    def __init__(self, answers_s):
        self.answers_s = answers_s
        self.since = None
        self.until = -1.0

    def press(self, t, horn):
        """Return 1 while the button is pressed: half a second."""
        if t < self.until:
            return 1
        if self.answers_s is None or not horn:
            self.since = None
            return 0
        if self.since is None:
            self.since = t
        if t - self.since < self.answers_s:
            return 0
        self.since, self.until = None, t + 0.5
        return 1
