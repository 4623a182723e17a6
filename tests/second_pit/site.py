"""A random pit with its pumps, and the settings that an installer would work out for it.

The arithmetic is this file's own.  A site is drawn from a random generator alone, so a seed gives it again.
"""

import math
import random
from dataclasses import dataclass, field

from duplexsump.control import settings as firmware

from .floats import HIGH, LAG, LEAD, NAMES, OFF, Float
from .power import BATTERY, EITHER, MAINS
from .water import Curve, draw_down_s

ALTERNATE, FIXED = 0, 1


@dataclass
class Site:
    """What is built: geometry in m and m2, two pumps, contacts, supply, and the controller's settings."""

    area: float
    floor: float
    intake: float
    pivots: list
    normally_closed: list
    curves: list
    spin_s: list
    back_volume: list
    supplies: list
    battery_ah: float
    battery_amps: float
    backed: bool  # the controller outlives the mains
    sensing: int
    rated: list
    gains: list
    transmitter: bool
    span: float
    float_seed: int
    answers_s: float | None  # somebody presses silence so long after the horn began
    rate: float = 0.0  # of the weaker pump at the lead level, m3/s
    both_rate: float = 0.0
    settings: list = field(default_factory=list)
    levels: list = field(default_factory=list)  # (wet_at, dry_at) of the four levels, floats or transmitter

    def describe(self):
        """Return the site in one line."""
        contacts = [name for name, pivot in zip(NAMES, self.pivots, strict=True) if pivot is not None]
        parts = [
            f"pit {1000 * math.sqrt(4 * self.area / math.pi):.0f} mm wide, floor at {1000 * self.floor:.0f} mm",
            f"one pump {1000 * self.rate:.2f} L/s, both {1000 * self.both_rate:.2f} L/s",
            "floats " + " ".join(contacts) + (" + transmitter" if self.transmitter else ""),
            "sensing " + ("nothing", "feedback", "current")[self.sensing],
            "supply " + "/".join(("mains", "battery", "either")[s] for s in self.supplies),
        ]
        return "; ".join(parts)


def make_floats(site, rng):
    """Return the four floats of a site (None where not fitted), each with its own tolerance."""
    return [
        None if pivot is None else Float(rng, pivot, closed)
        for pivot, closed in zip(site.pivots, site.normally_closed, strict=True)
    ]


def _draw_supply(rng, kind):
    if kind == "none":
        return [MAINS, MAINS]
    return [MAINS, BATTERY] if kind == "second" else [EITHER, EITHER]


def draw_site(rng, *, sensing=None, transmitter=None, supply=None):
    """Return a random Site; the keywords pin what a kind of night needs.

    `sensing` 0 to 2, `transmitter` True or False, `supply` "none", "second" (pump 2 on a battery) or "either".
    """
    while True:
        site = _draw(rng, sensing, transmitter, supply)
        if site is not None:
            return site


def _draw(rng, sensing, transmitter, supply):
    width = rng.uniform(0.45, 0.95)
    area = math.pi * width * width / 4
    intake = rng.uniform(0.05, 0.09)
    off = intake + rng.uniform(0.07, 0.11)
    lead = off + rng.uniform(0.18, 0.32)
    lag = lead + rng.uniform(0.06, 0.10)
    high = lag + rng.uniform(0.06, 0.10)
    floor = high + rng.uniform(0.10, 0.28)
    shutoff = rng.uniform(6.5, 11.0)
    outlet = floor + rng.uniform(1.6, 2.8)
    most = rng.uniform(2.6e-3, 5.5e-3)
    bend = rng.uniform(1.5, 2.1)
    own = rng.uniform(0.5, 1.5) / most**2
    shared = rng.choice((0.0, 0.0, rng.uniform(0.1, 0.6) / most**2))
    curves = [Curve(shutoff, most * rng.uniform(0.97, 1.03), bend, outlet, own, shared) for _ in range(2)]
    has_transmitter = rng.random() < 0.2 if transmitter is None else transmitter
    pivots = [off, lead, lag, high]
    if has_transmitter and rng.random() < 0.6:
        pivots[OFF] = pivots[LEAD] = pivots[LAG] = None
    elif not has_transmitter:
        if rng.random() < 0.2:
            pivots[OFF] = None
        if rng.random() < 0.15:
            pivots[LAG] = None
    kind = supply or rng.choice(("none", "none", "second", "either"))
    supplies = _draw_supply(rng, kind)
    rated = int(rng.uniform(4000, 10000)) // 100 * 100
    site = Site(
        area=area, floor=floor, intake=intake, pivots=pivots,
        normally_closed=[False, False, False, rng.random() < 0.8],
        curves=curves, spin_s=[rng.uniform(0.4, 1.4) for _ in range(2)],
        back_volume=[rng.uniform(0.2e-3, 0.8e-3) for _ in range(2)],
        supplies=supplies, battery_ah=rng.uniform(55.0, 120.0), battery_amps=rng.uniform(15.0, 30.0),
        backed=kind != "none" or rng.random() < 0.5,
        sensing=rng.choice((0, 1, 2, 2)) if sensing is None else sensing,
        rated=[int(rated * rng.uniform(0.95, 1.05)) for _ in range(2)],
        gains=[rng.uniform(0.80, 0.97) for _ in range(2)],
        transmitter=has_transmitter, span=math.ceil(floor * 4) / 4 + 0.25, float_seed=rng.randrange(1 << 30),
        answers_s=rng.choice((None, None, rng.uniform(60.0, 900.0))),
    )  # fmt: skip
    if site.pivots[LEAD] is not None and site.sensing != 2:
        site.pivots[OFF] = off  # the firmware asks for off or for a current
    return _settled(site, [off, lead, lag, high], rated)


def _settled(site, nominal, rated):
    # Levels, rates and settings; None for a pit that no installer would call fit.
    floats = make_floats(site, random.Random(site.float_seed))
    site.levels = [
        (f.wet_at, f.dry_at) if f is not None else (level, level) for f, level in zip(floats, nominal, strict=True)
    ]
    site.rate = min(curve.flow(site.levels[LEAD][0]) for curve in site.curves)
    if site.rate < 0.8e-3:
        return None
    site.both_rate = pair_flow(site.curves, site.levels[LAG][0])
    fill_s = site.area * (site.floor - site.levels[OFF][1]) / site.rate
    starts = 3600.0 * site.rate / (4.0 * site.area * (site.levels[LEAD][0] - site.levels[OFF][1]))
    if site.supplies[1] != BATTERY:
        starts /= 2.0  # they alternate
    if fill_s < 24.0 or starts > 55.0:
        return None
    if site.pivots[OFF] is None and not site.transmitter:
        starts *= 1.25  # stopped by time the pit is not drawn down to where `off` would be (L3)
    site.settings = work_out(site, rated, fill_s, starts)
    refusals = firmware.check(site.settings)
    return None if refusals else site


def pair_flow(curves, level):
    """Return the flow in m3/s of both pumps together at `level`."""
    a = b = 0.0
    for _ in range(30):
        a = curves[0].flow(level, b)
        b = curves[1].flow(level, a)
    return a + b


def to_grid(seconds):
    """Return seconds as ms, rounded down to the controller's 100 ms steps."""
    return int(seconds * 10 + 1e-9) * 100


def work_out(site, rated, fill_s, starts):
    """Return the settings record of a site.

    Pump-down times by the faster pump without inflow, from where a contact turns dry to where `off` does, less 3 %, so
    that they never reach the intake.  A blind run draws a full pit down to `off`.  `fill_s`: seconds from `off` to
    the floor at the rate of one pump: the rests must leave a lone pump the time to come back.  `starts`: starts an
    hour of a pump at the worst inflow, Qp/(4 V), half of that where two alternate (US Army EI 11C201, 1997).
    """
    fast = max(site.curves, key=lambda c: c.flow(site.levels[LEAD][0]))
    bottom = site.levels[OFF][1]
    down = [0.97 * draw_down_s(fast, site.area, site.levels[i][1], bottom) for i in (LEAD, LAG, HIGH)]
    full = draw_down_s(fast, site.area, site.floor, bottom)
    has = [pivot is not None for pivot in site.pivots]
    blind = max(full, 11.0)
    if site.sensing != 2:
        blind = min(blind, 120.0)
    lag_rest = min(20.0, 0.5 * fill_s)
    values = {
        "fitted": sum(1 << i for i in range(4) if has[i]),
        "normally_closed": sum(1 << i for i in range(4) if has[i] and site.normally_closed[i]),
        "transmitter": int(site.transmitter),
        "level_span": round(1000 * site.span),
        "level_off": int(1000 * bottom),
        "level_lead": int(1000 * site.levels[LEAD][0]),
        "level_lag": int(1000 * site.levels[LAG][0]),
        "pump_down_lead": to_grid(down[0]),
        "pump_down_lag": to_grid(down[1]),
        "pump_down_high": to_grid(down[2]),
        "blind_run": to_grid(max(blind, max(down))),
        "sensing": site.sensing,
        **{f"{name}_{n}": value for n in (1, 2) for name, value in (
            ("no_current", max(50, rated * 6 // 100)), ("underload", rated * 62 // 100), ("rated", rated),
            ("overload", rated * 125 // 100), ("sensor_range", 7 * rated))},
        "lag_min_off": to_grid(lag_rest),
        "flood_min_off": to_grid(min(10.0, lag_rest)),
        "starts_per_hour": min(60, max(15, math.ceil(starts) + 3)),
        "duty": FIXED if site.supplies[1] == BATTERY else ALTERNATE,
        "supply_1": site.supplies[0],
        "supply_2": site.supplies[1],
        "charger_fitted": int(site.supplies != [MAINS, MAINS]),
        "band_volume": int(1e6 * site.area * (site.levels[LEAD][0] - bottom)),
    }
    record = firmware.defaults()
    for name, value in values.items():
        record[firmware.index(name)] = value
    return record


def setting(site, name):
    """Return a setting of a site by name (ms, mA, mV or a number)."""
    return site.settings[firmware.index(name)]
