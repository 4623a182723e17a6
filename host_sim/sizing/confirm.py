"""Check by simulation: the sized site under the actual firmware at constant inflows, calculated against simulated."""

from dataclasses import dataclass
from statistics import fmean

from host_sim.run import closed_loop
from host_sim.site.load import read_site
from host_sim.sizing.document import to_toml
from host_sim.sizing.head import ALONE_1, ALONE_2
from host_sim.sizing.limits import limit
from host_sim.sizing.site_out import sized

CYCLES = 8
NEAR = 0.85
IN_TIME = 0.95  # of the highest inflow whose draw-downs are let run; our own choice


@dataclass(frozen=True)
class Check:
    """One inflow (m3/s): promised and simulated time from start to start (s) and starts per hour of each motor."""

    inflow_m3s: float
    promised_s: float
    simulated_s: float
    promised_starts: tuple
    simulated_starts: tuple
    run_promised_s: float
    run_simulated_s: float

    @property
    def disagreement(self):
        """The largest relative difference of cycle time and starts."""
        found = [abs(self.simulated_s / self.promised_s - 1.0)]
        for promised, simulated in zip(self.promised_starts, self.simulated_starts, strict=True):
            if promised > 0.0:
                found.append(abs(simulated / promised - 1.0))
        return max(found)

    def worst(self):
        """Return (what disagrees most, calculated, simulated), the figures in the kinds of `say`."""
        found = [("cycle time", self.promised_s, self.simulated_s, "seconds")]
        for n, (promised, simulated) in enumerate(zip(self.promised_starts, self.simulated_starts, strict=True)):
            if promised > 0.0:
                found.append((f"starts per hour of pump {n + 1}", promised, simulated, "number"))
        return max(found, key=lambda item: abs(item[2] / item[1] - 1.0))

    @property
    def agrees(self):
        return self.disagreement <= limit("inflow_agreement")


def inflows(result):
    """Return the inflows (m3/s) to check: half the design inflow, the design inflow, that of the shortest cycle.

    None lies above NEAR of what the weaker pump moves at `off`, nor above what
    lets a draw-down end in time: nearer to it the controller cuts draw-downs short
    to see whether `off` hangs (narrative L4), and a pump that does not carry the
    inflow has no cycle at all.
    """
    design, worst = result.design.inflow_m3s, result.worst["anywhere"]
    most = NEAR * min(result.flow(which, "off") for which in (ALONE_1, ALONE_2))
    most = min(most, IN_TIME * result.cycling.believed_m3s())
    return sorted({round(min(q, most), 9) for q in (0.5 * design, design, worst)})


def check(result, inflow_m3s):
    """Return the Check of one inflow, from CYCLES whole cycles of a simulated run after the first two starts."""
    turns = result.cycling
    period = turns.time_s(inflow_m3s)
    hours = (CYCLES + 4.0) * period / 3600.0
    site = read_site(to_toml(sized(result, inflow_m3s, hours)))
    trace = closed_loop.run(site)
    # Hand-overs and second pumps would be runs of their own; a healthy night has only leads.
    runs = sorted((run for run in trace.runs if run.why != "exercise"), key=lambda run: run.start_s)[2:]
    # An even number of cycles, so that two unlike pumps share them equally.
    count = min(CYCLES, (len(runs) - 1) // 2 * 2)
    if count < 2:
        raise ValueError(f"only {len(runs)} runs in {hours:.2f} h: too few to compare")
    span = runs[count].start_s - runs[0].start_s
    starts = tuple(3600.0 * sum(run.pump == n + 1 for run in runs[:count]) / span for n in (0, 1))
    if turns.alternates:
        promised = (turns.starts(0, inflow_m3s), turns.starts(1, inflow_m3s))
        run_s = 0.5 * (turns.cycle(0, inflow_m3s).run_s + turns.cycle(1, inflow_m3s).run_s)
    else:
        own = turns.starts(turns.primary, inflow_m3s, alternating=False)
        promised = tuple(own if n == turns.primary else 0.0 for n in (0, 1))
        run_s = turns.cycle(turns.primary, inflow_m3s).run_s
    mean_run = fmean(run.end_s - run.start_s for run in runs[:count])
    return Check(inflow_m3s, period, span / count, promised, starts, run_s, mean_run)


def confirm(result):
    """Return the Checks of a Result, one for each of `inflows`."""
    return [check(result, q) for q in inflows(result)]
