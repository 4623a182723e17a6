"""The register map as a document, from the tables that the board itself answers from."""

import csv
import io

from duplexsump.control import alarm_table
from duplexsump.control import settings as s
from duplexsump.station import registers as r
from duplexsump.station.line import BAUDS, PARITIES

from host_sim.board import line_file

COLUMNS = ("space", "address", "words", "name", "unit", "access", "meaning")
SPACES = {
    "coil": "function codes 1, 5, 15",
    "discrete input": "function code 2",
    "input register": "function code 4",
    "holding register": "function codes 3, 6, 16",
}


# What a person who connects a client needs to know besides the map.
LINE_WORDS = (
    "These are the defaults. `sumpbench line` changes baud, parity, address and framing of RS-485 and which port may "
    "write; the change holds from the next reset on.",
    "Nobody is locked out: at a power-up with the test jumper made the defaults hold, and both ports may write while "
    "it is made.",
    f"Baud rates: {', '.join(map(str, BAUDS))}. Parity: {', '.join(PARITIES)}; even is the default of Modbus over "
    "Serial Line V1.02, 2.5.1; without parity a character has two stop bits.",
    "Which outputs are on at 0 V (active-low relay modules) is no register: `sumpbench hardware --active-low`.",
)


def ports(values=None):
    """Return a row for each port: name, framing, baud, parity, bits of a character, address, as texts.

    `values`: {name: word} of a board's line file, the defaults where None.
    """
    found = values or line_file.defaults()
    bits = {"even": "8, even, 1 stop", "odd": "8, odd, 1 stop", "none": "8, none, 2 stop"}[found["parity"]]
    return [("USB serial", "ASCII", "any", "any", "as USB carries them", found["unit"]),
            ("RS-485", found["framing"].upper(), found["baud"], found["parity"], bits, found["unit"])]  # fmt: skip


def rows():
    """Return the whole map as a list of tuples after COLUMNS; addresses count from 0."""
    return [*_coils(), *_bits(), *_inputs(), *_holdings()]


def _coils():
    for i, (name, meaning) in enumerate(r.COMMANDS):
        yield "coil", i, 1, name, "", "write", meaning + "; write 1 to act, reads 0"
    for i, name in enumerate(r.FORCES):
        yield ("coil", r.FORCE_MASK_AT + i, 1, f"force_{name}", "", "read, write",
               "1: the input is forced; needs the test jumper, lapses unless one of these coils is written again")
    for i, name in enumerate(r.FORCES):
        yield "coil", r.FORCE_VALUE_AT + i, 1, f"force_{name}_to", "", "read, write", "the value it is forced to"


def _bits():
    at = 0
    for name, width, meaning, _ in r.BIT_ROWS:
        yield "discrete input", at, width, name, "", "read", meaning
        at += width
    for begin, word in ((r.ALARMS_ACTIVE_AT, "active"), (r.ALARMS_STANDING_AT, "standing")):
        meaning = "its condition holds" if word == "active" else "active, or not yet acknowledged, or latched"
        for i, row in enumerate(alarm_table.TABLE):
            yield "discrete input", begin + i, 1, f"{word}_{row[alarm_table.NAME]}", "", "read", meaning


def _inputs():
    at = 0
    for name, unit, width, meaning, _ in r.WORD_ROWS:
        yield "input register", at, width, name, unit, "read", meaning
        at += width
    for i, row in enumerate(alarm_table.TABLE):
        meaning = "0 normal, 1 unacknowledged, 2 acknowledged, 3 returned, 4 latched, 5 latched and acknowledged"
        yield "input register", r.ALARM_STATES_AT + i, 1, f"alarm_{row[alarm_table.NAME]}", "", "read", meaning
    text = "text, two characters a word, ends with 0"
    yield "input register", r.TEXT_AT, r.REFUSAL_WORDS, "refusal", "", "read", f"why the last write was refused: {text}"
    yield "input register", r.REASON_AT, r.REASON_WORDS, "reason", "", "read", f"why the controller last failed: {text}"
    yield "input register", r.WINDOW_HEAD_AT, 2, "window_segment", "", "read", "journal segment that the window shows"
    yield "input register", r.WINDOW_HEAD_AT + 2, 2, "window_offset", "", "read", "its first byte in the segment"
    yield "input register", r.WINDOW_HEAD_AT + 4, 1, "window_bytes", "", "read", "valid bytes; under 240: the end"
    yield "input register", r.WINDOW_DATA_AT, r.WINDOW_WORDS, "window", "", "read", "240 bytes of the journal"


def _holdings():
    for i, row in enumerate(s.TABLE):
        meaning = f"{row[s.LEAST]} to {row[s.MOST]}, default {row[s.DEFAULT]}: {row[s.MEANING]}; staged until committed"
        yield "holding register", 2 * i, 2, row[s.NAME], row[s.UNIT], "read, write", meaning
    for at, width, name, meaning in r.CONTROL_ROWS:
        access = "read, write" if width == 2 else "write"
        yield "holding register", at, width, name, "", access, meaning


def as_csv():
    """Return the map as CSV with a header line."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(rows())
    return out.getvalue()


def as_markdown():
    """Return the map as Markdown, one table for each address space."""
    lines = [
        "# Register map",
        "",
        f"Version {r.MAP_VERSION}.  Addresses count from 0 as on the wire; two-word values have the high word first; "
        "a row of several bits takes consecutive addresses.",
        "",
        "## How the ports speak",
        "",
        *(f"- {name}: Modbus {framing}, {baud} baud, {parity} parity ({bits}), address {unit}"
          for name, framing, baud, parity, bits, unit in ports()),
        *(f"- {line}" for line in LINE_WORDS),
        "",
    ]  # fmt: skip
    found = rows()
    for space, codes in SPACES.items():
        width = "words" if "register" in space else "bits"
        lines += [f"## {space.capitalize()}s ({codes})", ""]
        lines += [f"| address | {width} | name | unit | access | meaning |", "| --- | --- | --- | --- | --- | --- |"]
        for row in found:
            if row[0] == space:
                lines.append("| " + " | ".join(str(cell) for cell in row[1:]) + " |")
        lines.append("")
    return "\n".join(lines)
