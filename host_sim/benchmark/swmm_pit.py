"""The same pit in EPA SWMM's engine: an independent judge of the pump cycle, and the yardstick of the benchmark.

SWMM switches a pump about one step late: the error in the cycle time is about
dt * Qp**2 / (Qin * (Qp - Qin)), so the step is 0.1 s.  In dynamic wave routing
it silently enlarges a small pit to 12.566 ft2 unless MIN_SURFAREA is lowered.
"""

import os
import time
from contextlib import contextmanager
from pathlib import Path

from host_sim.errors import InputError

STEP_S = 0.1
INSTALL = 'install it with  pip install "sumpbench[swmm]"'

_INP = """[OPTIONS]
FLOW_UNITS LPS
FLOW_ROUTING DYNWAVE
LINK_OFFSETS DEPTH
START_DATE 01/01/2020
START_TIME 00:00:00
REPORT_START_DATE 01/01/2020
REPORT_START_TIME 00:00:00
END_DATE {end_date}
END_TIME {end_time}
REPORT_STEP 01:00:00
WET_STEP 01:00:00
DRY_STEP 01:00:00
ROUTING_STEP {step}
VARIABLE_STEP 0
LENGTHENING_STEP 0
MIN_SURFAREA 0.01
HEAD_TOLERANCE 0.00001
MAX_TRIALS 8
THREADS 1

[OUTFALLS]
OUT 0 FREE NO

[STORAGE]
PIT 0 {depth} {start} TABULAR AREAS 0 0 0

[PUMPS]
PUMP PIT OUT RATES OFF {on} {off}

[CURVES]
AREAS STORAGE 0 {area}
AREAS 100 {area}
{rates}

[INFLOWS]
PIT FLOW "" FLOW 1.0 1.0 {inflow}

[REPORT]
INPUT NO
CONTROLS NO
"""


def engine():
    """Return the pyswmm module.  Raises InputError that says how to install it."""
    try:
        import pyswmm
    except ImportError as error:
        raise InputError(f"EPA SWMM's engine is in the package pyswmm, which is not installed: {INSTALL}") from error
    return pyswmm


def model(area_m2, depth_m, start_m, on_m, off_m, rates, inflow_m3s, duration_s):
    """Return the text of a SWMM model of one upright pit with one pump.

    `rates` are (level m, flow m3/s) of the pump, straight lines between.
    """
    days, rest = divmod(round(duration_s), 86400)
    lines = []
    for i, (level, flow) in enumerate(rates):
        kind = "PUMP4 " if i == 0 else ""
        lines.append(f"RATES {kind}{level:.6f} {flow * 1000.0:.9f}")
    # SWMM counts to the end date; a run of at most 27 days stays within January.
    return _INP.format(
        end_date=f"01/{1 + days:02d}/2020",
        end_time=f"{rest // 3600:02d}:{rest // 60 % 60:02d}:{rest % 60:02d}",
        step=STEP_S, depth=depth_m, start=start_m, on=on_m, off=off_m, area=area_m2,
        rates="\n".join(lines), inflow=f"{inflow_m3s * 1000.0:.9f}",
    )  # fmt: skip


@contextmanager
def _silent():
    # The engine writes its progress to the process's own output, past Python.
    kept, null = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    os.dup2(null, 1)
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(null)


def run(text, folder, starts=False):
    """Run a model; return (wall seconds, steps, times in seconds at which the pump started).

    Without `starts` the engine runs alone, with nothing of Python between its steps.
    """
    pyswmm = engine()
    path = Path(folder) / "pit.inp"
    path.write_text(text, encoding="ascii")
    if not starts:
        began = time.perf_counter()
        with _silent(), pyswmm.Simulation(str(path)) as simulation:
            simulation.execute()
        return time.perf_counter() - began, 0, []
    found, count, before = [], 0, 0.0
    began = time.perf_counter()
    with _silent(), pyswmm.Simulation(str(path)) as simulation:
        pump = pyswmm.Links(simulation)["PUMP"]
        for _ in simulation:
            count += 1
            flow = pump.flow
            if flow > 0.0 and before <= 0.0:
                found.append(count * STEP_S)
            before = flow
    return time.perf_counter() - began, count, found
