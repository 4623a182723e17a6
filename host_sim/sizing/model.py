"""The sizing worked through: one function from a site document to a Result that every report is written from."""

from dataclasses import dataclass
from math import ceil, inf

from duplexsump.control import settings as s

from host_sim.sizing import battery, contacts, cycling, head, inflow, reserve, room, sensors
from host_sim.sizing.limits import limit
from host_sim.sizing.reading import read

SPARE_RUN = 1.2  # max_run over the longest run at the design inflow; our own choice
LEAST_BAND = 0.2  # of the pumped band that the bodies leave, however wide they are; our own choice


@dataclass
class Result:
    """Everything that was worked out; all in SI."""

    inputs: object
    design: inflow.Design
    contacts: list
    contacts_given: bool
    recommended: list
    settings: list
    points: list
    lag_gain: float
    larger: head.Larger | None
    pressure: tuple
    cycling: cycling.Cycling
    worst: dict  # inflow of the shortest cycle: "anywhere" and "design" (up to the design inflow), by the duty
    starts: dict  # starts per hour: "anywhere", "design", "alone anywhere", "alone design"
    room: room.Room
    reserve: reserve.Reserve
    stored: object
    stored_expected: object
    wires: battery.Wires
    sensors: tuple = ()  # of inputs.Sensor, by pump
    displaced_m3: float = 0.0  # of the pumped band by the bodies of the pumps, already off in `starts`

    @property
    def rates_m3s(self):
        """What the pump of each measurement moved, as it was taken; 0 where none is needed."""
        return tuple(item.rate_m3s for item in self.design.estimates)

    @property
    def lead(self):
        """Index of the weaker pump at high, which the reserve rests on."""
        flows = {p.which: p.flow_m3s for p in self.points if p.contact == "high"}
        return 0 if flows[head.ALONE_1] <= flows[head.ALONE_2] else 1

    def flow(self, which, contact="high"):
        """Return the flow of one Point in m3/s."""
        return next(p.flow_m3s for p in self.points if p.which == which and p.contact == contact)


def size(data, source="site"):
    """Return the Result of a site document.  Raises InputError with everything that is wrong with it."""
    inputs = read(data, source)
    middle = 0.5 * inputs.pit.floor_m
    rates = tuple(head.point(inputs, which, "", middle).flow_m3s for which in (head.ALONE_1, head.ALONE_2, head.BOTH))
    design = inflow.design(inputs, rates)
    recommended = contacts.recommend(inputs, design.inflow_m3s)
    given = bool(inputs.contacts) and all(inputs.contacts)
    used = inputs.contacts if given else completed(inputs.contacts, recommended)
    values = contacts.follow(inputs, used, design.inflow_m3s)
    points = head.points(inputs, used)
    turns = cycling.Cycling(inputs, used, values)
    _longest_run(inputs, values, turns, design.inflow_m3s)
    worst, starts = _worst(turns, design.inflow_m3s)
    # Less water between off and lead where the bodies stand: T is in proportion to it.
    displaced = room.displaced_m3(inputs, used[0].dry_m, used[1].wet_m)
    fewer = max(1.0 - displaced / turns.band_m3, LEAST_BAND) if turns.band_m3 > 0.0 else 1.0
    starts = {case: count / fewer for case, count in starts.items()}
    worn = head.worn(inputs, limit("wear"))
    worn_m3s = min(head.point(inputs, w, "high", used[3].wet_m, worn).flow_m3s for w in (head.ALONE_1, head.ALONE_2))
    held = battery.stored(inputs, points, design.inflow_m3s)
    return Result(
        inputs, design, used, given, recommended, values, points, head.lag_gain(points),
        head.larger(inputs, used, points), head.pressure(inputs, points), turns, worst, starts,
        room.room(inputs, used, design.inflow_m3s, turns.band_m3),
        reserve.reserve(inputs, used, values, design, points, worn_m3s),
        held, battery.stored(inputs, points, design.expected_m3s), battery.wires(inputs, held),
        sensors.sensors(inputs, values), displaced,
    )  # fmt: skip


def _longest_run(inputs, values, turns, design_m3s):
    # A run at the design inflow that lasts longer than max_run would hand over in mid-run (narrative D4).
    runs = [turns.cycle(n, design_m3s).run_s for n in (0, 1)]
    longest_s = max([run for run in runs if run < inf], default=0.0)
    if "max_run" not in inputs.overrides and longest_s * 1000.0 > values[s.MAX_RUN_MS]:
        values[s.MAX_RUN_MS] = min(ceil(SPARE_RUN * longest_s / 60.0) * 60000, s.TABLE[s.MAX_RUN_MS][s.MOST])


def completed(given, recommended):
    """Return four contacts: those given, and the recommended ones in the places of those that are not."""
    if not given:
        return recommended
    return [one if one is not None else other for one, other in zip(given, recommended, strict=True)]


def _worst(turns, design_m3s):
    worst = {"anywhere": turns.worst(), "design": turns.worst(most_m3s=max(design_m3s, 1e-9))}
    worst["alone design"] = [turns.worst(n, most_m3s=max(design_m3s, 1e-9)) for n in (0, 1)]
    starts = {
        "anywhere": turns.duty_starts(worst["anywhere"]),
        "design": turns.duty_starts(worst["design"]),
        "alone anywhere": max(turns.starts(n, turns.worst(n), False) for n in (0, 1)),
        "alone design": max(turns.starts(n, worst["alone design"][n], False) for n in (0, 1)),
    }
    return worst, starts


def fixed_duty(result):
    """Whether one pump always leads."""
    return result.settings[s.DUTY] == s.FIXED
