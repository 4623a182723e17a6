"""The schematic of a board: every signal of its table once, from the thing in the pit to the pin."""

from host_sim.board import signals
from host_sim.guide import fuses
from host_sim.guide.circuits import fed
from host_sim.guide.drawing import Drawing

PITCH = 0.62
CIRCUITS = {"field contact": "F", "panel contact": "P", "relay": "R", "lamp": "D", "current": "C", "loop": "L",
            "battery": "B", "serial": "S"}  # fmt: skip
CIRCUIT_WORDS = {
    "F": "field contact, isolated", "P": "panel contact", "R": "relay drive", "D": "lamp drive", "C": "current sensor",
    "L": "level loop", "B": "battery divider", "S": "serial transceiver",
}  # fmt: skip


def inputs(subject):
    """Return the drawing of all contacts of a `subject.Subject`, from switch to pin."""
    board = subject.board
    rows = [one for one in subject.rows if one.kind == signals.CONTACT]
    own = [one for one in rows if one.on_board]
    other = [one for one in rows if not one.on_board]
    d = Drawing("schematic 1, contacts")
    y = _group(d, own, 0.0, signals.title(board), board)
    if other:
        y = _group(d, other, y - 1.0, "16-bit I2C expander at 0x20", board)
        _bus(d, board, y)
    return d


def _group(d, rows, top, title, board):
    # Rows of one chip, its box at the right; returns the y below the last.
    fields = [one for one in rows if CIRCUITS[one.electrical] == "F"]
    panels = [one for one in rows if CIRCUITS[one.electrical] == "P"]
    y, places = top, []
    for part, common in ((fields, "+12 V field"), (panels, "0 V")):
        if not part:
            continue
        at = " and ".join(sorted({f"{one.terminal.split(':')[0]}:{'+' if part is fields else '0'}" for one in part}))
        d.text((4.1, y), f"{common}, {at}", 7.5, "center")
        y -= PITCH
        first = y
        for one in part:
            _contact_row(d, one, y)
            places.append((one, y))
            y -= PITCH
        d.line((4.1, first + 0.3), (4.1, y + PITCH))
    top_y, low_y = top + 0.1, y + PITCH - (1.1 if any(one.on_board for one in rows) else 0.4)
    d.rect((13.2, low_y), (17.6, top_y))
    d.text((15.4, top_y - 0.3), title, 7.5, "center")
    for one, at in places:
        d.text((13.35, at), one.pin_text, 8.0)
    if any(one.on_board for one in rows):
        d.text((17.45, low_y + 0.55), "GND: pins", 7.0, "right")
        d.text((17.45, low_y + 0.22), ", ".join(map(str, signals.board(board)["ground"])), 7.0, "right")
    return low_y


def _contact_row(d, one, y):
    d.text((3.8, y), one.name, 8.0, "right")
    d.line((4.1, y), (4.6, y))
    d.dot((4.1, y))
    closed = one.rest.startswith("closed")
    if one.name in ("silence", "reset"):
        symbol = d.e.Button()
    else:
        symbol = d.e.Switch(nc=True) if closed else d.e.Switch()
    d.between(symbol, (4.6, y), (6.1, y))
    d.line((6.1, y), (6.9, y))
    d.terminal((7.0, y))
    d.text((7.05, y + 0.22), one.terminal, 7.0, "center")
    d.line((7.1, y), (8.6, y))
    d.rect((8.6, y - 0.2), (9.4, y + 0.2), CIRCUITS[one.electrical], 8.0)
    d.line((9.4, y), (13.2, y))
    if one.position:
        d.text((12.4, y + 0.16), f"pin {one.position}", 7.0, "center")


def _bus(d, board, y):
    data = signals.board(board)
    bus, header = data["expander"], data["header"]
    y -= 0.5
    for name, gpio in (("SDA", bus["sda"]), ("SCL", bus["scl"])):
        d.text((8.6, y), f"{name}: expander to controller GP{gpio}, pin {header[str(gpio)]}; 4.7 kohm to 3.3 V", 8.0)
        y -= 0.4


def outputs(subject):
    """Return the drawing of outputs, measuring, serial and supply of a `subject.Subject`."""
    rows = [one for one in subject.rows if one.kind != signals.CONTACT]
    out = [one for one in rows if one.kind == signals.OUTPUT]
    measured = [one for one in rows if one.kind == signals.ANALOG]
    serial = [one for one in rows if one.kind == signals.SERIAL]
    d = Drawing("schematic 2, outputs, measuring, serial, supply")
    y = -0.9
    for part in (out, measured, serial):
        for one in part:
            _right_row(d, one, y, subject)
            y -= PITCH + 0.1
        y -= 0.35
    low = y + 0.3
    d.rect((0, low), (4.4, 0.1))
    d.text((2.2, -0.25), signals.title(subject.board), 8.0, "center")
    _supply(d, subject, low - 0.7)
    return d


def _right_row(d, one, y, subject):
    own = one.on_board
    words = one.pin_text
    d.text((4.25 if own else 4.55, y), words, 8.0, "right") if own else None
    start = 4.4
    if not own:
        # The converter's channel lies outside the controller's box.
        d.rect((5.0, y - 0.22), (7.4, y + 0.22), words, 7.5)
        data = signals.board(subject.board)
        pins = ", ".join(str(data["header"][str(data["expander"][name])]) for name in ("sda", "scl"))
        d.text((4.25, y), f"SDA, SCL: pins {pins}", 7.5, "right")
        d.line((4.4, y), (5.0, y))
        start = 7.4
    d.line((start, y), (8.2, y))
    if one.position:
        d.text((5.9, y + 0.17), f"pin {one.position}", 7.0, "center")
    d.rect((8.2, y - 0.22), (9.0, y + 0.22), CIRCUITS[one.electrical], 8.0)
    d.line((9.0, y), (11.2, y))
    d.terminal((11.3, y))
    d.text((11.3, y + 0.24), one.terminal, 7.0, "center")
    d.text((11.7, y), one.name, 8.0)
    if one.name in subject.absent:
        d.text((13.7, y), f"not built: {subject.absent[one.name]}", 7.5)
    elif one.electrical == "relay":
        d.text((15.0, y), f"to relay K{one.terminal.split(':')[1]}", 7.5)
    elif one.pin == "LED":
        d.text((15.0, y), "on the board: no wire", 7.5)


def _supply(d, subject, y):
    pins = signals.board(subject.board)["supply"]
    d.text((0, y - 0.42), "battery -: X7:0", 7.5)
    fed(d, y, "battery +", ((1.5, 2.1, 3.5), 0.45, f"FB {fuses.amps('FB')}, at the post"), (4.4, "X7:+"), 5.4)
    d.dot((5.0, y))
    low = y - 1.3
    fed(d, low, "charger +", ((1.5, 2.1, 3.5), 0.45, f"FG {subject.charger_fuse_a:g} A, at the post"), None, 3.8)
    d.text((0, low - 0.65), "charger -: to the minus post", 7.5)
    d.rect((5.4, y - 0.3), (8.4, y + 0.3), "12 V to 5 V, 3 A", 7.5)
    d.line((8.4, y), (8.9, y))
    d.dot((8.9, y))
    d.line((8.9, y), (8.9, y + 0.55), (9.6, y + 0.55))
    d.text((9.8, y + 0.55), f"5 V: relay coils, X4:+{'; Hall sensors, by FH to X5:5' if subject.hall else ''}", 8.0)
    d.between(d.e.Schottky(), (8.9, y), (10.6, y))
    d.text((10.8, y), f"board pin {pins['5 V in']}; {subject.usb_words}", 8.0)
    y2 = y - 1.1
    d.line((5.0, y), (5.0, y2), (5.4, y2))
    d.rect((5.4, y2 - 0.3), (8.4, y2 + 0.3), "12 V isolated, 0.2 A", 7.5)
    d.line((8.4, y2), (9.6, y2))
    d.text((9.8, y2), "+12 V field, by FF to X1:+ and X3:+; 0 V field to no terminal", 8.0)
    y3 = y2 - 1.0
    if subject.has("level loop"):
        d.line((5.0, y2), (5.0, y3), (5.4, y3))
        d.dot((5.0, y2))
        d.rect((5.4, y3 - 0.3), (8.4, y3 + 0.3), "12 V to 24 V, 0.1 A", 7.5)
        d.line((8.4, y3), (9.6, y3))
        d.text((9.8, y3), "+24 V loop, by FL to X5:+", 8.0)
    chips = ", expander, converter" if subject.has_converter else ", expander" if subject.expander else ""
    d.text((5.4, y3 - 0.8), f"3.3 V for pull-ups, relay inputs (X4:7), amplifiers, transceiver{chips}: board pin "
           f"{pins['3.3 V out']}", 7.5)  # fmt: skip
