"""The file `hardware` on a board: which outputs are on at 0 V, and whether the I2C expander is fitted.

Three copies lie beside the settings (`duplexsump.boards.hardware`).  They are
written in maintenance or by a deployment, before the board starts, and hold from
the next reset on.  The test jumper does not set them aside: that would start pumps.
"""

import binascii

from duplexsump.boards.hardware import parse
from duplexsump.control.records import OUT_LIGHT, OUTPUT_NAMES

from host_sim.board.deploy import RESET, Repl, enter, wait_running
from host_sim.errors import InputError

OUTPUTS = OUTPUT_NAMES[: OUT_LIGHT + 1]
RELAYS = OUTPUTS[:OUT_LIGHT]  # what "all" means: the relay module's channels, not the light
READ = """
for copy in 'abc':
    try:
        with open('/pit/hardware.' + copy, 'rb') as file:
            print((copy, file.read(200)))
    except OSError:
        pass
"""
# Each beside the old one first, one copy after another: a power cut leaves sound ones, all old or the first new.
WRITE = """
import os
for copy in 'abc':
    with open('/pit/hardware.new', 'wb') as file:
        file.write({data!r})
    os.rename('/pit/hardware.new', '/pit/hardware.' + copy)
print((3, 'written'))
"""
CAUTION = (
    "A wrong answer energizes every relay at the next start: unplug both pumps and the horn before this takes effect, "
    "and watch the relay module's lamps when the board comes back: at rest only the alarm and service relays are on."
)


def text(low, expander):
    """Return the bytes of a copy for a mask of outputs and whether the expander is fitted."""
    body = f"low {low}\nexpander {int(expander)}\n".encode()
    return body + f"sum {binascii.crc32(body):08x}\n".encode()


def mask(words):
    """Return the mask of outputs that a text names: "all" relays, "none", or names parted by commas.

    Raises InputError.
    """
    if words == "none":
        return 0
    names = RELAYS if words == "all" else tuple(word.strip() for word in words.split(",") if word.strip())
    wrong = [name for name in names if name not in OUTPUTS]
    if wrong or not names:
        raise InputError(f'"{words}": all, none, or of {", ".join(OUTPUTS)}, parted by commas', "active-low")
    return sum(1 << OUTPUTS.index(name) for name in set(names))


def shown(low, expander):
    """Return what a board's hardware file says, in words."""
    names = [name for i, name in enumerate(OUTPUTS) if low >> i & 1]
    which = "none" if not names else "all relays" if names == list(RELAYS) else ", ".join(names)
    return f"active-low outputs: {which}; I2C expander: {'yes' if expander else 'no'}"


def there(repl):
    """Return (mask, expander) of a board at its prompt, as it would read them itself."""
    for _, data in repl.lines(READ):
        try:
            return parse(data)
        except ValueError:
            continue
    return 0, 0


def write(repl, low, expander):
    """Write all copies on a board at its prompt.  Raises InputError."""
    if not repl.lines(WRITE.format(data=text(low, expander))):
        raise InputError("the file could not be written, the old one holds", repl.port)


def merge(repl, low, expander):
    """Write what is given over what a board at its prompt has, None for as it is; return (before, after)."""
    old = there(repl)
    new = (old[0] if low is None else low, old[1] if expander is None else int(expander))
    if new != old:
        write(repl, *new)
    return old, new


def put(port, low=None, expander=None, unit=1, say=print):
    """Put a mask of active-low outputs and the expander, None for as it is, into force at `port`.

    Returns ((mask, expander) before, (mask, expander) after).  The pumps stop for
    the maintenance and the board resets.  Raises InputError.
    """
    before = enter(port, say, unit=unit)
    repl = Repl(port)
    repl.wait()
    old, new = merge(repl, low, expander)
    repl.call("exec", "--no-follow", RESET)
    if before is not None:
        wait_running(port, before["firmware"], say, unit)
    return old, new
