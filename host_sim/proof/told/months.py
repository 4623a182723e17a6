"""A month drawn from (seed, number): an invented house, its weather, one fault or none.

The faults of the registry go round over the houses that can have them, in a wet
month and a dry one.  Wet: groundwater that one pump carries all day, with honest
storms on top.  Dry: a cycle every few hours.  Everything is invented.
"""

import random
from dataclasses import dataclass

from host_sim.site.faults import REGISTRY

DAY_S = 86400.0
DAYS = 30
BEGINS_DAY = 3  # the first days are healthy: what is learnt from them is the pit's own history
HOUSES = ("pair", "backup", "transmitter", "feedback", "plain")
SEASONS = ("wet", "dry")
CARRIED_GPM = 27.0  # at most: 0.9 of what one pump of these houses carries

# Faults worse than the registry's own: what is borne at 30 % is told at 60 %.
SEVERE = ("pump1-worn=60%", "pump2-worn=60%", "pump1-clogged=80%", "pump2-clogged=80%", "battery-weak=5%")
# These came when months were known by their numbers: they stand behind the others.
LATER = ("expander-silent", "converter-silent", "adc-stuck")
# What changes several times a second or a minute, or has the simulator look at each tick, comes and goes:
# (s that an episode lasts, episodes), 2.5 days apart.
EPISODES = {"chattering": (1200.0, 5), "transmitter-clogged": (7200.0, 2),
            "mains-flapping": (3600.0, 10), "controller-crash-looping": (3600.0, 5)}
EVERY_DAYS = 2.5

_SITE = """
name = "month {seed}/{number}: {house}, {season}"
[pit]
shape = "cylinder"
diameter = "18 in"
depth = "24 in"
floor_area = "600 ft2"
start_level = "8 in"
[contacts]
{floats}high = {{ wet_at = "18 in", dry_at = "17 in", normally_closed = true }}
[pump]
curve = [["0 gpm", "23 ft"], ["15 gpm", "20 ft"], ["33 gpm", "15 ft"], ["45 gpm", "10 ft"], ["60 gpm", "0 ft"]]
intake = "3 in"
rated_current = "8 A"
volts = "115 V"
weep_hole = "3/16 in"
{backup}{transmitter}
[discharge]
outlet = "10 ft 10 in"
riser = {{ pipe = "1-1/2 in", length = "10 ft", fittings = {{ elbow_90 = 1, swing_check = 1, ball_valve = 1 }} }}
header = {{ pipe = "1-1/2 in", length = "20 ft", fittings = {{ elbow_90 = 2, exit = 1 }} }}
[controller]
sensing = "{sensing}"
[settings]
duty = {duty}
starts_per_hour = 60
inspection = "365 d"
{levels}[[inflow]]
kind = "hydrograph"
flows = [{flows}]
[scenario]
begins = "08:00"
lasts = "{days} d"
seed = {plant_seed}
faults = [{fault}]
"""
_FLOATS = """\
off = { wet_at = "7 in", dry_at = "6 in" }
lead = { wet_at = "14 in", dry_at = "13 in" }
lag = { wet_at = "16 in", dry_at = "15 in" }
"""
_TRANSMITTER = """
[transmitter]
zero = "2 in"
span = "1 m"
noise = "1 mm"
"""
_LEVELS = 'level_off = "4 in"\nlevel_lead = "12 in"\nlevel_lag = "14 in"\n'
_BACKUP = """
[pump2]
supply = "battery"
rated_current = "18 A"
volts = "12 V"
power_factor = 1.0
[supply]
controller = "battery"
battery = { capacity = "100 Ah", rated_over = "20 h", peukert = 1.2, idle_current = "0.2 A" }
charger = { current = "10 A" }
"""
_SENSING = {"pair": "current", "backup": "current", "transmitter": "current", "feedback": "feedback",
            "plain": "nothing"}  # fmt: skip


@dataclass(frozen=True)
class Month:
    """What was drawn: `text` is the site file, `fault` the name in the registry or "" for a healthy month."""

    seed: int
    number: int
    house: str
    season: str
    fault: str
    begins_s: float
    episodes: int
    text: str


def fits(fault, house):
    """Tell whether a house has what the fault breaks."""
    if fault.startswith(("battery-", "charger-", "converter-")):
        return house == "backup"
    if fault.startswith("transmitter-"):
        return house == "transmitter"
    if fault.startswith(("off-", "lead-", "lag-", "common-")):
        return house != "transmitter"
    return not (fault.endswith(("sensor-dead", "adc-stuck")) and house == "plain")


def plan(healthy=0):
    """Return every (house, season, fault) of the table, then so many healthy months of each house and season."""
    first = [fault for fault in (*REGISTRY, *SEVERE) if fault not in LATER]
    found = _rows(first) + [(house, season, "") for _ in range(healthy) for house in HOUSES for season in SEASONS]
    return found + _rows(LATER)


def _rows(faults):
    return [(house, season, fault) for fault in faults for house in HOUSES for season in SEASONS if fits(fault, house)]


def _dry(rng):
    base = rng.uniform(0.02, 0.08)
    return [(0.0, base), (DAYS * DAY_S, base)]


def _wet(rng):
    # A falling water table after rain, and a storm every few days: up within the hour, down over the next.
    rows, day = [], 0.0
    while day < DAYS:
        base = rng.uniform(0.2, 0.8)
        peak = rng.uniform(6.0, CARRIED_GPM)
        at = day * DAY_S + rng.uniform(0.0, 0.5) * DAY_S
        rows += [(at, base), (at + 2400.0, peak), (at + 4800.0, peak), (at + 9000.0, base)]
        day += rng.uniform(2.0, 5.0)
    return [(0.0, 0.5), *[row for row in rows if row[0] < DAYS * DAY_S], (DAYS * DAY_S, 0.5)]


def _written(fault, begins_s):
    # The fault in the words of a site file: once and for good, or in episodes.
    if not fault:
        return []
    lasts = [span for name, span in EPISODES.items() if fault.endswith(name)]
    if not lasts:
        return [f"{fault}@{begins_s:.1f}s"]
    seconds, count = lasts[0]
    return [f"{fault}@{begins_s + k * EVERY_DAYS * DAY_S:.1f}s+{seconds:.0f}s" for k in range(count)]


def draw(seed, number, house, season, fault):
    """Return the Month: the same for ever for these arguments."""
    rng = random.Random(f"month {seed}/{number}/{house}/{season}/{fault}")
    flows = _wet(rng) if season == "wet" else _dry(rng)
    begins_s = round((BEGINS_DAY + rng.random()) * DAY_S, 1)
    written = _written(fault, begins_s)
    text = _SITE.format(
        seed=seed, number=number, house=house, season=season, sensing=_SENSING[house], days=DAYS,
        floats="" if house == "transmitter" else _FLOATS, levels=_LEVELS if house == "transmitter" else "",
        transmitter=_TRANSMITTER if house == "transmitter" else "", backup=_BACKUP if house == "backup" else "",
        duty=1 if house == "backup" else 0, plant_seed=rng.randrange(2**30),
        flows=", ".join(f'["{t:.1f} s", "{q:.4f} gpm"]' for t, q in flows),
        fault=", ".join(f'"{words}"' for words in written),
    )  # fmt: skip
    return Month(seed, number, house, season, fault, begins_s if fault else 0.0, len(written), text)
