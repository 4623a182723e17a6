"""Remarks about battery, cables and circuits."""

from math import ceil

from duplexsump.control import settings as s

from host_sim.sizing.battery import gas_m3s, on_battery, start_v
from host_sim.sizing.limits import AMPACITY, CHEMISTRY, limit
from host_sim.sizing.remarks.change import cost, one
from host_sim.sizing.remarks.remark import HAND, MACHINE, Cure, Remark
from host_sim.sizing.say import text_of
from host_sim.sizing.sensors import HALL, reads

SECTION = "battery and supply"


def _too_small(result, say):
    held = result.stored
    if held is None or held.shortest_s >= result.inputs.power.wanted_s:
        return None
    return (
        f"at the design inflow pump {held.pump} runs {say(held.duty, 'share')} of the time at "
        f"{say(held.amps, 'current')}: plan on {say.span(held.shortest_s, held.longest_s, 'time')} "
        "(with allowance for age, cold and depth of discharge); wanted: "
        f"{say(result.inputs.power.wanted_s, 'time')}"
    )


def _more_charge(result, say):
    need = ceil(result.stored.needed_as / 3600.0 / 10.0) * 10.0
    charger = result.inputs.supply.charger
    family = []
    for times in (1.0, 1.1):
        edits = {"supply.battery.capacity": f"{need * times:g} Ah"}
        if charger is not None:
            edits["supply.charger.current"] = f"{max(charger.amps, need * times / 20.0):g} A"
        family.append(Cure(f"{need * times:.0f} Ah (at the same rating), with a charger to match", edits, MACHINE))
    return [family]


def _recharge(result, say):
    held = result.stored
    if held is None or held.recharge_s <= limit("recharge"):
        return None
    told = "no charger" if result.inputs.supply.charger is None else say(held.recharge_s, "time")
    return f"recharge from empty: {told}; the next storm may come within {say(limit('recharge'), 'time')}"


def _larger_charger(result, say):
    battery = result.inputs.supply.battery
    efficiency = result.inputs.supply.charger.efficiency if result.inputs.supply.charger else 0.85
    amps = ceil(battery.capacity_as / (limit("recharge") * efficiency))
    return [one(f"a charger of {amps} A or more", {"supply.charger.current": f"{amps} A"})]


def _sags(result, say):
    dead_v = result.settings[s.BATTERY_DEAD_MV] / 1000.0
    found = {n: start_v(result.inputs, n) for n in on_battery(result.inputs)}
    low = [f"pump {n + 1} pulls it down to {say(volts, 'voltage')}" for n, volts in found.items() if volts < dead_v]
    if not low:
        return None
    return (f"starting {'; '.join(low)} (aged, cold, used as far as planned) for a moment; the controller lets a dip "
            f"below {say(dead_v, 'voltage')} of under a second pass, but contactor and controller must bear it: a "
            "supply of their own that rides through it")  # fmt: skip


def _side_by_side(result, say):
    # Resistance goes down and charge up with the number.
    battery, charger = result.inputs.supply.battery, result.inputs.supply.charger
    family = []
    for count in (2, 3, 4, 6):
        edits = {"supply.battery.capacity": f"{count * battery.capacity_as / 3600.0:g} Ah",
                 "supply.battery.resistance": f"{1000.0 * battery.resistance_ohm / count:.3g} mohm"}  # fmt: skip
        if charger is not None:
            edits["supply.charger.current"] = f"{count * charger.amps:g} A"
        text = f"{count} such batteries side by side (in parallel), with a charger to match"
        family.append(Cure(text, edits, MACHINE))
    return [family]


def _drop(result, say):
    if result.stored is None or result.wires.drop <= limit("cable_drop"):
        return None
    return (
        f"{say(result.inputs.power.cable_m, 'distance')} of {result.inputs.power.cable_awg} AWG cable drop "
        f"{say(result.wires.drop_v, 'voltage')}, {say(result.wires.drop, 'share')}, at "
        f"{say(result.stored.amps, 'current')}"
    )


def _thicker(result, say):
    families = []
    if result.wires.gauge_needed is not None:
        gauge = result.wires.gauge_needed
        families.append(one(f"{gauge} AWG copper", {"sizing.power.cable_gauge": gauge}))
    need = result.inputs.power.cable_m * limit("cable_drop") / result.wires.drop * 0.98
    families.append(
        one(
            f"battery and inverter within {say(need, 'distance')} of each other",
            {"sizing.power.cable": text_of(need, "distance", 2)},
        )
    )
    return families


def _cable_thin(result, say):
    if result.stored is None or result.wires.ampacity_a >= result.wires.fuse_a:
        return None
    return (
        f"{result.inputs.power.cable_awg} AWG is rated {say(result.wires.ampacity_a, 'current')}, less than the "
        f"{say(result.wires.fuse_a, 'current')} fuse that a load of {say(result.stored.amps, 'current')} needs"
    )


def _bear(result, say):
    good = [size for size in sorted(AMPACITY, reverse=True) if AMPACITY[size] >= result.wires.fuse_a]
    families = []
    if good:
        families.append(one(f"{good[0]} AWG copper", {"sizing.power.cable_gauge": good[0]}))
    pump = result.inputs.pumps[result.stored.pump - 1]
    if pump.supply == "either":
        volts = 2.0 * result.inputs.power.battery_v
        families.append(
            [
                Cure(
                    f"battery and inverter of {v:g} V, for less current",
                    {"sizing.power.battery_voltage": f"{v:g} V"},
                )
                for v in (volts, 2.0 * volts)
            ]
        )
    if pump.supply == "battery":
        families.append(_twice_the_volts(result, pump))
    return families


def _twice_the_volts(result, pump):
    # The same power at twice the voltage: half the current, in a cable of the same size.
    key, supply = f"pump{result.stored.pump}", result.inputs.supply.battery
    volts = 2.0 * pump.motor.volts
    edits = {
        f"{key}.rated_current": f"{pump.motor.rated_a / 2.0:.2f} A",
        f"{key}.volts": f"{volts:g} V",
        "supply.battery.full": f"{2.0 * supply.full_v:.1f} V",
        "supply.battery.empty": f"{2.0 * supply.empty_v:.1f} V",
        "sizing.power.battery_voltage": f"{2.0 * result.inputs.power.battery_v:g} V",
    }
    return one(f"a pump, battery and charger of {volts:g} V, for half the current", edits,
               max(MACHINE, cost(result, "pumps")))


def _fuse(result, say):
    wires, held = result.wires, result.stored
    if held is None:
        return None
    if wires.fuse_given_a is None:
        return f"no fuse at the battery: a short in the {result.inputs.power.cable_awg} AWG cable starts a fire"
    if wires.fuse_given_a > wires.ampacity_a and wires.fuse_a <= wires.ampacity_a:
        return (
            f"a {say(wires.fuse_given_a, 'current')} fuse does not protect cable rated "
            f"{say(wires.ampacity_a, 'current')}"
        )
    if wires.fuse_given_a < held.amps * 1.1:
        return f"a {say(wires.fuse_given_a, 'current')} fuse blows at the pump's {say(held.amps, 'current')}"
    return None


def _fit_fuse(result, say):
    return [
        one(
            f"a {result.wires.fuse_a:g} A slow-blow fuse right at the battery post",
            {"sizing.power.fuse": f"{result.wires.fuse_a:g} A"},
            HAND,
        )
    ]


def _gas(result, say):
    power = result.inputs.power
    if result.stored is None or not CHEMISTRY[power.chemistry][2] or power.vented:
        return None
    air = gas_m3s(result.inputs.supply.battery.capacity_as, power.chemistry, power.cells)
    return (
        "a flooded battery gives off hydrogen while it charges, and the room is closed: it needs "
        f"{say(air, 'air')} of fresh air (IEC 62485-2)"
    )


def _vent(result, say):
    return [
        one("vents low and high to outdoors, no flame or switch above the battery", {"sizing.power.vented": True}),
        one("sealed AGM batteries", {"sizing.power.battery": "AGM"}, MACHINE),
    ]


def _circuits(result, say):
    mains = [p for p in result.inputs.pumps if p.supply != "battery"]
    if result.inputs.power.circuits == "separate" or len(mains) < 2:
        return None
    return "both pumps are on one branch circuit: one breaker or one bad receptacle takes out both"


def _separate(result, say):
    return [
        one(
            "a separate branch circuit for each pump, and a third for the controller's alarm",
            {"sizing.power.circuits": "separate"},
        )
    ]


def _inverter(result, say):
    wires = result.wires
    inverter = result.inputs.supply.inverter
    fed = [p for p in result.inputs.pumps if p.supply == "either"]
    if not fed or inverter is None:
        return None
    need = max(p.motor.rated_a * p.motor.locked_share * p.motor.volts for p in fed)
    if wires.inverter_w >= need:
        return None
    given = f"is rated {say(wires.inverter_w, 'power')} surge" if wires.inverter_w else "has no surge rating given"
    return f"the inverter {given}; starting the motor draws {say(need, 'power')}"


def _larger_inverter(result, say):
    need = 100.0 * (int(1.1 * result.wires.surge_w / 100.0) + 1)
    return [one(f"an inverter of {say(need, 'power')} surge rating", {"supply.inverter.limit": f"{need:g} W"}, MACHINE)]


def _dies(result, say):
    supply = result.inputs.supply
    if supply.battery is None or supply.controller == "battery":
        return None
    return "there is a battery, but the controller and its horn run on the mains: they are dead when they are needed"


def _feed(result, say):
    return [one("power the controller from the battery", {"supply.controller": "battery"}, HAND)]


def _alarm(result, say):
    return (
        None
        if result.inputs.power.alarm
        else "no alarm can be heard in the bedroom: a failed pump is noticed only when the floor is wet"
    )


def _horn(result, say):
    return [
        one(
            "the controller's horn where it wakes the house, or its alarm relay on a dialer",
            {"sizing.power.alarm": True},
        )
    ]


def _blind_sensor(result, say):
    blind = [n for n in (0, 1) if _cannot_read(result, n)]
    if not blind:
        return None
    which = " and ".join(f"pump {n + 1}" for n in blind)
    return f"a current transformer cannot read the direct current of {which}: it would show nothing at all"


def _cannot_read(result, n):
    sensor, pump = result.sensors[n], result.inputs.pumps[n]
    return sensor.kind != "none" and not reads(sensor.kind, pump.supply == "battery")


def _right_sensor(result, say):
    edits = {f"sizing.motor{n + 1}.sensor": HALL for n in (0, 1) if _cannot_read(result, n)}
    return [one("a Hall sensor there (or a shunt with an amplifier)", edits)]


REMARKS = (
    Remark("battery_too_small", SECTION, False, "battery run time too short", _too_small, _more_charge),
    Remark("battery_sags", SECTION, False, "the start pulls the battery down", _sags, _side_by_side),
    Remark("recharge_too_slow", SECTION, False, "battery recharges too slowly", _recharge, _larger_charger),
    Remark("cable_drop", SECTION, False, "battery cable voltage drop too high", _drop, _thicker, True),
    Remark("cable_too_thin", SECTION, True, "battery cable too thin for its fuse", _cable_thin, _bear),
    Remark("battery_fuse", SECTION, True, "battery fuse missing or wrong", _fuse, _fit_fuse),
    Remark("battery_gas", SECTION, False, "battery gas in a closed room", _gas, _vent, True),
    Remark("one_circuit", SECTION, False, "both pumps on one circuit", _circuits, _separate),
    Remark("inverter_too_small", SECTION, True, "inverter cannot start the motor", _inverter, _larger_inverter),
    Remark("controller_on_mains", SECTION, False, "controller not on the battery", _dies, _feed),
    Remark("sensor_cannot_read", SECTION, True, "current sensor cannot read its motor", _blind_sensor, _right_sensor),
    Remark("no_alarm_heard", SECTION, False, "no alarm heard in the bedroom", _alarm, _horn),
)
