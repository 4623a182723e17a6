"""Wire check between rig and controller before any procedure; every wrong wire is named.

Inputs of the controller are switched one at a time by the rig and read back over
the controller's link.  Outputs are compared over several states (rest, horn test,
one alarm after another, each pump): the rig must read at its pin what the
controller reports.

While unproved wires are switched both thermal contacts are held open, so that no
pump can start, and each wire is switched for less than a second.
"""

from dataclasses import dataclass

from duplexsump.control import records, settings
from duplexsump.control.ticks import MASK
from duplexsump.station import registers as r

from hil.kits import wires
from hil.kits.wiring_faults import inputs_wrong, outputs_wrong
from hil.rig.lib.sumprig import wires as w
from host_sim.errors import InputError

SETTLE_MS = 300  # of the controller's own time: two ticks at least, and many times the filter's time constant
PATIENCE_MS = 10000  # a controller whose clock stands still for so long is none
PROVED, NOT_PROVED, NOT_CONNECTED = "proved", "not proved", "not connected"
NO_WIRE = ("generator", "moisture_1", "moisture_2", "service", "light")
HALF, MOST = 0.5, 0.8  # of full scale
TOLERANCE = 0.06  # of full scale: 1 % by the filter, the rest by the two boards' 3.3 V; from memory
STARTS_S = 60.0  # hold and rest with high wet (S1, S4) are over by then
_NOW_AT = sum(row[2] for row in r.WORD_ROWS[: [row[0] for row in r.WORD_ROWS].index("now")])
COMMANDS = tuple(row[0] for row in r.COMMANDS)


class WiringError(InputError):
    """Wiring errors; `problems` names the wires."""


@dataclass(frozen=True)
class Row:
    """Result of one wire: "proved", "not proved" or "not connected", with an explanation."""

    wire: str
    verdict: str
    words: str

    def as_dict(self):
        """Return the row as plain data for a record."""
        return {"wire": self.wire, "verdict": self.verdict, "words": self.words}


def prove(kit, say=print, coils_only=False):
    """Prove every wire of a `real.RealKit`; return a list of Row as dicts, one a wire.

    `coils_only`: the operator has confirmed that contactor coils or dummy loads, no
    motor, hang on the pump relays; only then are these switched.  Afterwards `kit.wires`
    holds what is connected.  Raises WiringError naming every wire that is wrong; all
    wires are released then.
    """
    try:
        rows = _prove_power(kit, say) + _prove_inputs(kit, say) + _prove_outputs(kit, say, coils_only)
    except BaseException:
        kit.rig.release()
        raise
    _end_calls(kit)
    kit.to_rest()
    kit.wires = kit.wires - {row.wire for row in rows if row.verdict == NOT_CONNECTED}
    rest = [row.wire for row in rows if row.verdict != PROVED]
    say(f"{len(rows) - len(rest)} wires proved; not: {', '.join(rest) or 'none'}")
    return [row.as_dict() for row in rows]


# Power.


def _prove_power(kit, say):
    wire = kit.power_wire()
    if wire is None:
        return [Row("power", NOT_CONNECTED, "the rig cannot cut the controller's power")]
    say("power: the controller must stop answering and come back")
    kit.power(False)
    kit.run_ms(1000)
    if kit.answers():
        kit.rig.close_contact(wire, 0)
        where = "the relay in its supply" if wire == "power_cut" else "the wire to its RUN pin"
        more = ", or a USB cable still feeds it" if wire == "power_cut" else ""
        raise WiringError(f"the controller keeps answering although {where} should cut it: open wire{more}", "wiring")
    kit.power(True)
    kit.client()
    return [Row("power", PROVED, f"{wire}: the controller stopped answering and came back")]


# Into the controller.


def terminals(client):
    """Return {terminal: reading} of everything the controller reads: 1 = closed for contacts, raw values for analog."""
    states, values = client.states(), client.values()
    found = {name: states["closed"] >> i & 1 for i, name in enumerate(wires.FLOATS)}
    for n in (1, 2):
        found[f"selector_{n}_off"] = int(values[f"selector_{n}"] == records.SELECT_OFF)
        found[f"selector_{n}_hand"] = int(values[f"selector_{n}"] == records.SELECT_HAND)
        found[f"thermal_{n}"] = 1 - (states["thermal"] >> (n - 1) & 1)
        found[f"current_{n}"] = values[f"current_{n}"]
    found["silence"], found["reset"] = states["pressed"] & 1, states["pressed"] >> 1
    found.update(jumper=states["jumper"], mains=states["mains"], charger=states["charging"])
    found.update(level=values["loop"], battery=values["battery"])
    if states["outputs"] & 3:
        raise WiringError("a pump relay came on during the wire check: all wires released", "wiring")
    return found


def _prove_inputs(kit, say):
    values = kit.client().settings()
    names = [name for name in w.COILS[:15] + w.ANALOG if _on_board(kit, name)]
    base = _base(values)
    kit.rig.release()
    kit.rig.close_contacts(base)
    _settle(kit)
    found = terminals(kit.client())
    say(f"{len(names)} controller inputs, one at a time")
    moved = {name: _move(kit, name, base, names) for name in names}
    scale = {name: _scale(kit, name) for name in w.ANALOG if name in names}
    optional = _optional(values)
    problems, absent = inputs_wrong(moved, {name: (base.get(name, 0), found[name]) for name in names}, optional)
    problems += [words for name, words in scale.items() if words and moved[name] == {name}]
    if problems:
        raise WiringError(problems, "wiring")
    rows = [Row(name, PROVED, "switched alone, read alone") for name in names if name not in absent]
    rows += [Row(name, NOT_CONNECTED, "not connected, and not needed by the settings") for name in absent]
    rows += [Row(name, NOT_CONNECTED, "the rig has no wire for it") for name in NO_WIRE]
    return rows


def _on_board(kit, name):
    wire = name.removesuffix("_off").removesuffix("_hand") if name.startswith("selector") else name
    return wire in kit.wires


def _base(values):
    # Floats hang dry, the supply is there, both thermal contacts are open: no pump can start.
    closed = values[settings.NORMALLY_CLOSED]
    base = {name: 1 if closed & wires.WIRES[name].bit else 0 for name in wires.FLOATS}
    return {**base, "mains": 1, "charger": 1}


def _optional(values):
    # Wires that nobody misses under these settings.
    fitted = values[settings.FITTED]
    names = {name for name in wires.FLOATS if not fitted & wires.WIRES[name].bit}
    if not values[settings.CHARGER_FITTED]:
        names.add("charger")
    if values[settings.SENSING] == settings.SENSE_NOTHING:
        names |= {"current_1", "current_2"}
    if not values[settings.TRANSMITTER]:
        names.add("level")
    if values[settings.SUPPLY_1] == settings.MAINS and values[settings.SUPPLY_2] == settings.MAINS:
        names.add("battery")
    return names


def _move(kit, name, base, names):
    # The terminals whose reading changes while this wire alone is moved.
    before = terminals(kit.client())
    if name in w.ANALOG:
        kit.rig.give(name, int(HALF * w.FULL_MV))
    else:
        kit.rig.close_contact(name, 1 - base.get(name, 0))
    _settle(kit)
    after = terminals(kit.client())
    if name in w.ANALOG:
        kit.rig.give(name, 0)
    else:
        kit.rig.close_contact(name, base.get(name, 0))
    _settle(kit)
    return frozenset(_changed(kit, before, after)) & set(names)


def _settle(kit):
    # Let the controller look at its inputs, however slow the link or the machine is: its own clock tells.
    since = _clock(kit)
    if not kit.run_until(lambda: (_clock(kit) - since) & MASK >= SETTLE_MS, PATIENCE_MS):
        raise WiringError("the controller answers, but its clock does not run", "wiring")


def _clock(kit):
    high, low = kit.client().words(_NOW_AT, 2)
    return high << 16 | low


def _changed(kit, before, after):
    return {name for name in after if abs(after[name] - before[name]) > (kit.full_scale(name) * TOLERANCE)}


def _scale(kit, name):
    # What is wrong with an analog wire's scale, "" when nothing is.
    full = kit.full_scale(name)
    for part in (HALF, MOST):
        kit.rig.give(name, int(part * w.FULL_MV))
        _settle(kit)
        read = terminals(kit.client())[name]
        if abs(read - part * full) > TOLERANCE * full:
            kit.rig.give(name, 0)
            unit = wires.WIRES[name].unit
            return (f"'{name}' reads {read} {unit} instead of {part * full:.0f} {unit}: is its filter 1 kohm, 10 uF, "
                    "and is anything else connected to the input?")
    kit.rig.give(name, 0)
    return ""


# Out of the controller.


def _end_calls(kit):
    # Floats dry and both thermal contacts open through a restart: no call for a pump outlives it (D1, L3).
    kit.drop()
    kit.rig.close_contacts(_base(kit.client().settings()))
    _settle(kit)
    kit.restart()
    _settle(kit)


def _prove_outputs(kit, say, coils_only):
    _end_calls(kit)
    kit.reset()
    looks = []
    say("the relays: rest, horn test, alarms" + (", each pump's coil" if coils_only else ""))
    _command(kit, "silence")
    _look_both(kit, looks)
    _command(kit, "test")
    _look_both(kit, looks)
    _when_quiet(kit)
    if coils_only:
        _pumps(kit, looks)
    for name in ("thermal_1", "thermal_2"):
        kit.drive(name, 1)
        _settle(kit)
        _look_both(kit, looks)
        _command(kit, "silence")
        _look_both(kit, looks)
    said = {name: tuple(look[0] >> i & 1 for look in looks) for i, name in enumerate(w.RELAYS)}
    read = {name: tuple(look[1] >> i & 1 for look in looks) for i, name in enumerate(w.RELAYS)}
    problems, proved = outputs_wrong(said, read)
    if problems:
        raise WiringError(problems, "wiring")
    pumps = "not switched: not confirmed (--coils-only) that only coils or dummy loads hang on the relay"
    still = "was never switched both on and off"
    why = {name: pumps if name.startswith("pump") and not coils_only else still for name in w.RELAYS}
    return [Row(name, PROVED if name in proved else NOT_PROVED,
                "the pin reads what the controller reports" if name in proved else why[name]) for name in w.RELAYS]


def _command(kit, name):
    kit.client().write_bits(COMMANDS.index(name), [1])
    _settle(kit)


def _look_both(kit, looks):
    # What the controller says and what the rig reads, at an instant at which neither moves.
    for _ in range(20):
        said = kit.client().states()["outputs"]
        _settle(kit)
        read = kit.rig.relays
        if kit.client().states()["outputs"] == said and kit.rig.relays == read:
            looks.append((said, read))
            return
    raise WiringError("the relays do not settle: is something else driving the controller?", "wiring")


def _when_quiet(kit):
    kit.run_until(lambda: not kit.client().states()["outputs"] >> records.OUT_HORN & 1, 8000)


def _pumps(kit, looks):
    # Water to high, which shortens every rest (S1), and one pump after the other by the selectors.
    values = kit.client().settings()
    for other, pump in ((2, 1), (1, 2)):
        kit.drive(f"selector_{other}", 1)
        kit.drive(f"selector_{pump}", 0)
        for name in wires.FLOATS:
            kit.drive(name, 0 if values[settings.NORMALLY_CLOSED] & wires.WIRES[name].bit else 1)
        _started(kit, pump)
        _look_both(kit, looks)
        kit.drive(f"selector_{pump}", 1)
        _settle(kit)
        _look_both(kit, looks)
    for name in wires.FLOATS:
        kit.drive(name, kit.rest[name])
    for n in (1, 2):
        kit.drive(f"selector_{n}", 0)


def _started(kit, pump):
    on = lambda: kit.client().states()["outputs"] >> (pump - 1) & 1  # noqa: E731 - it is one word
    if not kit.run_until(on, round(STARTS_S * 1000)):
        raise WiringError(f"the controller did not start pump {pump} within {STARTS_S:g} s with all floats wet",
                          "wiring")
