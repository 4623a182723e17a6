"""The guide as one HTML file that needs nothing else, and prints on letter and A4 paper."""

import re
from dataclasses import dataclass
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from host_sim.board import line_file, register_list, signals, wiring_list
from host_sim.guide import assembly, circuits, controller, figures, ladder, parts, words
from host_sim.report import sheet
from host_sim.report.sheet import WIDTH_MM, Cell, Table
from host_sim.report.version import made_by
from host_sim.sizing.report.sources import Sources

CODE = re.compile(r"`([^`]+)`")
TERMINAL = re.compile(r"X\d:\d+")
NAME = "build.html"
SUMMARY = "build.json"
MADE_BY = "sumpbench build"
SIZES = (9.0, 8.5, 8.0, 7.5, 7.25, 7.0)
LONG_SIZES = (8.0, 7.75, 7.5, 7.25, 7.0)
TITLE_MM = 9.0


@dataclass
class Leaf:
    """One sheet of paper: its title, a drawing or none, tables that fit below it."""

    title: str
    drawing: str
    sheet: sheet.Sheet
    note: str = ""


class Words(Cell):
    """A cell with commands in back quotes: bold, and broken at spaces alone, so that they can be copied from paper."""

    def shown(self, longest):
        """Return the text as HTML, commands marked."""
        parts = CODE.split(self.text)
        return Markup("").join(_command(part) if n % 2 else escape(part) for n, part in enumerate(parts))

    def lines(self, width_mm, point, longest):
        """Return the estimated number of lines; a bold letter counts for more than one."""
        wide = CODE.sub(lambda found: re.sub(r"\w{5}", r"\g<0>i", found[1]), self.text)
        return Cell(wide, self.style, True).lines(width_mm, point, longest)


def _command(text):
    words = [Markup('<span class="word">{}</span>').format(word) for word in text.split(" ")]
    return Markup("<code>{}</code>").format(Markup(" ").join(words))


def leaves(site, board, expander, active_low=False):
    """Return (the Leaves of a guide, its Sources).  Raises InputError where a motor is beyond the tables."""
    sources = Sources()
    has_lamp = any(one.electrical == "lamp" and one.pin != "LED" for one in signals.signals(board, expander))
    motors = figures.motors(site)
    found = [
        _leaf("What you may do yourself", [_allowed(sources), _cautions()]),
        Leaf("Schematic 1: contacts", controller.inputs(board, expander).svg(), _below(165.0, [_letters("FP")]),
             "Contacts as they are at rest: floats hanging dry, mains on, motors cool."),
        Leaf("Schematic 2: outputs, measuring, serial, supply", controller.outputs(board, expander).svg(),
             _below(175.0, [_letters("RDCLBS")]), f"{wiring_list.ground(board)}.{_shared(board, expander)}"),
        *_tables("Connections", _connections(board, expander, site)),
        Leaf("Circuits between terminal and pin: contacts and outputs",
             circuits.contacts(has_lamp, active_low).svg(), sheet.Sheet(),
             f"The terminals X1:1{', ' if has_lamp else ' and '}X2:1{' and X2:9' if has_lamp else ''} stand for all of "
             "their kind; the pin of each is on schematics 1 and 2. X3 has its +12 V at X3:+."
             f"{'' if has_lamp else ' D: the light on the board, nothing to wire.'}"),
        Leaf("Circuits between terminal and pin: measuring and serial",
             circuits.measuring(board, expander, motors).svg(), sheet.Sheet(),
             "Two diodes before a pin are its clamp: one to 3.3 V, one from 0 V."
             f"{'' if motors[0].sensor else ' No current sensors: the site file has none; X5:1 and X5:2 stay open.'}"),
        Leaf("Power side: ladder diagram", ladder.drawing(motors).svg(), sheet.Sheet(),
             "Licensed electrician. X closed, O open in the selector's positions HAND, OFF, AUTO. The program stands "
             "between AUTO and the coil only: HAND and OFF work without it. KT only where the motor "
             "brings its thermal contact out; else its contact in the coil circuit is bridged."),
        _leaf("Figures, worked out", [_figures(site, board, sources)]),
        _leaf("Power side: rules", [_rules("Power side", words.POWER, sources), _common(board, expander),
                                     _absent(board, expander)]),
        _leaf("Low voltage and enclosure", [_rules("Low voltage", _low(board, expander), sources),
                                            _rules("Enclosure", words.ENCLOSURE, sources)]),
        *_tables("Parts, by rating", _parts(board, expander, motors, site)),
        *_tables("Order of assembly, a test after each step", _steps(board, expander, active_low)),
        _leaf("Link, labels, sources", [_link(), _labels(), _listed(sources)]),
    ]  # fmt: skip
    return found, sources


def as_html(site, board, expander, active_low=False, when=""):
    """Return the guide for a site (`host_sim.site.plan.Site`), a board and its expander as one HTML text."""
    found, _ = leaves(site, board, expander, active_low)
    folders = [Path(__file__).parent, Path(sheet.__file__).parent]
    environment = Environment(loader=FileSystemLoader(folders), autoescape=True, undefined=StrictUndefined,
                              trim_blocks=True, lstrip_blocks=True)  # fmt: skip
    return environment.get_template("page.html").render(
        title=f"Building guide: {signals.title(board, expander)}", site=site.name, when=when, made_by=made_by(),
        leaves=[(leaf, Markup(leaf.drawing)) for leaf in found], count=len(found),
    )  # fmt: skip


def _shared(board, expander):
    # Two measuring circuits on one pin.
    pins = {one.electrical: one.pin_text for one in signals.signals(board, expander)}
    same = pins["loop"] == pins["battery"]
    return f" Level loop and battery share {pins['loop']}: build one of the two, never both." if same else ""


def _below(top_mm, blocks):
    return sheet.Sheet(top_mm, 0.0, blocks, SIZES)


def _leaf(title, blocks):
    return Leaf(title, "", _below(TITLE_MM, blocks))


def _tables(title, table):
    # One long table over as few sheets as a readable size allows, at the largest of these.
    plans = [_split(table, point) for point in LONG_SIZES]
    least = min(map(len, plans))
    point, pieces = next((point, plan) for point, plan in zip(LONG_SIZES, plans, strict=True) if len(plan) == least)
    return [Leaf(title if not n else f"{title} (continued)", "",
                 sheet.Sheet(TITLE_MM, 0.0, [piece], fitted=(point, sheet.LONGEST[0])))
            for n, piece in enumerate(pieces)]  # fmt: skip


def _split(table, point):
    found, left = [], table
    while left is not None:
        taken, left = left.cut(sheet.HEIGHT_MM - TITLE_MM - 4.0, point, sheet.LONGEST[0])
        found.append(taken)
    return found


def _cells(*texts, bold=0):
    return [Words(text, "name" if i < bold else "", True) for i, text in enumerate(texts)]


def _allowed(sources):
    rows = [_cells(who, f"{what} {sources.tag(source)}", bold=1) for who, what, source in words.ALLOWED]
    return Table((38.0, 148.0), rows, "Who may do what: local code decides")


def _cautions():
    return Table((WIDTH_MM,), [_cells(text) for text in words.CAUTIONS], "Cautions")


def _letters(letters):
    texts = [f"{letter}: {controller.CIRCUIT_WORDS[letter]}" for letter in letters]
    rows = [_cells(*pair) for pair in zip(texts[::2], texts[1::2], strict=True)]
    return Table((93.0, 93.0), rows, "Circuits, drawn on their own sheets")


def _connections(board, expander, site):
    names = ("terminal", "signal", "GPIO", "pin", "way", "circuit", "pull", "at rest", "safe", "to")
    titles = tuple(Cell(text) for text in names)
    rows = []
    ranged = signals.ranged(signals.signals(board, expander), site.settings)
    for one in sorted(ranged, key=lambda one: _place(one.terminal)):
        rows.append(_cells(one.terminal, one.name, one.pin_text, one.position, one.direction,
                           f"{controller.CIRCUITS[one.electrical]}: {one.electrical}", one.pull, one.rest, one.safe,
                           one.to, bold=2))  # fmt: skip
    return Table((15.5, 23.0, 17.0, 11.0, 9.0, 17.5, 17.0, 19.0, 19.0, 38.0), rows, "", titles)


def _place(terminal):
    family, _, number = terminal.partition(":")
    return family, int(number)


def _figures(site, board, sources):
    has_loop = True
    rows = [_cells(what, value, f"{worked} {sources.tag(source)}", bold=1)
            for what, value, worked, source in figures.rows(site, board, has_loop)]  # fmt: skip
    titles = tuple(Cell(text) for text in ("what", "value", "worked out from"))
    return Table((50.0, 42.0, 94.0), rows, f"For: {site.name}", titles)


def _there(board, expander, rows):
    # Rows without those whose terminals this board has none of.
    known = {one.terminal for one in signals.signals(board, expander)}
    for row in rows:
        named = set(TERMINAL.findall(" ".join(row[:2])))
        if not named or named & known:
            yield row


def _absent(board, expander):
    rows = [_cells(*row, bold=1) for row in _there(board, expander, words.ABSENT)]
    return Table((58.0, 128.0), rows, "Where something is not fitted")


def _common(board, expander):
    titles = tuple(Cell(text) for text in ("terminal", "on it", "for"))
    data = signals.board(board)
    bus = [(name, f"GP{gpio}, pin {data['header'][str(gpio)]}", "to expander and converter, inside the enclosure")
           for name, gpio in (("SDA", data["expander"]["sda"]), ("SCL", data["expander"]["scl"]))]  # fmt: skip
    rows = [_cells(*row, bold=1) for row in (*words.COMMON, *(bus if expander else ()))]
    return Table((32.0, 64.0, 90.0), rows, "Terminals without a signal", titles)


def _low(board, expander):
    # The rules that apply to this board.
    bus = words.BUS[: 3 if any(str(one.pin).startswith("AIN") for one in signals.signals(board, expander)) else 2]
    own = [("your board", text, source) for text, source in signals.board(board)["notes"]]
    return [*own, *_there(board, expander, words.LOW), *(bus if expander else ())]


def _rules(heading, rules, sources):
    rows = [_cells(what, f"{text} {sources.tag(source)}", bold=1) for what, text, source in rules]
    return Table((40.0, 146.0), rows, heading)


def _parts(board, expander, motors, site):
    battery = site.supply.battery
    found = parts.parts(board, expander, motors, None if battery is None else battery.capacity_as / 3600.0,
                        site.supply.charger and site.supply.charger.amps)
    titles = tuple(Cell(text) for text in ("count", "part", "rating", "have it"))
    return Table((12.0, 48.0, 108.0, 18.0), [[*_cells(*row), Cell("")] for row in found], "", titles)


def _steps(board, expander, active_low):
    titles = tuple(Cell(text) for text in ("", "do", "test before you go on", "done"))
    rows = [[Cell(str(n), "name"), *_cells(*row), Cell("")]
            for n, row in enumerate(assembly.steps(board, expander, active_low), 1)]  # fmt: skip
    return Table((8.0, 82.0, 82.0, 14.0), rows, "", titles)


def _link():
    values = line_file.defaults()
    rows = [_cells(f"{name}: Modbus {framing}, {baud} baud, {parity} parity ({bits}), address {unit}")
            for name, framing, baud, parity, bits, unit in register_list.ports(values)]  # fmt: skip
    rows += [_cells(text) for text in register_list.LINE_WORDS]
    return Table((WIDTH_MM,), rows, "How the ports speak")


def _labels():
    rows = [_cells(text, bold=1) for text in words.LABELS]
    return Table((WIDTH_MM,), rows, "Labels to print and stick on the enclosure")


def _listed(sources):
    return Table((WIDTH_MM,), [_cells(text) for text in sources.listed()], "Sources")
