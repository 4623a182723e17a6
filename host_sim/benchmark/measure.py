"""One measurement in a process of its own, with the core that SUMPBENCH_CORE names; prints one line of JSON.

CPU seconds of the process.  Beside each stands `yard_s`, the CPU seconds of a fixed loop of plain Python in the same
process: a machine that is busy or slow is slow at both, so their ratio can be kept and compared.
"""

import gc
import json
import sys
import time

NIGHTS = 8
# Of the searches that take most of the time: up to so many states.
SEARCHES = (
    ("flood:quick:0", 90_000),
    ("pump:narrow", 1000),
    ("belief:wide:15", 20_000),
    ("duty:wide", 20_000),
    ("pair:quick:11", 1500),
    ("alarms:wide:(0,4,12):False", 1000),
)


def yard_s():
    """Return the CPU seconds of a fixed piece of plain Python."""
    began = time.process_time()
    table = {}
    for i in range(300_000):
        table[i & 1023] = table.get(i & 1023, 0) + (i ^ (i >> 3))
    return time.process_time() - began


def demo_night():
    """Yield once when ready, then run the demo night; the last value is the number of steps."""
    from host_sim.run import closed_loop
    from host_sim.site.load import load_site, packaged

    site = load_site(packaged("demo"))
    closed_loop.run(site)
    yield None
    yield closed_loop.run(site).totals.steps


def ordinary_year():
    """A year of quiet seepage, event by event: steps."""
    from host_sim.benchmark import speed
    from host_sim.run import closed_loop
    from host_sim.site.load import load_site, packaged

    site = speed.ordinary_year(load_site(packaged("demo")))
    yield None
    yield closed_loop.run(site).totals.steps


def swmm_night():
    """EPA SWMM's engine on the same pit with the demo night's mean flow: its steps."""
    from host_sim.benchmark import speed
    from host_sim.run import closed_loop
    from host_sim.site.load import load_site, packaged

    site = load_site(packaged("demo"))
    mean_m3s = closed_loop.run(site).totals.inflow_m3 / site.duration_s
    yield from _swmm(speed.swmm_model(site, mean_m3s, site.duration_s), site.duration_s)


def swmm_year():
    """EPA SWMM's engine for two days of the ordinary year's mean flow: its steps."""
    from host_sim.benchmark import speed
    from host_sim.plant.inflow import volume_m3
    from host_sim.site.load import load_site, packaged

    site = load_site(packaged("demo"))
    mean_m3s = volume_m3(speed.ordinary_year(site).inflow, speed.YEAR_S) / speed.YEAR_S
    yield from _swmm(speed.swmm_model(site, mean_m3s, speed.SWMM_DAY_S), speed.SWMM_DAY_S)


def _swmm(text, seconds):
    import tempfile

    from host_sim.benchmark import swmm_pit

    swmm_pit.engine()
    with tempfile.TemporaryDirectory() as folder:
        yield None
        swmm_pit.run(text, folder)
        yield round(seconds / swmm_pit.STEP_S)


def core_alone():
    """The journal of the demo night through the controller again: steps."""
    from host_sim.replay import exact
    from host_sim.run import closed_loop
    from host_sim.site.load import load_site, packaged

    journal = closed_loop.run(load_site(packaged("demo"))).journal
    exact.replay(journal)
    yield None
    yield exact.replay(journal).steps


def campaign_nights():
    """Nights of the fault campaign, both controllers, as a worker runs them: nights."""
    from host_sim.proof.campaign import campaign

    campaign.chunk((1, [0, 1]))
    yield None
    campaign.chunk((1, list(range(2, 2 + NIGHTS))))
    yield NIGHTS


def searches():
    """A sample of the exploration (SEARCHES): moves that were tried."""
    from host_sim.proof.search import search_plan

    search_plan.run(search_plan.named("gate:quick"), most_states=50)
    yield None
    yield sum(search_plan.run(search_plan.named(name), most_states=most)[0].transitions for name, most in SEARCHES)


# name: (what is measured, unit)
WHAT = {
    "core": (core_alone, "step"),
    "night": (demo_night, "step"),
    "year": (ordinary_year, "step"),
    "campaign": (campaign_nights, "night"),
    "searches": (searches, "move"),
}

# name: (what EPA SWMM does beside it, how many times that goes into what we do)
SWMM = {"night": (swmm_night, 1.0), "year": (swmm_year, 365.0 / 2.0)}


def measure(name, swmm=False):
    """Return a dictionary: name, core, cpu_s, count, yard_s; with `swmm` of what SWMM does beside it."""
    from host_sim.compiled import select

    work, times = SWMM[name] if swmm else (WHAT[name][0], 1.0)
    work = work()
    next(work)
    gc.collect()
    yard = yard_s()
    began = time.process_time()
    count = next(work)
    cpu = time.process_time() - began
    yard = (yard + yard_s()) / 2.0
    return {"name": name, "core": select.core(), "cpu_s": cpu * times, "count": count, "yard_s": yard}


if __name__ == "__main__":
    print(json.dumps(measure(sys.argv[1], "swmm" in sys.argv[2:])))
