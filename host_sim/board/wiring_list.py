"""The wiring list of a board, from the one table (`signals.py`), with the cautions that belong to it."""

import ast
from pathlib import Path

from duplexsump.boards import __file__ as boards_file
from duplexsump.control import records
from duplexsump.station.fitting import refusal

from host_sim.board import signals
from host_sim.errors import InputError

FOLDER = Path(boards_file).parent

# Common practice, no source; local codes decide.
CAUTIONS = (
    "Mains voltage kills. Have a licensed electrician do all work beyond the low-voltage terminals, to local code.",
    "A relay module switches a contactor's coil, never a pump: the pumps go through contactors rated in horsepower "
    "(or kW) for motor duty at the pump's voltage; a motor's start welds plain relay contacts.",
    "Each pump has its own branch circuit with its own fuse or breaker, so that one fault leaves the other running.",
    "Ground-fault protection (GFCI) as the code requires, one device for each pump: a shared one would stop both.",
    "The coil circuit of each contactor goes through its hand-off-auto selector: OFF opens the coil in the wiring "
    "itself. The controller only reads the selector's second contact; no program stands between OFF and the coil.",
    "A motor's own thermal contact holds in a relay at its coil circuit's voltage; that relay's second, gold-plated "
    "contact goes to the input, never the motor's own: `sumpbench build --thermal` draws it.",
    "Work on a pump only with it unplugged, or its breaker switched off and tagged, never by trusting a selector, a "
    "relay or this controller.",
    "Relay inputs need a resistor that holds them off while the board boots, is reset or has no power.",
    "Alarm relay and service relay are energized while all is well: wire the alarm to the contact that closes when "
    "it drops out. With one alarm line use the alarm relay and leave the setting `calls` at 0; with two set it to 1.",
    "Floats in a pit that may hold methane or fuel need an intrinsically safe circuit. Keep float wires apart from "
    "mains; give `high` a pair of wires of its own; extra-low voltage only.",
    "A battery needs a fuse at its terminal and ventilation: charging gives off explosive gas.",
    "Power the board from a source that outlasts the mains failure it must report.",
)


# What a contact's pin reads, behind the circuits of the building guide.
PIN_READS = {"field contact": "low while closed: isolated, +12 V field by an optocoupler (guide, F)",
             "panel contact": "low while closed: to 0 V, 3.3 kohm up (guide, P)"}  # fmt: skip


def table(name, expander=False, values=None):
    """Return the wiring table of a board as a list of dictionaries; current sensors with the range that a settings
    record gives them.  Raises InputError for an unknown board."""
    rows = signals.signals(name, expander)
    if values is not None:
        rows = signals.ranged(rows, values)
    return [{"kind": one.kind, "pin": one.pin, "place": one.place, "level": one.level, "wire": one.name, "to": one.to,
             "position": one.position, "class": one.electrical}
            for one in rows]  # fmt: skip


def title(name, expander=False):
    """Return the name of the board."""
    return signals.title(name, expander)


def ground(name):
    """Return the line that says where ground is on a board's header, "" for a board without pins."""
    data = signals.board(name)
    if not data:
        return ""
    supply = ", ".join(f"{what}: {pin}" for what, pin in data["supply"].items())
    return f"Ground on the header: {', '.join(map(str, data['ground']))}; {supply}"


def bus(name):
    """Return the line that says where the expander's bus is on a board's header; a board with pins."""
    data = signals.board(name)
    pins = [f"{line.upper()} GP{data['expander'][line]}, pin {data['header'][str(data['expander'][line])]}"
            for line in ("sda", "scl")]  # fmt: skip
    return f"I2C bus to the expander: {'; '.join(pins)}"


def check(name, values, expander=False):
    """Raise InputError where a settings record asks a board for an input that it lacks, or for more than it reads."""
    rows = table(name, expander)
    words = refusal(list(values), inputs(rows) if rows else None, _reach(name))
    if words:
        raise InputError(words, title(name))


def inputs(rows):
    """Return the inputs among the rows of a table, as the board itself tells them (`duplexsump.station.fitting`)."""
    kinds = ("contact to ground", "0 to 3.3 V")
    return [(row["place"], row["pin"], row["level"] if row["kind"] == kinds[1] else 0) for row in rows
            if row["kind"] in kinds]  # fmt: skip


def _reach(name):
    # Of a board that does not say: what the boards with pins share.
    for source in (name, "wired"):
        for node in ast.walk(ast.parse((FOLDER / f"{source}.py").read_text(encoding="utf-8"))):
            if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "REACH":
                return ast.literal_eval(node.value)
    raise ValueError(f"{name} has no REACH")


def how(row):
    """Return what the pin of a row does, in words."""
    if row["kind"] == "output":
        return f"on at {'3.3 V' if row['level'] else '0 V'}, off at boot"
    if row["kind"] == "0 to 3.3 V":
        unit = {records.IN_LEVEL: "mA", records.IN_BATTERY: "V"}.get(row["place"], "A")
        return f"full scale {row['level'] / 1000:g} {unit}"
    if row["kind"] != "contact to ground":
        return "3.3 V serial"
    return PIN_READS[row["class"]]
