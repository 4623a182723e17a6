"""What is wired to this board and no program can find out: the file `hardware` beside the settings, three copies.

    low 63
    expander 1
    sum 89abcdef

`low`: the outputs whose relay is on at 0 V, a bit each in the order of the output
record (pump 1 is 1, pump 2 is 2, horn 4, beacon 8, alarm relay 16, service relay 32,
light 64).  `expander`: 1 where the I2C expander is fitted.  A pump that runs because a
file is damaged would be worse than a few bytes more, so the first sound copy of
`hardware.a`, `.b`, `.c` holds; where there is none, no output is on at 0 V and there is
no expander.  The last resort reads the same (`station/minimal.py`).
"""

import binascii

from ..control.records import const

COPIES = "abc"
_LONGEST = const(200)
_MOST_LOW = const(127)


def read(folder: str = "/pit") -> tuple[int, int]:
    """Return (low, expander) of the first sound copy in `folder`."""
    for copy in COPIES:
        try:
            with open(folder + "/hardware." + copy, "rb") as file:
                return parse(file.read(_LONGEST))
        except Exception:  # not there, or damaged
            pass
    return 0, 0


def parse(data: bytes) -> tuple[int, int]:
    """Return (low, expander) of a copy's bytes.  Raises ValueError for a damaged one, or one of another kind."""
    end = data.rfind(b"sum ")
    if end < 0 or int(data[end + 4 :], 16) != binascii.crc32(data[:end]):
        raise ValueError("damaged")
    values = {}
    for line in data[:end].decode().split("\n"):
        name, _, number = line.partition(" ")
        if name:
            values[name] = int(number)
    low, expander = values["low"], values["expander"]
    if not 0 <= low <= _MOST_LOW or not 0 <= expander <= 1:
        raise ValueError("out of range")
    return low, expander
