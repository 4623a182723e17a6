"""The contents of a report, common to terminal, page and JSON."""

from dataclasses import dataclass, field

from host_sim.errors import InputError
from host_sim.sizing import confirm as confirming
from host_sim.sizing import head
from host_sim.sizing.limits import limit
from host_sim.sizing.remarks.raised import raised, verdict
from host_sim.sizing.remarks.reserve import never_at_off
from host_sim.sizing.report import parts, sections

CAUTIONS = (
    "Mains voltage and water kill: work on a pump only with it unplugged, or its breaker off and tagged. "
    "Where the code wants GFCI-protected receptacles near the pit, an alarm must report a trip.",
    "A child can drown in an open pit: bolt the cover. A pit may hold bad air: never climb in alone.",
    "Never discharge into the sanitary sewer. Groundwater goes to daylight, or to a storm drain where the town allows "
    "it in writing.",
    "A charging flooded battery gives off explosive gas: ventilate, no sparks, no open flame. Its posts can weld a "
    "wrench.",
    "Never run a generator in a basement or garage: its exhaust kills.",
    "Do not dig below the footing without advice: sand pumped out from under a footing moves the house.",
    "Local codes and a licensed plumber or electrician decide. These figures are calculated from the data given; they "
    "are no promise of a dry basement.",
)

# What floods all the same, or what the person asked for: told with the verdict itself, by consequence, the worst first.
MISSED = ("power_cut_floods", "controller_on_mains", "battery_too_small", "small_difference", "nothing_measured",
          "no_alarm_heard", "basin_floats", "generator_too_small", "outfall_unknown")  # fmt: skip


@dataclass
class Page:
    """Everything a report says of one Result."""

    result: object
    verdict: str
    headline: str
    found: list
    sections: list
    parts: list
    checks: list
    check_problem: str
    assumptions: list
    curves: dict
    cycle_curve: dict
    settings: list = field(default_factory=list)
    changed: list = field(default_factory=list)  # (what, its cost, for which remark), by `--apply-all`


def build(result, say, with_cures=True, with_check=True):
    """Return the Page of a Result; `with_check` runs the simulator, `with_cures` tries the cures."""
    found = raised(result, say, with_cures)
    checks, problem = [], ""
    if with_check:
        checks, problem = _checked(result)
    word = confirmed(verdict(found), checks)
    return Page(
        result,
        word,
        headline(result, found, word, say, checks),
        found,
        sections.all_of(result, say),
        parts.parts(result, say),
        checks,
        problem,
        result.inputs.assumptions,
        head.curves(result.inputs, result.contacts),
        cycle_curve(result),
        sections.settings_rows(result),
    )


def _checked(result):
    try:
        return confirming.confirm(result), ""
    except (InputError, ValueError) as error:
        return [], str(error)


def confirmed(word, checks):
    """Return the verdict after the simulation: "not confirmed" where a pit that fits is simulated otherwise."""
    return word if word == "does not fit" or all(check.agrees for check in checks) else "not confirmed"


def disagreement(checks, say):
    """Return what the simulation says otherwise, with both figures; "" where it agrees."""
    wrong = [check for check in checks if not check.agrees]
    if not wrong:
        return ""
    worst = max(wrong, key=lambda check: check.disagreement)
    what, promised, simulated, kind = worst.worst()
    at = say(worst.inflow_m3s, "flow")
    told = f"calculated {say(promised, kind)}, simulated {say(simulated, kind)}"
    most = limit("inflow_agreement")
    return f"{what} at {at}: {told}, {100.0 * worst.disagreement:.1f} % apart (allowed {100.0 * most:g} %)"


def headline(result, found, word, say, checks=()):
    """Return the verdict in one sentence."""
    serious = [item for item in found if item.serious]
    flow = say(result.design.inflow_m3s, "flow")
    if word == "does not fit":
        return f"Does not fit: {'; '.join(item.title for item in serious)}."
    if word == "not confirmed":
        return (f"Not confirmed: the simulation disagrees with the {disagreement(checks, say)}. Fix: plan with the "
                "shorter time and the greater number of starts, and run its night; more water between off and lead "
                "brings the two together.")  # fmt: skip
    start = f"design inflow {flow}, one pump {say(result.reserve.one_m3s, 'flow')} with water at high, at most "
    start += f"{result.starts['design']:.1f} starts per hour of each motor"
    believed = result.cycling.believed_m3s()
    if believed < result.design.inflow_m3s:  # above it draw-downs are cut short, and nothing is promised
        start += f" up to {say(believed, 'flow')}"
    weak = [f"pump {n + 1} ({say(q, 'flow')})" for n, q in never_at_off(result).items()]
    if weak:
        start += f"; but at that inflow {' and '.join(weak)} cannot draw the water down to off"
    if word == "fits":
        return f"Fits: {start}."
    count = len(found)
    missed = sorted((item for item in found if item.remark.name in MISSED), key=lambda i: MISSED.index(i.remark.name))
    worst = f", the worst first: {'; '.join(item.title for item in missed)}" if missed else ""
    return f"Fits the pumps' limits, {count} point{'s' if count != 1 else ''} not met{worst}: {start}."


def cycle_curve(result, steps=90):
    """Return {name: [(inflow m3/s, cycle time s)]} for the chart: the controller's duty, and the weaker pump alone."""
    turns = result.cycling
    top = min(result.flow(head.ALONE_1, "off"), result.flow(head.ALONE_2, "off"))
    flows = [top * (i + 1) / (steps + 1) for i in range(steps)]
    return {"cycle": [(q, turns.time_s(q)) for q in flows]}
