"""A night of the campaign drawn from (seed, number): a site, a storm and faults, all invented.

Swarm weights: each night switches some kinds of fault off and weights the rest
very differently, so that rare combinations come up as well.  Faults are on in
the first phase; then all of them clear and somebody presses reset.
"""

import random
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

from host_sim.site.faults import REGISTRY

UNDRAWN = "electronics"  # the group of the written table that came when nights were known by their numbers
FAULTS_S = 7200.0  # the first phase: faults come and go, and all are gone at its end
RESET_S = FAULTS_S + 30.0
NIGHT_S = 10800.0
CARRIED_GPM = 18.0  # one good pump carries this
BASE_GPM = (1.0, 6.0)
ENOUGH_S = 1800.0  # a warning of so long is early enough, whenever the water passed `high`
_LOWER = ("off-", "lead-", "lag-", "common-")  # faults of the floats that a transmitter stands for

_SITE = """
name = "campaign night {seed}/{number}"
[pit]
shape = "cylinder"
diameter = "{diameter} in"
depth = "24 in"
floor_area = "600 ft2"
start_level = "6 in"
[contacts]
{floats}high = {{ wet_at = "18 in", dry_at = "17 in", normally_closed = true }}
[pump]
curve = [["0 gpm", "23 ft"], ["15 gpm", "20 ft"], ["33 gpm", "15 ft"], ["45 gpm", "10 ft"], ["60 gpm", "0 ft"]]
intake = "3 in"
rated_current = "8 A"
volts = "115 V"
weep_hole = "3/16 in"
{battery}{transmitter}
[discharge]
outlet = "10 ft 10 in"
riser = {{ pipe = "1-1/2 in", length = "10 ft", fittings = {{ elbow_90 = 1, swing_check = 1, ball_valve = 1 }} }}
header = {{ pipe = "1-1/2 in", length = "20 ft", fittings = {{ elbow_90 = 2, exit = 1 }} }}
{waves}
[controller]
sensing = "{sensing}"
[settings]
duty = {duty}
starts_per_hour = 30
{levels}[[inflow]]
kind = "hydrograph"
flows = [{flows}]
[[action]]
at = "{reset} s"
do = "reset"
[scenario]
begins = "19:00"
lasts = "{lasts} s"
seed = {plant_seed}
faults = [{faults}]
"""
_FLOATS = """\
off = { wet_at = "7 in", dry_at = "6 in" }
lead = { wet_at = "14 in", dry_at = "13 in" }
lag = { wet_at = "16 in", dry_at = "15 in" }
"""
# Its datum lies 2 in above the bottom; the three levels are those of the floats that it stands for.
_TRANSMITTER = """
[transmitter]
zero = "2 in"
span = "{span} m"
noise = "{noise:.1f} mm"
"""
_LEVELS = 'level_off = "4 in"\nlevel_lead = "12 in"\nlevel_lag = "14 in"\n'
_BATTERY = """
[pump2]
supply = "battery"
rated_current = "20 A"
volts = "12 V"
power_factor = 1.0
[supply]
controller = "battery"
battery = { capacity = "100 Ah", rated_over = "20 h", peukert = 1.2, idle_current = "0.2 A" }
charger = { current = "10 A" }
"""


@cache
def _table():
    return tomllib.loads((resources.files("host_sim.proof.campaign") / "must_survive.toml").read_text(encoding="utf-8"))


@cache
def table():
    """Return ({fault: (group, must)}, set of pairs of groups that must stay dry) from must_survive.toml."""
    data = _table()
    faults = {name: (row["group"], row["must"]) for row in data["faults"] for name in row["names"]}
    return faults, {frozenset(pair) for pair in data["pairs"]["dry"]}


def excuses(name):
    """Return the rows of one of the written table's lists of what nothing senses: "lost", "untold", "no_reading"."""
    return _table()[name]


def both(row, names):
    """Return whether a night's faults hold one of each of the two lists of a row."""
    return all(set(names) & set(kinds) for kinds in row["both"])


def dry_run_s(night):
    """Return the longest dry run in seconds that the written table allows in a Night; 0.0: `blind_run` alone."""
    return max((row["longest_s"] for row in _table()["dry_run"] if _allows(row, night)), default=0.0)


def _allows(row, night):
    faults, _pairs = table()
    named = {faults[name][0] for name in night.names} & set(row["groups"]) and len(night.names) >= row["faults"]
    strong = night.peak_gpm > CARRIED_GPM or not row.get("strong")
    return named and strong and night.sensing in row.get("sensing", [night.sensing])


@dataclass(frozen=True)
class Night:
    """What was drawn: `text` is the site file, `names` the faults, `must` what the table asks for."""

    seed: int
    number: int
    text: str
    faults: tuple
    names: tuple
    peak_gpm: float
    battery: bool
    sensing: str
    must: str
    level: str = "floats"  # "transmitter" in place of off, lead and lag, or "both"


def required(names, battery, carried):
    """Return "dry" or "alarm": what the written table asks of these faults together."""
    faults, pairs = table()
    if not carried or len(names) > 2:
        return "alarm"
    rows = [faults[name] for name in names]
    if not all(must == "dry" or (must == "battery" and battery) for _group, must in rows):
        return "alarm"
    if len(rows) == 2 and frozenset(group for group, _must in rows) not in pairs:
        return "alarm"
    if any(both(row, names) for row in excuses("lost")):
        return "alarm"
    return "dry"


def _swarm(rng, kinds):
    # Some kinds are off tonight, the others weigh anything between 1 and 1000.
    on = [name for name in kinds if rng.random() < 0.5] or [rng.choice(kinds)]
    return on, [10.0 ** rng.uniform(0.0, 3.0) for _ in on]


def _kinds(battery, level):
    faults, _pairs = table()
    left_out = {UNDRAWN} if battery else {UNDRAWN, "battery"}
    if level == "floats":
        left_out.add("transmitter")
    # In the order of the registry: how the table groups them moves no night.
    there = [name for name in REGISTRY if faults[name][0] not in left_out]
    # What is not fitted cannot break.
    return [name for name in there if level != "transmitter" or not name.startswith(_LOWER)]


def _draw_faults(rng, battery, level):
    faults, _pairs = table()
    kinds = _kinds(battery, level)
    if rng.random() < 0.25:  # I14: one faulty way to tell the level and nothing else
        group = "float" if level == "floats" or rng.random() < 0.3 else "transmitter"
        names = [rng.choice([name for name in kinds if faults[name][0] == group])]
    else:
        on, weights = _swarm(rng, kinds)
        count = rng.choices((0, 1, 2, 3), (1, 4, 4, 1))[0]
        names = []
        for name in rng.choices(on, weights, k=count):
            if name not in names:
                names.append(name)
    written = []
    for name in names:
        start = rng.uniform(60.0, FAULTS_S * 0.8)
        lasts = min(FAULTS_S - start, 10.0 ** rng.uniform(0.5, 4.0))
        # A fault that lasts to the end of the phase is as likely as one that comes and goes.
        lasts = FAULTS_S - start if rng.random() < 0.5 else lasts
        tail = "" if name == "controller-reset" else f"+{max(0.1, lasts):.1f}s"
        written.append(f"{name}@{start:.1f}s{tail}")
    return tuple(written), tuple(names)


def _flows(rng):
    base = rng.uniform(*BASE_GPM)
    strong = rng.random() < 0.12
    peak = rng.uniform(25.0, 60.0) if strong else rng.uniform(base, CARRIED_GPM)
    rise, top, fall = rng.uniform(300.0, 2400.0), rng.uniform(600.0, 3000.0), rng.uniform(300.0, 1500.0)
    rows, steps = [(0.0, base)], 12
    for k in range(1, steps + 1):
        rows.append((rise * k / steps, base + (peak - base) * k / steps))
    for k in range(1, steps + 1):
        rows.append((rise + top + fall * k / steps, peak + (base - peak) * k / steps))
    # Phase two needs a few cycles, on an inflow that one pump carries.
    rows += [(max(rows[-1][0] + 1.0, FAULTS_S), max(base, 2.5)), (NIGHT_S, max(base, 2.5))]
    return ", ".join(f'["{t:.1f} s", "{q:.3f} gpm"]' for t, q in rows), max(peak, base), not strong


def draw(seed, number):
    """Return the Night of `seed` and `number`: the same for ever."""
    rng = random.Random(f"night {seed}/{number}")
    battery = rng.random() < 0.4
    sensing = rng.choice(("current", "current", "feedback", "nothing"))
    flows, peak, carried = _flows(rng)
    # How the level is told is drawn apart, so that the nights with floats alone are those they always were.
    apart = random.Random(f"level {seed}/{number}")
    level = apart.choices(("floats", "transmitter", "both"), (8, 2, 1))[0]
    faults, names = _draw_faults(rng if level == "floats" else apart, battery, level)
    text = _SITE.format(
        seed=seed, number=number, diameter=rng.choice((18, 24, 30)), battery=_BATTERY if battery else "",
        floats="" if level == "transmitter" else _FLOATS, levels=_LEVELS if level == "transmitter" else "",
        transmitter="" if level == "floats" else _TRANSMITTER.format(
            span=apart.choice((1.0, 2.0)), noise=apart.choice((0.0, 1.0, 3.0))),
        waves='[waves]\nheight = "10 mm"' if rng.random() < 0.3 else "", sensing=sensing,
        duty=1 if battery else rng.choice((0, 0, 2)), flows=flows, reset=RESET_S, lasts=NIGHT_S,
        plant_seed=rng.randrange(2**30), faults=", ".join(f'"{fault}"' for fault in faults),
    )  # fmt: skip
    must = required(names, battery, carried)
    return Night(seed, number, text, faults, names, peak, battery, sensing, must, level)
