"""Battery, cable, fuse, inverter, generator: how long the pump goes on without mains, and on what wires."""

from dataclasses import dataclass
from math import inf

from host_sim.plant import battery as peukert
from host_sim.plant.discharge import rated_flow_m3s
from host_sim.sizing.limits import (
    AMPACITY,
    CHEMISTRY,
    COLD,
    FUSE_FACTOR,
    FUSES_A,
    GAS_MA_AH,
    RESISTIVITY,
    awg_area_m2,
    limit,
)


@dataclass(frozen=True)
class Stored:
    """What the battery gives at a duty: times in s, charges in A s, currents in A, as a plan may count on them."""

    pump: int
    duty: float  # share of the time that the pump runs
    amps: float  # while it runs
    share: float  # of the label's charge that ageing, cold and depth leave to the plan
    shortest_s: float  # at the pump's own current, on the label's charge less ageing, cold and depth
    longest_s: float  # at the mean current
    label_s: tuple  # both bounds for a new, warm battery run flat
    needed_as: float  # label charge for the wanted time at the shorter bound
    recharge_s: float
    peak_hours: float  # in h, both bounds' mean


@dataclass(frozen=True)
class Wires:
    """Cable and fuse of the battery, starting power of the motors."""

    drop_v: float
    drop: float  # share of the battery's voltage
    gauge_needed: int | None
    ampacity_a: float
    fuse_a: float  # the size that fits
    fuse_given_a: float | None
    surge_w: float  # of one motor's start
    generator_w: float  # needed: one start while the other pump and the house run
    inverter_w: float  # surge rating of the inverter; 0 unknown


def on_battery(inputs):
    """Return the pumps (0, 1) that a battery can run."""
    if inputs.supply.battery is None:
        return []
    return [n for n in (0, 1) if inputs.pumps[n].supply != "mains"]


def battery_amps(inputs, n, through_m3s):
    """Return the current out of the battery while a pump moves so much through itself."""
    pump = inputs.pumps[n]
    motor = pump.motor
    load = motor.shut_share + (1.0 - motor.shut_share) * through_m3s / rated_flow_m3s(pump.curve)
    return _drawn(inputs, pump, motor.rated_a * load)


def _drawn(inputs, pump, amps):
    # What a motor's current takes out of the battery: through an inverter, so much more as its voltage is lower.
    if pump.supply != "either":
        return amps
    efficiency = inputs.supply.inverter.efficiency if inputs.supply.inverter else 1.0
    return amps * pump.motor.volts * pump.motor.power_factor / (inputs.power.battery_v * efficiency)


def start_v(inputs, n):
    """Return the battery's voltage while pump n starts, at the end of what a plan counts on: aged, cold, discharged.

    Rest voltage less locked-rotor current times resistance.
    """
    pump = inputs.pumps[n]
    return _end_v(inputs, _drawn(inputs, pump, pump.motor.rated_a * pump.motor.locked_share))


def running_v(inputs, n):
    """Return the battery's voltage while pump n runs at its rated current, at the end of what a plan counts on."""
    return _end_v(inputs, battery_amps(inputs, n, rated_flow_m3s(inputs.pumps[n].curve)))


def _end_v(inputs, amps):
    depth, share = limit(CHEMISTRY[inputs.power.chemistry][1]), COLD[inputs.power.room] / limit("ageing")
    return peukert.volts(inputs.supply.battery, depth, amps, share, False)


def bounds_s(battery, amps, duty, share, idle_a=0.0):
    """Return (shortest, longest) run time at a duty: Peukert at the running current, and at the mean current.

    Example: 100 Ah at 20 h, k 1.2, 20 A at 27 % duty: 14.0 h and 18.2 h.
    """
    if duty <= 0.0 or amps <= 0.0:
        return inf, inf
    at_on = peukert.runtime_s(battery, amps + idle_a, share) / duty
    at_mean = peukert.runtime_s(battery, amps * duty + idle_a, share)
    return min(at_on, at_mean), max(at_on, at_mean)


def needed_as(battery, amps, duty, share, wanted_s, idle_a=0.0):
    """Return the label charge with which the shorter bound lasts so long: Peukert turned round."""
    if duty <= 0.0:
        return 0.0
    # t = H * (C * share / (I * H)) ** k / duty, so C = I * H / share * (t * duty / H) ** (1 / k).
    hours = battery.rate_s
    current = amps + idle_a
    return current * hours / share * (wanted_s * duty / hours) ** (1.0 / battery.peukert)


def usable_share(inputs):
    """Return the share of the label's charge that a plan may use: ageing, cold, depth."""
    depth = limit(CHEMISTRY[inputs.power.chemistry][1])
    return depth * COLD[inputs.power.room] / limit("ageing")


def stored(inputs, points, inflow_m3s, n=None):
    """Return the Stored of pump `n` at an inflow, or None; without `n`, of the first pump that a battery can run."""
    pumps = on_battery(inputs)
    if not pumps:
        return None
    n = pumps[0] if n is None else n
    battery, charger = inputs.supply.battery, inputs.supply.charger
    share, idle = usable_share(inputs), battery.idle_a

    def at(point):
        duty = min(1.0, inflow_m3s / point.flow_m3s) if point.flow_m3s > 0.0 else 1.0
        amps = battery_amps(inputs, n, point.through_m3s[n])
        return *bounds_s(battery, amps, duty, share, idle), duty, amps

    # Near `off` the pump lifts higher and runs for longer: the level with the shortest time counts.
    low, high, duty, amps = min(at(point) for point in points if point.which == f"pump {n + 1} alone")
    label = bounds_s(battery, amps, duty, 1.0, idle)
    recharge = inf
    if charger is not None:
        recharge = battery.capacity_as / (charger.amps * charger.efficiency)
    need = needed_as(battery, amps, duty, share, inputs.power.wanted_s, idle)
    return Stored(n + 1, duty, amps, share, low, high, label, need, recharge, 0.5 * (low + high) / 3600.0)


def drop_v(amps, length_m, gauge):
    """Return the voltage lost in a copper cable, there and back: I * rho * 2 L / A."""
    return amps * RESISTIVITY * 2.0 * length_m / awg_area_m2(gauge)


def wires(inputs, held):
    """Return the Wires of a site; `held` is its Stored or None."""
    amps = held.amps if held else 0.0
    power = inputs.power
    gauge = power.cable_awg
    drop = drop_v(amps, power.cable_m, gauge)
    # By the plate's current, as cord and contactor are: a pump that labors up to its overload trip blows no fuse.
    most = amps
    if held:
        most = max(amps, battery_amps(inputs, held.pump - 1, rated_flow_m3s(inputs.pumps[held.pump - 1].curve)))
    fuse = next((size for size in FUSES_A if size >= FUSE_FACTOR * most), FUSES_A[-1])
    good = [
        size
        for size in sorted(AMPACITY, reverse=True)
        if drop_v(amps, power.cable_m, size) <= limit("cable_drop") * power.battery_v and AMPACITY[size] >= fuse
    ]
    # What a generator or an inverter starts; a battery pump runs from its charger's battery.
    motors = [p.motor for p in inputs.pumps if p.supply != "battery"] or [p.motor for p in inputs.pumps]
    surge = max(m.rated_a * m.locked_share * m.volts for m in motors)
    running = sum(m.rated_a * m.volts for m in motors) - min(m.rated_a * m.volts for m in motors)
    generator = (surge + running + power.house_w) / limit("generator_spare")
    inverter = inputs.supply.inverter
    return Wires(
        drop, drop / power.battery_v, good[0] if good else None, AMPACITY[gauge], fuse, power.fuse_a, surge, generator,
        inverter.limit_w if inverter else 0.0,
    )  # fmt: skip


def gas_m3s(capacity_as, chemistry="flooded", cells=6):
    """Return the fresh air in m3/s that keeps a charging battery's hydrogen below 4 %, five times over.

    IEC 62485-2:2010, 7.2: Q = v q s n Igas C, with dilution v 24, q 0.42e-3 m3 of
    hydrogen for each Ah, safety s 5: 0.05 n Igas C in m3/h.  Igas on boost charge is
    20 mA for each Ah of a vented lead-acid battery, 8 of a valve-regulated one (its
    table 1).  Example: 100 Ah, six vented cells: 0.6 m3/h.
    """
    return 0.05 * cells * GAS_MA_AH[chemistry] * 1e-3 * (capacity_as / 3600.0) / 3600.0


def vent_m2(air_m3s):
    """Return the free area in m2 of each of two openings that pass so much fresh air by themselves.

    IEC 62485-2:2010, 7.3: 28 cm2 for each m3/h.
    """
    return 28e-4 * air_m3s * 3600.0
