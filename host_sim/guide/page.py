"""The guide as one HTML file that needs nothing else, and prints on letter and A4 paper."""

import re
from dataclasses import dataclass
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from host_sim.board import line_file, register_list, signals, wiring_list
from host_sim.guide import assembly, circuits, controller, figures, ladder, parts, places, words
from host_sim.guide.subject import Subject
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


def leaves(subject):
    """Return (the Leaves of a guide for a `subject.Subject`, its Sources).

    Raises InputError where a motor is beyond the tables.
    """
    sources = Sources()
    has_lamp, poles = subject.has_lamp, any(one.two_poles for one in subject.motors)
    found = [
        _leaf("What you may do yourself", [_allowed(sources), _cautions()]),
        Leaf("Schematic 1: contacts", controller.inputs(subject).svg(), _below(165.0, [_letters("FP")]),
             "Contacts as they are at rest: floats hanging dry, mains on, motors cool."
             f"{_not_built(subject, 'contact')}"),
        Leaf("Schematic 2: outputs, measuring, serial, supply", controller.outputs(subject).svg(),
             _below(172.0, [_letters("RDCLBS"), _common(subject)]), f"{wiring_list.ground(subject.board)}."),
        *_tables("Connections", _connections(subject)),
        Leaf("Circuits between terminal and pin: contacts and outputs",
             circuits.contacts(has_lamp, subject.active_low, [f"X1:{4 + n}" for n in subject.kept_cool]).svg(),
             sheet.Sheet(),
             f"The terminals X1:1{', ' if has_lamp else ' and '}X2:1{' and X2:8' if has_lamp else ''} stand for all of "
             "their kind; the pin of each is on schematics 1 and 2. X3 has its +12 V at X3:+."
             f"{'' if has_lamp else ' D: the light on the board, nothing to wire.'}"),
        Leaf("Circuits between terminal and pin: measuring and serial",
             circuits.measuring(subject).svg(), sheet.Sheet(),
             f"Two diodes before a pin are its clamp: one to 3.3 V, one from 0 V.{_not_built(subject, '0 to 3.3 V')}"),
        Leaf("Power side: ladder diagram", ladder.drawing(subject).svg(), sheet.Sheet(),
             f"{words.LADDER}{words.TWO_POLES if poles else ''}"),
        _leaf("Figures, worked out", [_figures(subject, sources)]),
        _leaf("Power side: rules", [_rules("Power side", words.POWER, sources), _absent(subject)]),
        _leaf("Low voltage and enclosure", [_rules("Low voltage", _low(subject), sources),
                                            _rules("Enclosure", words.ENCLOSURE, sources)]),
        _leaf("What sits where", [_places(subject), _labels()]),
        *_tables("Parts, by rating", _parts(subject)),
        *_tables("Order of assembly, a test after each step", _steps(subject)),
        _leaf("Link, sources", [_link(), _listed(sources)]),
    ]  # fmt: skip
    return found, sources


def as_html(site, board, expander, active_low=False, when="", thermal=(), sized=""):
    """Return the guide for a site (`host_sim.site.plan.Site`), a board and its expander as one HTML text.

    `thermal`: numbers of the pumps whose motor brings its thermal contact out; `sized`: its sizing's verdict on the
    site, "" for none.
    """
    found, _ = leaves(Subject(site, board, expander, active_low, tuple(thermal)))
    folders = [Path(__file__).parent, Path(sheet.__file__).parent]
    environment = Environment(loader=FileSystemLoader(folders), autoescape=True, undefined=StrictUndefined,
                              trim_blocks=True, lstrip_blocks=True)  # fmt: skip
    return environment.get_template("page.html").render(
        title=f"Building guide: {signals.title(board, expander)}", site=site.name, when=when, sized=sized,
        made_by=made_by(),
        leaves=[(leaf, Markup(leaf.drawing)) for leaf in found], count=len(found),
    )  # fmt: skip


def _not_built(subject, kind):
    # What the site file leaves out, of contacts or of measuring inputs.
    left = [one for one in subject.rows if one.name in subject.absent and one.kind.startswith(kind)]
    said = "; ".join(f"{one.name}, {one.terminal} ({subject.absent[one.name]})" for one in left)
    return f" Not built, by the site file, its terminal left open: {said}." if said else ""


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


def _connections(subject):
    names = ("terminal", "signal", "GPIO", "pin", "way", "circuit", "pull", "at rest", "safe", "to")
    titles = tuple(Cell(text) for text in names)
    rows = []
    for one in sorted(subject.rows, key=lambda one: _place(one.terminal)):
        why = subject.absent.get(one.name)
        rows.append(_cells(one.terminal, one.name, one.pin_text, one.position, one.direction,
                           f"{controller.CIRCUITS[one.electrical]}: {one.electrical}", one.pull, one.rest, one.safe,
                           f"leave open: {why}" if why else one.to, bold=2))  # fmt: skip
    return Table((15.5, 23.0, 17.0, 11.0, 9.0, 17.5, 17.0, 19.0, 19.0, 38.0), rows, "", titles)


def _place(terminal):
    family, _, number = terminal.partition(":")
    return family, int(number)


def _figures(subject, sources):
    rows = [_cells(what, value, f"{worked} {sources.tag(source)}", bold=1)
            for what, value, worked, source in figures.rows(subject)]  # fmt: skip
    titles = tuple(Cell(text) for text in ("what", "value", "worked out from"))
    return Table((50.0, 42.0, 94.0), rows, f"For: {subject.site.name}", titles)


def _there(subject, rows):
    # Rows without those whose terminals this board has none of.
    known = {one.terminal for one in subject.rows}
    for row in rows:
        named = set(TERMINAL.findall(" ".join(row[:2])))
        if not named or named & known:
            yield row


def _absent(subject):
    rows = [_cells(*row, bold=1) for row in _there(subject, words.ABSENT)]
    return Table((58.0, 128.0), rows, "Where something is not fitted")


def _common(subject):
    titles = tuple(Cell(text) for text in ("terminal", "on it", "for"))
    data = signals.board(subject.board)
    chips = "expander and converter" if subject.has_converter else "the expander"
    bus = [(name, f"GP{gpio}, pin {data['header'][str(gpio)]}", f"to {chips}, inside the enclosure, 4.7 kohm to 3.3 V")
           for name, gpio in (("SDA", data["expander"]["sda"]), ("SCL", data["expander"]["scl"]))]  # fmt: skip
    rows = [_cells(*row, bold=1) for row in (*words.COMMON, *(bus if subject.expander else ()))]
    return Table((32.0, 54.0, 100.0), rows, "Terminals without a signal", titles)


def _low(subject):
    # The rules that apply to this board.
    bus = words.BUS[: 3 if subject.has_converter else 2]
    own = [("your board", text, source) for text, source in signals.board(subject.board)["notes"]]
    return [*own, *_there(subject, words.LOW), *(bus if subject.expander else ())]


def _places(subject):
    rows = [_cells(*row, bold=1) for row in places.rows(subject)]
    return Table((58.0, 128.0), rows, "Each part in its enclosure")


def _rules(heading, rules, sources):
    rows = [_cells(what, f"{text} {sources.tag(source)}", bold=1) for what, text, source in rules]
    return Table((40.0, 146.0), rows, heading)


def _parts(subject):
    titles = tuple(Cell(text) for text in ("count", "part", "rating", "have it"))
    return Table((12.0, 48.0, 108.0, 18.0), [[*_cells(*row), Cell("")] for row in parts.parts(subject)], "", titles)


def _steps(subject):
    titles = tuple(Cell(text) for text in ("", "do", "test before you go on", "done"))
    rows = [[Cell(str(n), "name"), *_cells(*row), Cell("")] for n, row in enumerate(assembly.steps(subject), 1)]
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
