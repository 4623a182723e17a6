"""One interview, judged: typed in, sized, and run in the simulator under faults that its page says are covered."""

import random
import tomllib
from dataclasses import dataclass, field
from math import inf

from host_sim.errors import InputError
from host_sim.run import closed_loop
from host_sim.site.load import read_data
from host_sim.sizing import site_out
from host_sim.sizing.contacts import step_m
from host_sim.sizing.covered import DRY_S, covered, tries
from host_sim.sizing.document import edited
from host_sim.sizing.limits import COLD, limit
from host_sim.sizing.model import size
from host_sim.sizing.remarks.raised import raised, verdict
from host_sim.sizing.say import Say
from tests.interviews.draw import draw
from tests.interviews.person import talk

NIGHT_S = 2.0 * 3600.0
LONGEST_S = 9.0 * 3600.0  # of a night whose claim has an end
SAY = Say("us")


@dataclass
class Verdict:
    """What came of one interview: refused or sized, the word of the page, the faults that were tried, what broke."""

    seed: int
    number: int
    refused: str = ""
    word: str = ""
    pair: str = ""
    floats: str = ""
    serious: tuple = ()
    promised: int = 0  # rows that the page says are covered
    rows: int = 0
    tried: list = field(default_factory=list)  # (fault, hours, highest level / floor, longest dry run in s, dry starts)
    broken: list = field(default_factory=list)


def judge(seed, number, nights=2):
    """Return the Verdict of interview `number` of `seed`, tried under `nights` of the faults that its page covers."""
    found = Verdict(seed, number)
    text, _ = talk(draw(seed, number))
    try:
        result = size(tomllib.loads(text), f"interview {seed}/{number}")
        site = read_data(tomllib.loads(site_out.text(result)))
    except InputError as error:
        found.refused = "; ".join(error.problems)
        return found
    if site.settings != result.settings:
        found.broken.append("the night's settings are not those of the page")
    remarks = raised(result, SAY, with_cures=False)
    found.word, found.floats = verdict(remarks), result.inputs.floats.kind
    found.serious = tuple(item.remark.name for item in remarks if item.serious)
    found.pair = " and ".join(pump.supply for pump in result.inputs.pumps)
    found.broken += _paper(result, {item.remark.name for item in remarks})
    rows = covered(result)
    held = [row for row in rows if row.held]
    found.rows, found.promised = len(rows), len(held)
    rng = random.Random(f"faults {seed}/{number}")
    for row in _chosen(rng, held, nights):
        _night(result, row, rng, found)
    return found


def _paper(result, names):
    # What the page must say of heights and sensors, worked out once more from the plain figures.
    inputs, contacts = result.inputs, result.contacts
    step = step_m(inputs) - 2e-4
    close = any(contacts[i + 1].wet_m - contacts[i].wet_m < step for i in (1, 2))
    if close and "contacts_too_close" not in names:
        yield "contacts closer than their kind allows, without a remark"
    if inputs.floats.kind == "tethered" and step < inputs.floats.travel_m - 1e-3:
        yield "tethered floats may hang closer than they travel"
    need = max(max(p.intake_m + p.cover_m, plate.covered_m)
               for p, plate in zip(inputs.pumps, inputs.plates, strict=True))  # fmt: skip
    if contacts[0].dry_m < need - 2e-4 and "off_too_low" not in names:
        yield "off below a pump's cover, without a remark"
    inlet = inputs.basin.inlet_m
    above = inlet is not None and any(c.wet_m > inlet + 1e-3 for c in contacts[1:3])
    if above and not names & {"drain_drowned", "drain_stands"}:
        yield "a contact above the drain inlet, without a remark"
    for n, sensor in enumerate(result.sensors):
        if sensor.kind != "none" and sensor.range_a < 3.0 * inputs.pumps[n].motor.rated_a:
            yield f"a locked rotor of pump {n + 1} lies outside its sensor's range"


def _chosen(rng, held, nights):
    weights = [_weight(row) for row in held]
    chosen = []
    while held and len(chosen) < min(nights, len(held)):
        row = rng.choices(held, weights)[0]
        if row not in chosen:
            chosen.append(row)
    return chosen


def longest_idle_s(trace):
    """Return the longest stretch, in seconds, in which a pump turned without moving water, under water or not."""
    return max([0.0, *trace.totals.dry_runs_s[0], *trace.totals.dry_runs_s[1]])


def most_tries(trace):
    """Return how often at the most a pump began to turn without moving water in any hour."""
    most = 0
    for pump in (1, 2):
        times = [e.time_s for e in trace.events
                 if e.kind == "motor" and e.data["what"] == "dry" and e.data["pump"] == pump]  # fmt: skip
        most = max([most, *(sum(t <= other < t + 3600.0 for other in times) for t in times)])
    return most


def _weight(row):
    name = row.names[0]
    if name in ("mains-lost", "mains-sense-open", "battery-weak"):
        return 4.0
    return 2.0 if name.startswith("pump") else 1.0


def _night(result, row, rng, found):
    # The design inflow the whole time; the fault comes at some moment of a cycle, and stays.
    fault = rng.choice(row.names)
    start = rng.uniform(300.0, 2400.0)
    lasts = min(row.seconds, LONGEST_S) if row.seconds < inf else NIGHT_S
    hours = (start + lasts) / 3600.0
    faults = [f"{fault}@{start:.1f}s"]
    if row.seconds < inf:
        # The claim counts on an aged and cold battery.
        share = COLD[result.inputs.power.room] / limit("ageing")
        faults.append(f"battery-weak={share:.3f}@0s")
    data = site_out.sized(result, result.design.inflow_m3s, hours)
    data = edited(data, {"scenario.faults": faults, "scenario.seed": rng.randrange(2**30)})
    site = read_data(data)
    trace = closed_loop.run(site)
    dry_s, totals = longest_idle_s(trace), trace.totals
    full = totals.highest_m / result.inputs.pit.floor_m
    found.tried.append((fault, round(hours, 2), round(full, 3), round(dry_s, 1), most_tries(trace)))
    if totals.floor_first_s is not None:
        found.broken.append(f"{faults}: the floor is wet at {totals.floor_first_s / 3600.0:.2f} h; {row.why}")
    if dry_s > DRY_S:
        found.broken.append(f"{faults}: a pump runs dry for {dry_s:.0f} s; {row.why}")
    told = tries(result)
    if told is not None and (dry_s > told[0] or most_tries(trace) > told[1]):
        found.broken.append(f"{faults}: {most_tries(trace)} tries in an hour, the longest {dry_s:.0f} s; page: {told}")
