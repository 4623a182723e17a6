"""The controller's settings for a site: defaults, then what follows from the site, then what the site overrides."""

import difflib
from dataclasses import dataclass

from duplexsump.control import settings as s

from host_sim.plant.discharge import Drive, Outlet, lines_of
from host_sim.plant.water_balance import time_to

SENSING = {"nothing": s.SENSE_NOTHING, "feedback": s.SENSE_FEEDBACK, "current": s.SENSE_CURRENT}
SENSOR_RANGES_MA = (30000, 50000, 75000, 100000, 150000, 200000)  # sizes on sale; common practice, no source
SUPPLY = {"mains": s.MAINS, "battery": s.BATTERY, "either": s.EITHER}
# unit of a setting: (kind, factor from SI)
_KINDS = {
    "ms": ("time", 1000.0),
    "mm": ("length", 1000.0),
    "mA": ("current", 1000.0),
    "mV": ("voltage", 1000.0),
    "mL": ("volume", 1e6),
    "days": ("time", 1.0 / 86400.0),
}


def _tenths(seconds):
    return round(seconds * 10.0) * 100


def _clip(index, value):
    return max(s.TABLE[index][s.LEAST], min(s.TABLE[index][s.MOST], int(value)))


@dataclass
class Parts:
    """What the settings follow from."""

    pit: object
    contacts: list
    closed: list
    pumps: tuple
    discharge: object
    supply: object
    transmitter: object
    sensing: str


def pump_down_s(parts, from_m, to_m, lines=None):
    """Return the draw-down time of one pump, the slower one, between two levels with no inflow, in seconds.

    inf when it does not get there.
    """
    lines = lines or lines_of(parts.pit, parts.pumps, parts.discharge)
    worst = 0.0
    for n in (0, 1):
        drives = tuple(Drive(turning=i == n) for i in (0, 1))
        regime = lines.regime(drives, Outlet())
        volume, end, total = parts.pit.volume_m3(from_m), parts.pit.volume_m3(to_m), 0.0
        while volume > end:
            j, row = regime.row(volume)
            if volume <= regime.volumes[j] and j > 0:
                j, row = j - 1, regime.rows[j - 1]
            out, slope = row[0] + row[2], row[1] + row[3]
            edge = max(end, regime.volumes[j])
            total += time_to(volume, -(out + slope * volume), -slope, edge)
            volume = edge
            if total == float("inf"):
                return total
        worst = max(worst, total)
    return worst


def derive(parts):
    """Return a settings record: defaults, with what follows from the site set."""
    values = s.defaults()
    contacts = parts.contacts
    values[s.FITTED] = sum(1 << i for i in range(4) if contacts[i] is not None)
    values[s.NORMALLY_CLOSED] = sum(1 << i for i in range(4) if contacts[i] is not None and parts.closed[i])
    values[s.SENSING] = SENSING[parts.sensing]
    values[s.SUPPLY_1], values[s.SUPPLY_2] = (SUPPLY[p.supply] for p in parts.pumps)
    values[s.CHARGER_FITTED] = 1 if parts.supply.charger else 0
    values[s.TRANSMITTER] = 1 if parts.transmitter else 0
    lines = lines_of(parts.pit, parts.pumps, parts.discharge)
    _motor(values, parts, lines)
    if parts.transmitter:
        values[s.LEVEL_SPAN_MM] = _clip(s.LEVEL_SPAN_MM, parts.transmitter.span_m * 1000.0)
        for place, i in ((s.LEVEL_OFF_MM, 0), (s.LEVEL_LEAD_MM, 1), (s.LEVEL_LAG_MM, 2)):
            if contacts[i] is not None:
                level = contacts[i].dry_m if i == 0 else contacts[i].wet_m
                values[place] = _clip(place, (level - parts.transmitter.zero_m) * 1000.0)
    _times(values, parts, lines)
    return values


def _motor(values, parts, lines):
    # Underload lies between the current against a shut valve and that of the lowest pumping level.
    for n, pump in enumerate(parts.pumps):
        rated = pump.motor.rated_a * pump.motor.sensor_scale * 1000.0
        drives = tuple(Drive(turning=i == n) for i in (0, 1))
        regime = lines.regime(drives, Outlet())
        load = regime.flows(parts.pit.volume_m3(pump.intake_m + pump.cover_m))[2 + n]
        shut = max(pump.motor.shut_share, pump.motor.dry_share)
        edge = rated * (shut + 0.4 * (load - shut))
        reach = next((size for size in SENSOR_RANGES_MA if size >= 3.3 * rated), SENSOR_RANGES_MA[-1])
        for place, milliamps in ((s.NO_CURRENT_1_MA, min(500.0, 0.25 * edge)), (s.UNDERLOAD_1_MA, edge),
                                 (s.RATED_1_MA, rated), (s.OVERLOAD_1_MA, 1.2 * rated),
                                 (s.SENSOR_RANGE_1_MA, reach)):  # fmt: skip
            values[place + n] = _clip(place + n, milliamps)


def _times(values, parts, lines):
    contacts, pit = parts.contacts, parts.pit
    stop = max(p.intake_m for p in parts.pumps) + max(p.cover_m for p in parts.pumps)
    if contacts[0] is not None:
        stop = max(stop, contacts[0].dry_m)
    elif parts.transmitter is not None:
        stop = max(stop, parts.transmitter.zero_m + values[s.LEVEL_OFF_MM] / 1000.0)
    longest = 0
    for place, i in ((s.PUMP_DOWN_LEAD_MS, 1), (s.PUMP_DOWN_LAG_MS, 2), (s.PUMP_DOWN_HIGH_MS, 3)):
        if contacts[i] is None:
            values[place] = 0
            continue
        seconds = pump_down_s(parts, contacts[i].dry_m, stop, lines)
        values[place] = _clip(place, min(_tenths(min(seconds, 1800.0)), 1800000))
        longest = max(longest, values[place])
    full = min(pump_down_s(parts, pit.floor_m, stop, lines), 1800.0)
    most = 1800000 if values[s.SENSING] == s.SENSE_CURRENT else 120000
    blind = min(most, max(_tenths(1.1 * full), longest, values[s.DRY_RUN_MS] + 2000))
    values[s.BLIND_RUN_MS] = _clip(s.BLIND_RUN_MS, min(blind, values[s.MAX_RUN_MS]))
    if contacts[1] is not None and contacts[0] is not None:
        values[s.BAND_VOLUME_ML] = _clip(s.BAND_VOLUME_ML, 1e6 * _band_m3(pit, contacts[0], contacts[1]))


def _band_m3(pit, off, lead):
    # J3 times a fill from off wet to lead wet and a draw-down from lead dry to off dry: the mean of the two
    # volumes, which are one where both floats differ alike between wet and dry.
    fill = pit.volume_m3(lead.wet_m) - pit.volume_m3(off.wet_m)
    draw = pit.volume_m3(lead.dry_m) - pit.volume_m3(off.dry_m)
    return 0.5 * (fill + draw)


def near_name(name, names):
    """Return what to say of a setting that is not among `names`: the one that was probably meant."""
    if f"{name}_1" in names:
        return f'each pump has its own: "{name}_1" and "{name}_2"'
    near = difflib.get_close_matches(name, names, 1, 0.5)
    return f'did you mean "{near[0]}"?' if near else "the settings command lists them all"


def override(values, table):
    """Put the table [settings] over a settings record, in place, noting problems in the table."""
    names = [row[0] for row in s.TABLE]
    for key in table.data:
        table.asked.append(key)
        if key not in names:
            hint = near_name(key, names)
            table.problem(key, f"unknown setting; {hint}")
            continue
        place = names.index(key)
        value = _setting(table, key, s.TABLE[place][s.UNIT])
        if value is not None:
            values[place] = value


def _setting(table, key, unit):
    if unit not in _KINDS:
        return table.integer(key)
    kind, factor = _KINDS[unit]
    value = table.quantity(key, kind)
    return None if value is None else round(value * factor)


def describe(place, value):
    """Return a setting's value with its unit, as "60 s"."""
    unit = s.TABLE[place][s.UNIT]
    if unit == "ms":
        return f"{value / 1000:g} s"
    return f"{value} {unit}".strip()

