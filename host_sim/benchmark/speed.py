"""How fast the simulator is, beside EPA SWMM's engine on the same pit: one run, one machine.

Times are CPU seconds of this process, so that a busy machine changes them
little.  SWMM runs the same water and the same pump rates with a float switch
at dt 0.1 s and has no controller to step; ours has the real one.
"""

import math
import tempfile
import time
from dataclasses import dataclass, replace

from host_sim.benchmark import swmm_pit
from host_sim.errors import InputError
from host_sim.plant.discharge import Drive, Outlet, lines_of
from host_sim.plant.equipment import Inflow
from host_sim.run import closed_loop
from host_sim.site.load import load_site, packaged

YEAR_S = 365 * 86400.0
SWMM_DAY_S = 2 * 86400.0  # its time goes with the steps, so two days tell the year
TICKING_S = 2 * 3600.0
CYCLES_A_DAY = 24


@dataclass
class Row:
    """One line: what ran, how long it was in simulated and CPU seconds, and how many steps it took."""

    name: str
    simulated_s: float
    cpu_s: float
    steps: int
    note: str = ""

    @property
    def us_per_step(self):
        """Microseconds per step; 0 when the steps are not counted."""
        return self.cpu_s / self.steps * 1e6 if self.steps else 0.0

    @property
    def ms_per_hour(self):
        """CPU milliseconds for each simulated hour."""
        return self.cpu_s / self.simulated_s * 3.6e6

    @property
    def times_real(self):
        """Simulated seconds for each CPU second."""
        return self.simulated_s / self.cpu_s


def _timed(name, site, note="", **options):
    began = time.process_time()
    trace = closed_loop.run(site, **options)
    return Row(name, site.duration_s, time.process_time() - began, trace.totals.steps, note), trace


def ordinary_year(site):
    """Return the site with a year of quiet seepage that makes up to 24 cycles a day: a sine over the year, invented."""
    band = site.pit.volume_m3(site.contacts[1].wet_m) - site.pit.volume_m3(site.contacts[0].dry_m)
    most = CYCLES_A_DAY * band / 86400.0
    days = range(365)
    rates = [most * (0.5 - 0.5 * math.cos(2.0 * math.pi * day / 365.0)) for day in days]
    inflow = Inflow([day * 86400.0 for day in days], rates)
    return replace(site, duration_s=YEAR_S, inflow=inflow, faults=[], actions=[])


def swmm_model(site, inflow_m3s, duration_s):
    """Return the text of a SWMM model of a site's pit with its first pump on a float switch, at one steady inflow."""
    regime = lines_of(site.pit, site.pumps, site.discharge).regime((Drive(True), Drive()), Outlet())
    levels = [(site.pit.level_m(volume), regime.flows(volume)[0]) for volume in regime.volumes]
    rates = [(level, flow) for level, flow in levels if level <= site.pit.floor_m]
    on, off = site.contacts[1].wet_m, site.contacts[0].dry_m
    area = site.pit.area_m2(0.0)
    return swmm_pit.model(area, site.pit.floor_m, site.start_m, on, off, rates, inflow_m3s, duration_s)


def _swmm_rows(site, mean_year_m3s, mean_night_m3s):
    rows = []
    cases = (
        ("SWMM engine, dt 0.1 s: the ordinary year's mean flow", mean_year_m3s, SWMM_DAY_S),
        ("SWMM engine, dt 0.1 s: the night's mean flow", mean_night_m3s, site.duration_s),
    )
    for name, flow, seconds in cases:
        with tempfile.TemporaryDirectory() as folder:
            text = swmm_model(site, flow, seconds)
            began = time.process_time()
            swmm_pit.run(text, folder)
            cpu = time.process_time() - began
            rows.append(Row(name, seconds, cpu, round(seconds / swmm_pit.STEP_S), "no controller"))
    return rows


def run_benchmark(progress=None):
    """Return (list of Rows, list of sentences): the demo night, a year, fixed steps, SWMM, and their ratios.

    Without pyswmm the rows of SWMM are missing and a sentence says why.
    `progress` is called with the name of what runs next.
    """
    say = progress or (lambda name: None)
    site = load_site(packaged("demo"))
    rows, words = [], []
    say("the demo night")
    night, trace = _timed("demo night", site)
    rows.append(night)
    mean_night = trace.totals.inflow_m3 / site.duration_s
    say("an ordinary year")
    quiet = ordinary_year(site)
    year, trace = _timed("ordinary year, up to 24 cycles a day", quiet)
    rows.append(year)
    starts = sum(trace.totals.starts)
    words.append(f"The ordinary year has {starts} starts and {year.steps / max(1, starts):.0f} steps per start.")
    say("fixed 100 ms steps")
    ticking, _ = _timed("fixed 100 ms steps, 2 h of the demo night", replace(site, duration_s=TICKING_S), ticking=True)
    rows.append(ticking)
    words.append(
        f"From event to event the night runs {ticking.ms_per_hour / night.ms_per_hour:.0f} times as fast as in fixed "
        f"steps, the year {ticking.ms_per_hour / year.ms_per_hour:.0f} times as fast."
    )
    say("SWMM")
    try:
        judged = _swmm_rows(site, trace.totals.inflow_m3 / YEAR_S, mean_night)
    except InputError as error:
        words.append(error.problems[0])
        return rows, words
    rows += judged
    faster, share = judged[0].ms_per_hour / year.ms_per_hour, night.cpu_s / judged[1].cpu_s
    words.append(f"The year runs {faster:.0f} times as fast as SWMM.")
    words.append(f"The demo night takes {share:.2f} times the time of SWMM; {night.us_per_step:.0f} us per step.")
    return rows, words
