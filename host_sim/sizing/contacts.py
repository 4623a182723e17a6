"""The heights of the four contacts for a pit and its floats, and the settings that follow from them."""

from math import ceil, floor

from duplexsump.control import settings as s

from host_sim.errors import InputError
from host_sim.plant.equipment import Contact
from host_sim.site import settings
from host_sim.site.reader import Table
from host_sim.sizing.limits import INCH, limit
from host_sim.sizing.reserve import longest_wait_s

GRID_M = 0.5 * INCH  # contacts are set with a tape
LONGEST_S = 118.0  # of the 120 s that a blind run may last without current sensing
NAMES = ("off", "lead", "lag", "high")


def lowest_off_m(inputs):
    """Return the lowest level at which `off` may turn dry: water over intake and motor, waves, the stop's lateness."""
    need = max(
        max(pump.intake_m + pump.cover_m, plate.covered_m)
        for pump, plate in zip(inputs.pumps, inputs.plates, strict=True)
    )
    rate = max(pump.curve.flow_m3s(inputs.discharge.outlet_m - need) for pump in inputs.pumps)
    late = s.defaults()[s.DEBOUNCE_MS] / 1000.0 + 0.1
    overshoot = rate * late / inputs.pit.area_m2(need)
    return need + max(limit("intake_cover"), inputs.wave_m, overshoot)


def step_m(inputs):
    """Return the least height between two contacts of lead, lag and high, by their kind.

    Floats on rods: room for their bodies and for waves.  Floats on cords: their
    travel as well, so that one has turned over before the next one moves.  A
    transmitter's levels: waves and its noise alone.
    """
    waves = 2.0 * inputs.wave_m + INCH
    if inputs.floats.kind == "transmitter":
        noise = inputs.transmitter.noise_m if inputs.transmitter else 0.0
        return max(limit("step_transmitter"), waves + 2.0 * noise)
    least = max(limit("step"), waves)
    return max(least, inputs.floats.travel_m) if inputs.floats.kind == "tethered" else least


def highest_lead_m(inputs, inflow_m3s, supply_wait_s):
    """Return the highest `lead` from which the worst wait at an inflow stays below the floor."""
    pit = inputs.pit
    spare = pit.volume_m3(pit.floor_m) - 1.1 * inflow_m3s * supply_wait_s
    return pit.level_m(max(spare, 0.0))


def recommend(inputs, inflow_m3s):
    """Return four Contacts for a pit, bottom up, from what it must carry.

    `off` as low as intake and motor allow; `high` a freeboard below the floor;
    `lag` and `lead` a step below each, `lead` low enough for the reserve and
    no higher than the drain pipe that runs in.  Where the pit has no room the
    lead still lies a step above `off`, and remarks say so.
    """
    step, travel = step_m(inputs), _travels(inputs)
    off_dry = _up(lowest_off_m(inputs))
    high = _down(inputs.pit.floor_m - limit("freeboard"))
    lag = high - step
    wait = longest_wait_s(inputs, s.defaults())
    lead = min(lag - step, highest_lead_m(inputs, inflow_m3s, wait))
    if inputs.basin.inlet_m is not None:
        lead = min(lead, inputs.basin.inlet_m)
    lead = _within_two_minutes(inputs, _down(lead), off_dry)
    lead = max(lead, off_dry + _up(min(travel[0], step)) + GRID_M)
    lag = max(lag, lead + GRID_M)
    high = max(high, lag + GRID_M)
    lead, lag, high = _below_floor(inputs, off_dry, lead, lag, high)
    wets = (off_dry + travel[0], lead, lag, high)
    found = [Contact(wets[0], off_dry)]
    for i in (1, 2, 3):
        found.append(Contact(wets[i], max(wets[i] - travel[i], found[i - 1].dry_m + 0.1 * INCH)))
    if found[0].wet_m >= found[1].wet_m:
        found[0] = Contact(found[1].wet_m - 0.1 * INCH, off_dry)
    return found


def _travels(inputs):
    # A transmitter's levels have no travel to speak of; `high` is a float beside it.
    travel = inputs.floats.travel_m
    return (0.1 * INCH,) * 3 + (travel,) if inputs.floats.kind == "transmitter" else (travel,) * 4


def _below_floor(inputs, off_dry, lead, lag, high):
    # Where the pit is too shallow the contacts crowd below the floor, and a remark says so.
    top = inputs.pit.floor_m - GRID_M
    high = min(high, top)
    lag = min(lag, high - GRID_M)
    lead = min(lead, lag - GRID_M)
    if lead < off_dry + GRID_M:
        low, floor_in = off_dry / INCH, inputs.pit.floor_m / INCH
        raise InputError(
            f"pit.depth: the pumps need water up to {low:.1f} in; above it the four contacts do not fit below the "
            f"floor at {floor_in:.1f} in: a deeper pit, or pumps that stand lower", inputs.name
        )  # fmt: skip
    return lead, lag, high


def _within_two_minutes(inputs, lead_m, off_m):
    # Without current sensing a pump-down time may not pass two minutes (nothing else would end a dry run), and one
    # that is set shorter than the truth makes the controller suspect an honest `off` (narrative L4).
    if inputs.sensing == "current":
        return lead_m
    while lead_m - GRID_M > off_m and draw_down_s(inputs, lead_m - inputs.floats.travel_m, off_m) > LONGEST_S:
        lead_m -= GRID_M
    return lead_m


def draw_down_s(inputs, from_m, to_m):
    """Return how long the slower pump alone takes from one level down to another with no inflow, in seconds."""
    return settings.pump_down_s(inputs, from_m, to_m, inputs.lines)


def _up(level):
    return ceil(level / GRID_M - 1e-6) * GRID_M


def _down(level):
    return floor(level / GRID_M + 1e-6) * GRID_M


def tables(contacts, closed, kind="vertical"):
    """Return the [contacts] tables of a site file for four Contacts; beside a transmitter `high` alone is one."""
    found = {}
    for i, name in enumerate(NAMES):
        if contacts[i] is None or (kind == "transmitter" and name != "high"):
            continue
        found[name] = {"wet_at": _inches(contacts[i].wet_m), "dry_at": _inches(contacts[i].dry_m)}
        if closed[i] != (name == "high"):
            found[name]["normally_closed"] = closed[i]
    return found


def _inches(level):
    return f"{round(level / INCH, 2):g} in"


def follow(inputs, contacts, design_m3s):
    """Return the controller's settings record for a sized site, the site's own [settings] put over it.

    Everything that follows from pit, pumps and contacts comes from
    `site_settings.derive`; duty, starts and the draw-down test from here.
    Raises InputError when the set is refused.
    """
    sensing = inputs.sensing
    parts = settings.Parts(
        inputs.pit, contacts, inputs.closed, inputs.pumps, inputs.discharge, inputs.supply, inputs.transmitter, sensing
    )
    values = settings.derive(parts)
    if inputs.floats.kind == "transmitter":
        # Its levels stand in the settings; `high` alone is a float.
        values[s.FITTED] &= 8
        values[s.NORMALLY_CLOSED] &= 8
    supplies = [pump.supply for pump in inputs.pumps]
    if supplies.count("battery") == 1:
        # A battery pump beside a mains pump is the backup: the mains pump leads.
        values[s.DUTY], values[s.PRIMARY] = s.FIXED, supplies.index("mains" if "mains" in supplies else "either") + 1
    values[s.STARTS_PER_HOUR] = int(min(plate.starts_per_hour for plate in inputs.plates))
    _within_blind_run(values)
    values[s.NO_DRAW_DOWN_MS] = _no_draw_down_ms(inputs, contacts, design_m3s)
    _battery_volts(inputs, values)
    problems = []
    settings.override(values, Table(inputs.overrides, "settings", problems))
    problems += [f"settings.{refusal}" for refusal in s.check(values)] if not problems else []
    if problems:
        raise InputError(problems, inputs.name)
    return values


def _within_blind_run(values):
    # Without current sensing no blind run is longer than two minutes, and so no pump-down time is either.  From lag
    # and high down a shorter time does no harm; from lead it does, and a remark says so.
    for place in (s.PUMP_DOWN_LEAD_MS, s.PUMP_DOWN_LAG_MS, s.PUMP_DOWN_HIGH_MS):
        values[place] = min(values[place], values[s.BLIND_RUN_MS])


def _no_draw_down_ms(inputs, contacts, design_m3s):
    # Twice the time in which one pump draws the pit from lead to off at half its rate; used with a transmitter only.
    rate = min(inputs.lines.solve(contacts[1].wet_m, drive, _outlet())[n] for n, drive in enumerate(_alone()))
    band = inputs.pit.volume_m3(contacts[1].wet_m) - inputs.pit.volume_m3(contacts[0].dry_m)
    net = max(rate - design_m3s, 0.25 * rate, 1e-9)
    seconds = min(max(2.0 * band / net, 60.0), 900.0)
    return round(seconds) * 1000


def _alone():
    from host_sim.sizing.head import ALONE_1, ALONE_2, drives

    return drives(ALONE_1), drives(ALONE_2)


def _outlet():
    from host_sim.plant.discharge import Outlet

    return Outlet()


def _battery_volts(inputs, values):
    battery = inputs.supply.battery
    if battery is None:
        return
    scale = battery.full_v / 12.7
    for place, volts in ((s.BATTERY_LOW_MV, 11.9), (s.BATTERY_LOADED_MV, 11.0), (s.BATTERY_DEAD_MV, 10.5)):
        values[place] = round(volts * scale * 100.0) * 10


def settings_file(values):
    """Return the settings as the firmware takes them: every name with its whole number, in the firmware's own units."""
    return {row[s.NAME]: value for row, value in zip(s.TABLE, values, strict=True)}


def changed(values):
    """Return [(name, value, unit, default)] of the settings that differ from the defaults."""
    rows = zip(s.TABLE, values, strict=True)
    return [(row[s.NAME], value, row[s.UNIT], row[s.DEFAULT]) for row, value in rows if value != row[s.DEFAULT]]


# What a site without lower floats would have no way to work out again.
FOR_TRANSMITTER = (s.PUMP_DOWN_LEAD_MS, s.PUMP_DOWN_LAG_MS, s.PUMP_DOWN_HIGH_MS, s.BLIND_RUN_MS)


def site_settings_table(values):
    """Return the [settings] table of a site file: those that differ from the defaults, with units where they
    have any."""
    units = {"ms": "ms", "mm": "mm", "mA": "mA", "mV": "mV", "mL": "mL", "days": "days"}
    rows = changed(values)
    if values[s.TRANSMITTER]:
        told = {name for name, *_ in rows}
        more = [(s.TABLE[place][s.NAME], values[place], "ms", 0) for place in FOR_TRANSMITTER]
        rows += [row for row in more if row[0] not in told]
    found = {name: f"{value} {units[unit]}" if unit in units else value for name, value, unit, _ in rows}
    # Fitted floats and their contacts follow from [contacts].
    return {name: value for name, value in found.items() if name not in ("fitted", "normally_closed", "transmitter")}
