"""Sites for the tests of the plant: one plain pit of our own invention, with parts put in another's place."""

from dataclasses import replace
from pathlib import Path

from duplexsump.control.records import N_INPUTS

from host_sim.plant.plant import Plant
from host_sim.run import closed_loop
from host_sim.run.schedule import Schedule
from host_sim.site import faults
from host_sim.site.load import read_site
from host_sim.units import read

GPM = read("1 gpm", "flow")
GALLON = read("1 gal", "volume")
INCH = 0.0254
FOOT = 0.3048

PIT = """
[pit]
shape = "cylinder"
diameter = "18 in"
depth = "24 in"
floor_area = "600 ft2"
start_level = "6 in"
"""
CONTACTS = """
[contacts]
off = { wet_at = "7 in", dry_at = "6 in" }
lead = { wet_at = "14 in", dry_at = "13 in" }
lag = { wet_at = "16 in", dry_at = "15 in" }
high = { wet_at = "18 in", dry_at = "17 in", normally_closed = true }
"""
PUMP = """
[pump]
curve = [["0 gpm", "23 ft"], ["15 gpm", "20 ft"], ["33 gpm", "15 ft"], ["45 gpm", "10 ft"], ["60 gpm", "0 ft"]]
intake = "3 in"
rated_current = "8 A"
volts = "115 V"
"""
DISCHARGE = """
[discharge]
outlet = "130 in"
riser = { pipe = "1-1/2 in", length = "10 ft", fittings = { elbow_90 = 1, swing_check = 1, ball_valve = 1 } }
header = { pipe = "1-1/2 in", length = "20 ft", fittings = { elbow_90 = 2, exit = 1 } }
"""
SEPARATE = """
[discharge]
outlet = "130 in"
riser = { pipe = "1-1/2 in", length = "30 ft", fittings = { elbow_90 = 3, swing_check = 1, ball_valve = 1, exit = 1 } }
"""
INFLOW = """
[[inflow]]
kind = "constant"
rate = "10 gpm"
"""
SCENARIO = """
[scenario]
begins = "20:00"
lasts = "20 min"
seed = 1
"""
BATTERY = """
[pump2]
supply = "battery"
rated_current = "20 A"
volts = "12 V"
power_factor = 1.0
[supply]
controller = "battery"
battery = { capacity = "100 Ah", rated_over = "20 h", peukert = 1.2 }
charger = { current = "10 A" }
"""


def text(pit=PIT, contacts=CONTACTS, pump=PUMP, discharge=DISCHARGE, inflow=INFLOW, scenario=SCENARIO, more=""):
    """Return the TOML text of the site with parts replaced."""
    return 'name = "An invented pit"\n' + pit + contacts + pump + discharge + inflow + scenario + more


def site(**parts):
    """Return the Site of `text(**parts)`."""
    return read_site(text(**parts), Path(__file__).parent)


class Still:
    """A plant without a controller, moved by hand: commands, faults, and a look at any instant of the grid."""

    def __init__(self, where, names=(), seed=1):
        self.site = replace(where, faults=[], actions=[])
        self.plant = Plant(self.site, seed)
        self.raw = [0] * N_INPUTS
        self.now_ms = 0
        self.schedule = Schedule(self, [faults.parse_fault(name) for name in names])
        self.after(0.0)

    def note(self, *_args, **_data):
        """Record nothing."""

    def note_fault(self, *_args):
        """Record nothing."""

    def reset(self, _now_ms):
        """There is no controller."""

    def command(self, pump_1, pump_2):
        """Switch the relays now."""
        self.plant.command(self.now_ms, pump_1, pump_2)
        return self

    def after(self, seconds):
        """Go on for so long, take a sample, and return self."""
        end = self.now_ms + round(seconds * 10) * 100
        while self.schedule.next_ms() <= end:
            self.schedule.now(self.schedule.next_ms())
        self.now_ms = end
        self.plant.sample(end, self.raw)
        return self

    @property
    def level_m(self):
        """The level at the last sample."""
        return self.plant.level_m()

    @property
    def volume_m3(self):
        """The volume at the last sample."""
        return self.plant.volume


def night(where, names=(), **options):
    """Run a site with faults named in words and return the Trace."""
    found = [faults.parse_fault(name, where.begins_s) for name in names]
    return closed_loop.run(where, faults=found, **options)
