"""The settings store: two slots, each a text file sealed by a checksum; the newer sound one holds.

    settings 12
    debounce 1000
    ...
    sum 89abcdef

A set is written into the slot that is not in use, so the set before is whole
whatever happens.  Settings go by name: a firmware that knows more or fewer of
them reads what it knows and takes the default for the rest.
"""

import binascii

from ..control import settings as s
from ..control.ticks import const
from .fitting import refusal

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Board

SLOTS = ("a", "b")
LONGEST = const(4096)  # bytes of a slot; what is longer is none, and would not find room in the heap
DEFAULTS = const(-1)  # `slot` while no slot is sound


class Store:
    """Settings in `folder`.  `values` is the set in force, `slot` where it came from, `notes` what was amiss.

    What `board` cannot read is refused; a slot that asks for it was written before and holds all the same.
    """

    def __init__(self, folder: str, board: "Board | None" = None) -> None:
        self.folder = folder
        self.board = board
        self.values = s.defaults()
        self.slot = DEFAULTS
        self.sequence = 0
        self.notes = []

    def _path(self, slot: int) -> str:
        return self.folder + "/settings." + SLOTS[slot]

    def load(self) -> list[int]:
        """Take the newest sound slot, the defaults if there is none; return the values."""
        for slot in range(2):
            try:
                with open(self._path(slot), "rb") as file:
                    data = file.read(LONGEST)
            except OSError:
                continue
            self._consider(slot, data)
        if self.slot == DEFAULTS:
            self.notes.append("no sound settings slot: the defaults hold")
        elif self._unfit(self.values):
            self.notes.append(self._unfit(self.values))
        return self.values

    def _unfit(self, values: list[int]) -> str:
        return refusal(values, self.board.inputs(), self.board.REACH) if self.board is not None else ""

    def _consider(self, slot: int, data: bytes) -> None:
        try:
            sequence, values, unknown = parse(data)
            refusals = s.check(values)
            if refusals:
                raise ValueError(refusals[0])
        except ValueError as error:
            self.notes.append("settings slot %s: %s" % (SLOTS[slot], error))
            return
        for name in unknown:
            self.notes.append("settings slot %s: %s is no setting of this firmware" % (SLOTS[slot], name))
        if self.slot == DEFAULTS or sequence > self.sequence:
            self.slot = slot
            self.sequence = sequence
            self.values = values

    def save(self, values: list[int]) -> None:
        """Check a set and write it into the other slot; raises ValueError with the first refusal, or OSError."""
        refusals = s.check(values)
        if refusals:
            raise ValueError(refusals[0])
        if self._unfit(values):
            raise ValueError(self._unfit(values))
        slot = 1 if self.slot == 0 else 0
        with open(self._path(slot), "wb") as file:
            file.write(text_of(self.sequence + 1, values))
        self.slot = slot
        self.sequence += 1
        self.values = list(values)


def text_of(sequence: int, values: list[int]) -> bytes:
    """Return a settings set as the bytes of a slot."""
    lines = ["settings %d" % sequence]
    for i in range(s.N_SETTINGS):
        lines.append("%s %d" % (s.TABLE[i][s.NAME], values[i]))
    body = ("\n".join(lines) + "\n").encode()
    return body + ("sum %08x\n" % binascii.crc32(body)).encode()


def parse(data: bytes) -> tuple[int, list[int], list[str]]:
    """Return (sequence, values, unknown names) of a slot's bytes.  Raises ValueError for a damaged one."""
    end = data.rfind(b"sum ")
    if end < 0 or data[end + 4 :] != ("%08x\n" % binascii.crc32(data[:end])).encode():
        raise ValueError("damaged, its checksum does not hold")
    lines = data[:end].decode().split("\n")
    head = lines[0].split(" ")
    if len(head) != 2 or head[0] != "settings":
        raise ValueError("not a settings slot")
    values = s.defaults()
    unknown = []
    for line in lines[1:]:
        if not line:
            continue
        name, number = line.split(" ")
        try:
            values[s.index(name)] = int(number)
        except ValueError:
            unknown.append(name)
    return int(head[1]), values, unknown
