"""What if: the inflow that was found, through the closed loop with something else in the basement.

A change is KEY=VALUE, several with " and ":

    pump=150%            both pumps' flows; pump1=..., pump2=... one alone
    pipe=2 in            riser and header
    battery=200 Ah       the battery, with a charger where there was none
    controller=single    one pump on one float switch, or duplex
    repaired             the faults that were found are repaired
    pit.diameter=24 in   any key of the site file, as settings.min_off=20 s
"""

import copy
import tomllib
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import tomli_w

from host_sim import units
from host_sim.errors import InputError
from host_sim.plant.inflow import combine, steps_of_flow
from host_sim.replay import other_firmware
from host_sim.run.closed_loop import run
from host_sim.site.faults import parse_fault
from host_sim.site.load import read_site

MOST_SWEEP = 60
PIPES = ("riser", "riser1", "riser2", "header")
USUAL_CHARGER = {"current": "10 A"}
USUAL_BATTERY = {"capacity": "100 Ah", "rated_over": "20 h", "peukert": 1.2}


@dataclass
class Outcome:
    """The result of one change; `trace` is kept for drawing."""

    change: str
    highest_m: float
    floor_m: float
    floor_wet_s: float
    first_alarm_s: float | None
    lead_s: float | None  # from the first alarm to water on the floor; None where either never came
    starts: int
    dry: bool
    trace: object = field(default=None, repr=False)


def plan_of(site):
    """Return the table of a site's own TOML file, without what it says of weather, faults and people."""
    try:
        data = tomllib.loads(Path(site.path).read_text(encoding="utf-8"))
    except (OSError, tomllib.TOMLDecodeError) as error:
        raise InputError(f"cannot be read again: {error}", site.path) from error
    for name in ("inflow", "groundwater", "action"):
        data.pop(name, None)
    data["inflow"] = [{"kind": "constant", "rate": "0 gpm"}]
    data["scenario"] = {**data.get("scenario", {}), "faults": []}
    return data


def apply(plan, change):
    """Return (table, controller or "", whether faults are repaired) with one change; the table given is kept.

    Raises InputError for a change that cannot be read.
    """
    data, controller, repaired = copy.deepcopy(plan), "", False
    for part in change.split(" and "):
        key, equals, value = (text.strip() for text in part.partition("="))
        if key == "repaired" and not equals:
            repaired = True
        elif not equals or not value:
            raise InputError(f'change "{part}": write KEY=VALUE, such as pump=150% or pit.diameter=24 in, or repaired')
        elif key == "controller":
            if value not in ("single", "duplex"):
                raise InputError(f'change "{part}": controller is single or duplex')
            controller = value
        else:
            _apply(data, key, value, part)
    return data, controller, repaired


def _apply(data, key, value, part):
    if key in ("pump", "pump1", "pump2"):
        _pump(data, key, value, part)
    elif key == "pipe":
        for name in PIPES:
            if name in data.get("discharge", {}):
                pipe = data["discharge"][name]
                pipe["pipe"] = value
                pipe.pop("diameter", None)
    elif key == "battery":
        supply = data.setdefault("supply", {})
        supply["battery"] = {**supply.get("battery", USUAL_BATTERY), "capacity": value}
        supply.setdefault("charger", USUAL_CHARGER)
        supply["controller"] = "battery"
        own = data.setdefault("pump2", {})
        if "supply" not in own:
            own["supply"] = "either"
            supply.setdefault("inverter", {})
    else:
        *path, last = key.split(".")
        table = data
        for name in path:
            table = table.setdefault(name, {})
            if not isinstance(table, dict):
                raise InputError(f'change "{part}": {name} is not a table of the site file')
        table[last] = value_of(value)


def _pump(data, key, value, part):
    try:
        share = units.read(value, "share")
    except ValueError as error:
        raise InputError(f'change "{part}": {error}') from error
    if not 0.05 <= share <= 20.0:
        raise InputError(f'change "{part}": a share from 5 % to 2000 % is required')
    for name in ("pump", "pump1", "pump2") if key == "pump" else (key,):
        table = data.get(name, {})
        curve = table.get("curve") or (data.get("pump", {}).get("curve") if name == key != "pump" else None)
        if curve:
            scaled = [[_times(flow, share), head] for flow, head in curve]
            data.setdefault(name, {})["curve"] = scaled


def _times(text, share):
    return f"{units.read(text, 'flow') * share * 1000.0:.6g} L/s"


def value_of(text):
    """Return a text as a TOML value: an integer, a number, true or false, else the text."""
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return {"true": True, "false": False}.get(text, text)


def settings_of(site, changes):
    """Return the controller's settings of a site with NAME=VALUE changes.  Raises InputError."""
    data = plan_of(site)
    for text in changes:
        data = apply(data, text if text.startswith("settings.") else f"settings.{text}")[0]
    return read_site(tomli_w.dumps(data), Path(site.path).parent, "settings").settings


class Trial:
    """Runs changes against one night.

    `flow` is the Inflow that was found, `faults` the texts of the faults that
    were found, `was` the controller that stood there, "single" or "duplex".
    `settings` are NAME=VALUE texts and `module` another firmware (None: ours);
    both count wherever our controller is in charge.
    """

    def __init__(self, site, flow, begins_s, start_m, faults=(), was="duplex", settings=(), module=None):
        self.site, self.was, self.faults, self.module = site, was, list(faults), module
        self.plan = plan_of(site)
        for text in settings:
            self.plan = apply(self.plan, text if text.startswith("settings.") else f"settings.{text}")[0]
        self.begins_s, self.start_m = begins_s, start_m
        self.duration_s = max(60.0, float(np.floor(flow.time_s[-1])))
        self.steps = steps_of_flow([(float(t), max(0.0, float(q)))
                                    for t, q in zip(flow.time_s, flow.flow_m3s, strict=True)])  # fmt: skip

    def run(self, change=""):
        """Return the Outcome of a change ("" for the night as it was).  Raises InputError."""
        data, controller, repaired = apply(self.plan, change) if change else (self.plan, "", False)
        try:
            site = read_site(tomli_w.dumps(data), Path(self.site.path).parent, "the changed site")
        except InputError as error:
            raise InputError([f'change "{change}": {line}' for line in error.problems]) from error
        site.inflow, site.seepage = combine([self.steps]), None
        site.duration_s, site.begins_s = self.duration_s, self.begins_s
        site.start_m = min(self.start_m, site.pit.floor_m)
        faults = [] if repaired else [parse_fault(text, self.begins_s) for text in self.faults]
        with other_firmware.in_charge(self.module), other_firmware.errors_told(self.module):
            trace = run(site, faults=faults, controller=controller or self.was)
        return outcome(change or "as it was", trace)


def outcome(change, trace):
    """Return the Outcome of a trace."""
    t = trace.totals
    alarm = t.first_alarm_s if trace.controller == "duplex" else None
    lead = None if alarm is None or t.floor_first_s is None else t.floor_first_s - alarm
    starts = sum(t.starts)
    return Outcome(change, t.highest_m, trace.floor_m, t.floor_wet_s, alarm, lead, starts, trace.floor_dry, trace)


def proposals(site, was, faults):
    """Return the changes that are tried when nobody names any: the cheap ones first."""
    found = ["repaired"] if faults else []
    if was == "single":
        found.append("controller=duplex")
    found += ["pump=150%", "pipe=2 in"]
    if site.supply.battery is None:
        found.append("battery=100 Ah" + (" and controller=duplex" if was == "single" else ""))
    if was == "single":
        found.append("controller=duplex and pump=150%")
        found += ["controller=duplex and repaired"] if faults else []
    else:
        found.append("repaired and pump=150%" if faults else "pump=200%")
    return list(dict.fromkeys(found))


def axis(text):
    """Return (key, [values]) of a sweep "KEY=FROM:TO:COUNT", as "pump=100%:200%:5".  Raises InputError."""
    key, _, rest = text.partition("=")
    parts = rest.split(":")
    if len(parts) != 3 or not parts[2].isdigit() or not 2 <= int(parts[2]) <= 20:
        raise InputError(f'"{text}": write KEY=FROM:TO:COUNT with 2 to 20 values, such as pump=100%:200%:5', "--sweep")
    first, last, count = _number(parts[0], text), _number(parts[1], text), int(parts[2])
    if first[1] != last[1]:
        raise InputError(f'"{text}": both ends must have one unit', "--sweep")
    numbers = np.linspace(first[0], last[0], count)
    unit = first[1]
    return key.strip(), [f"{number:.4g}{'' if unit == '%' or not unit else ' '}{unit}" for number in numbers]


def _number(text, whole):
    digits = text.strip().rstrip("%abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ/ ")
    try:
        return float(digits), text.strip()[len(digits) :].strip()
    except ValueError as error:
        raise InputError(f'"{whole}": "{text}" is not a number with a unit', "--sweep") from error


def sweep(trial, axes, progress=None):
    """Return [[Outcome]] over one or two axes as `axis()` gives them: a row for each value of the second.

    Raises InputError for over MOST_SWEEP runs, or a change that cannot be made.
    """
    second = axes[1] if len(axes) > 1 else ("", [""])
    total = len(axes[0][1]) * len(second[1])
    if total > MOST_SWEEP:
        raise InputError(f"{total} runs are asked for: at most {MOST_SWEEP}; take fewer values", "--sweep")
    rows, done = [], 0
    for high in second[1]:
        row = []
        for value in axes[0][1]:
            change = f"{axes[0][0]}={value}" + (f" and {second[0]}={high}" if high else "")
            row.append(trial.run(change))
            row[-1].trace = None
            done += 1
            if progress is not None:
                progress(done / total)
        rows.append(row)
    return rows
