"""A month held to the table: named in time, at the right priority, the right call made, no more horn than is borne."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

from duplexsump.control import alarm_table as at

from host_sim import units
from host_sim.errors import InputError
from host_sim.proof.told import months
from host_sim.report.clock import lasting
from host_sim.run import closed_loop
from host_sim.site.faults import REGISTRY
from host_sim.site.load import read_site

WEEK_S = 7.0 * months.DAY_S
HORN_MIN_A_WEEK = 30.0  # of a fault that nobody attends to; high water may sound longer
MOST_RAISES = 1  # of one alarm, for each episode of the fault: one episode is one alarm
LOUD = ("high_water",)
BY_WATER = ("high_water", "not_keeping_up")  # each time the water does it is an episode of its own
DAILY = ("pump_1_short_cycling", "pump_2_short_cycling")  # S8: once a day at most
RISING_S = 7200.0  # what is heard so long before high water belongs to the same emergency, and is no noise
CHIRPS_S = 3611.0  # and so is its own last chirp, an hour after it is over (A2)
# An alarm that stands for longer than this blames a part: one of those whose faults begin so, or it is wrong.
BLAME_S = 3600.0
_LEVEL = ("off-", "lead-", "lag-", "high-", "common-", "transmitter-", "adc-")
# And what runs back through the other.
_PUMP = {n: (f"pump{n}-", "adc-", "discharge-", f"pump{3 - n}-check-") for n in (1, 2)}
_OF_A_PUMP = ("unavailable", "suspect", "will_not_stop", "exercise_failed")
BLAMES = {
    "floats_out_of_sequence": _LEVEL, "float_wiring": _LEVEL, "level_lost": _LEVEL, "transmitter_failed": _LEVEL,
    "battery_failed": ("battery-", "charger-"), "charger_failed": ("charger-",), "mains_lost": ("mains-",),
    "mains_unsteady": ("mains-",), "selector_away": ("pump1-left", "pump2-left"),
    **{f"pump_1_{kind}": _PUMP[1] for kind in _OF_A_PUMP},
    **{f"pump_2_{kind}": (*_PUMP[2], "battery-", "charger-", "mains-") for kind in _OF_A_PUMP},
}  # fmt: skip
PRIORITIES = ("high", "medium", "low")
CALLS = ("flood", "service", "none")
TEXTS = {row[at.NAME]: row[at.TEXT] for row in at.TABLE}  # an alarm as people know it


@dataclass(frozen=True)
class Row:
    """What the table promises for a fault; `silent` is the reason why it may say nothing, "" where it may not."""

    faults: tuple
    houses: tuple
    seasons: tuple
    alarms: tuple = ()
    within_s: float = 0.0
    priority: str = ""
    call: str = "none"
    silent: str = ""
    times: int = MOST_RAISES  # of one alarm, for each episode of the fault
    horn: float = HORN_MIN_A_WEEK
    borne: tuple = ()  # alarms that blame what is sound all the same; why, stands above the row


@cache
def table():
    """Return the rows of told.toml.  Raises InputError naming what is wrong in it."""
    text = (resources.files("host_sim.proof.told") / "told.toml").read_text(encoding="utf-8")
    return tuple(_row(number, data) for number, data in enumerate(tomllib.loads(text)["told"], 1))


def _row(number, data):
    where = f"told.toml, row {number}"
    for name in data["faults"]:
        if name.split("=")[0] not in REGISTRY:
            raise InputError(f'fault "{name}" is in no registry', where)
    row = Row(tuple(data["faults"]), tuple(data.get("houses", months.HOUSES)),
              tuple(data.get("seasons", months.SEASONS)), tuple(data.get("alarms", ())),
              units.read(data["within"], "time") if "within" in data else 0.0, data.get("priority", ""),
              data.get("call", "none"), data.get("silent", ""), data.get("times", MOST_RAISES),
              data.get("horn", HORN_MIN_A_WEEK), tuple(data.get("borne", ())))  # fmt: skip
    if bool(row.silent) == bool(row.alarms):
        raise InputError("either `alarms` with `within`, `priority` and `call`, or `silent` with a reason", where)
    if row.alarms and (row.priority not in PRIORITIES or row.call not in CALLS or not row.within_s):
        raise InputError(f"`within`, `priority` of {PRIORITIES}, `call` of {CALLS} are wanted", where)
    return row


def row_of(fault, house, season):
    """Return the first Row for a fault in a house and a season.  Raises InputError where the table has none."""
    for row in table():
        if fault in row.faults and house in row.houses and season in row.seasons:
            return row
    raise InputError(f"no row for {fault} in house {house}, {season} month", "told.toml")


def run(seed, number, house, season, fault, control_class=None):
    """Return the record of one month: a flat dictionary; `broken` lists what was not held, "" where all was."""
    month = months.draw(seed, number, house, season, fault)
    site = read_site(month.text, source=f"month {seed}/{number}")
    trace = closed_loop.run(site) if control_class is None else _run_with(site, control_class)
    record = {"seed": seed, "number": number, "house": house, "season": season, "fault": fault,
              **_heard(trace, month), "floor_wet_s": trace.totals.floor_wet_s}  # fmt: skip
    record["broken"] = "; ".join(_broken(record, trace, month))
    return record


def _run_with(site, control_class):
    return closed_loop.Night(site, site.seed, control_class(site), list(site.faults)).run(False, None)


def _heard(trace, month):
    first, raises, stood, before = {}, {}, {}, set()
    for alarm in trace.alarms:
        if alarm.raised_s < month.begins_s:
            before.add(alarm.name)
            continue
        first.setdefault(alarm.name, (alarm.raised_s - month.begins_s, alarm.priority))
        raises[alarm.name] = raises.get(alarm.name, 0) + 1
        ended_s = trace.duration_s if alarm.cleared_s is None else alarm.cleared_s
        stood[alarm.name] = round(stood.get(alarm.name, 0.0) + ended_s - alarm.raised_s, 1)
    calls = {name: [span.start_s for span in trace.outputs if span.name == name and span.end_s > month.begins_s]
             for name in ("relay", "service")}  # fmt: skip
    after = {name: max(0.0, min(starts) - month.begins_s) if starts else None for name, starts in calls.items()}
    return {"alarms": first, "raises": raises, "stood_s": stood, "before": sorted(before),
            "flood_call_s": after["relay"], "service_call_s": after["service"],
            "horn_min_a_week": horn_minutes(trace)}  # fmt: skip


def horn_minutes(trace):
    """Return the most minutes of horn in any seven days, but for emergencies that ended in an alarm of LOUD."""
    loud = [(a.raised_s - RISING_S, trace.duration_s if a.cleared_s is None else a.cleared_s + CHIRPS_S)
            for a in trace.alarms if a.name in LOUD]  # fmt: skip
    horn = [span for span in trace.outputs if span.name == "horn"]
    heard = [piece for span in horn for piece in _without(span.start_s, span.end_s, loud)]
    most = 0.0
    for begin, _end in heard:
        most = max(most, sum(max(0.0, min(e, begin + WEEK_S) - max(b, begin)) for b, e in heard))
    return most / 60.0


def _without(begin, end, holes):
    # The pieces of a stretch that lie in no hole.
    pieces = [(begin, end)]
    for low, high in holes:
        pieces = [part for b, e in pieces for part in ((b, min(e, low)), (max(b, high), e)) if part[1] > part[0]]
    return pieces


def _broken(record, trace, month):
    most = row_of(month.fault, month.house, month.season).horn if month.fault else HORN_MIN_A_WEEK
    if record["horn_min_a_week"] > most:
        yield f"horn {record['horn_min_a_week']:.0f} min in a week"
    yield from _floor(record, trace, month)
    if record["before"]:
        yield "before the fault: " + _texts(record["before"])
    if not month.fault:
        if record["alarms"]:
            yield "a healthy month: " + _texts(sorted(record["alarms"]))
        return
    row = row_of(month.fault, month.house, month.season)
    for name, stood_s in record["stood_s"].items():
        sound = name in BLAMES and name not in row.borne and not month.fault.startswith(BLAMES[name])
        if stood_s > BLAME_S and sound:
            yield f"{TEXTS[name]}: blames what is sound, for {lasting(stood_s)}"
    for name, times in record["raises"].items():
        if name not in BY_WATER and times > (months.DAYS if name in DAILY else row.times * month.episodes):
            yield f"{TEXTS[name]}: raised {times} times"
    if not row.silent:
        yield from promised(record, row)


def promised(record, row):
    """Yield what of the row's promise was not held: the alarm, its time and its priority, the call."""
    told = {name: record["alarms"][name] for name in row.alarms if name in record["alarms"]}
    if not told:
        yield f"never told: {_texts(row.alarms, ' or ')}"
        return
    name, (after_s, priority) = min(told.items(), key=lambda item: item[1][0])
    if after_s > row.within_s:
        yield f"{TEXTS[name]}: after {lasting(after_s)}, {lasting(row.within_s)} allowed"
    if PRIORITIES.index(priority) > PRIORITIES.index(row.priority):
        yield f"{TEXTS[name]}: {priority}, {row.priority} promised"
    yield from _call(record, row, priority)


def _texts(names, between=", "):
    return between.join(TEXTS[name] for name in names)


def _call(record, row, priority):
    # An alarm that is told at a higher priority than was promised makes the louder call.
    if row.call == "none":
        return
    louder = row.call == "service" and priority == "high"
    after_s = record["flood_call_s" if louder else f"{row.call}_call_s"]
    if after_s is None or after_s > row.within_s + 1.0:
        yield f"no {row.call} call in time"


def _floor(record, trace, month):
    # Whatever ends in a wet floor is called before it does.
    wet_s = trace.totals.floor_first_s
    calls = [record[name] for name in ("flood_call_s", "service_call_s") if record[name] is not None]
    if wet_s is not None and (not calls or min(calls) + month.begins_s > wet_s):
        yield f"the floor was wet after {lasting(wet_s)} and nobody had been called"
