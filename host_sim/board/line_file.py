"""The file `line` on a board: how its ports speak, and when each may write (`duplexsump.station.line`).

It is written in maintenance (M6), through MicroPython's own prompt: on a running controller no message changes how
its ports speak.
"""

import tempfile
from pathlib import Path

from duplexsump.station.line import BAUDS, FRAMINGS, PARITIES, WRITES, Line

from host_sim.board.deploy import RESET, Repl, enter, wait_running
from host_sim.errors import InputError

ROWS = ("baud", "parity", "unit", "framing", "usb", "rs485")
READ = """
try:
    with open('/pit/line') as file:
        print((1, file.read(500)))
except OSError:
    print((1, ''))
"""
# Beside the old one first: a power cut leaves the one or the other.
WRITE = """
import os
with open('/pit/line.new', 'w') as file:
    file.write({text!r})
os.rename('/pit/line.new', '/pit/line')
print((2, 'written'))
"""
UNDO = "to undo this at the board: make the test jumper, cut the power and give it back; the file is then left aside"


def read(text):
    """Return ({name: value as a word}, what was not understood) of a line file's text, defaults filled in."""
    with tempfile.TemporaryDirectory(prefix="sumpbench-line-") as folder:
        (Path(folder) / "line").write_text(text, encoding="utf-8")
        line = Line(folder)
    values = (line.baud, PARITIES[line.parity], line.unit, FRAMINGS[line.framing], WRITES[line.usb],
              WRITES[line.rs485])  # fmt: skip
    return dict(zip(ROWS, map(str, values), strict=True)), line.notes


def changed(text, wanted):
    """Return the text of a line file with {name: word} of `wanted` put over it.

    Raises InputError for a value that no board takes.
    """
    values, _ = read(text)
    text = "".join(f"{name} {value}\n" for name, value in {**values, **wanted}.items())
    _, notes = read(text)
    if notes:
        allowed = f"baud {', '.join(map(str, BAUDS))}; parity {', '.join(PARITIES)}; unit 1 to 247; "
        allowed += f"framing {', '.join(FRAMINGS)}; {', '.join(WRITES)}"
        refused = [name for name, value in wanted.items() if read(f"{name} {value}\n")[1]]
        raise InputError(f"{', '.join(f'{name} {wanted[name]}' for name in refused)}: there are {allowed}", "line")
    return text


def put(port, wanted, unit=1, say=print):
    """Put {name: word} into force on the board at `port`, whose unit is now `unit`; return (before, after).

    The pumps stop for the maintenance and the board resets.  Raises InputError.
    """
    changed("", wanted)
    before = enter(port, say, unit=unit)
    repl = Repl(port)
    repl.wait()
    old = repl.lines(READ)[0][1]
    text = changed(old, wanted)
    if not repl.lines(WRITE.format(text=text)):
        raise InputError("the file could not be written, the old one holds", port)
    repl.call("exec", "--no-follow", RESET)
    after = read(text)[0]
    if before is not None:
        wait_running(port, before["firmware"], say, int(after["unit"]))
    return read(old)[0], after


def defaults():
    """Return {name: value as a word} of a board without a line file."""
    return read("")[0]
