"""The firmware's checksum: CRC-32 over every file of it, names in order."""

import binascii
import os

from ..control.ticks import const

_CHUNK = const(512)
_FOLDER = const(0x4000)


def _files(folder: str) -> list[str]:
    # Paths of all Python files below a folder, in order.
    found = []
    for name in sorted(os.listdir(folder)):
        path = folder + "/" + name
        if os.stat(path)[0] & _FOLDER:
            found.extend(_files(path))
        elif name.endswith(".py") or name.endswith(".mpy"):
            found.append(path)
    return found


def firmware_checksum(folder: str) -> int:
    """Return the CRC-32 over the Python files below `folder`: each its name within the folder, then its bytes."""
    buffer = bytearray(_CHUNK)
    view = memoryview(buffer)
    crc = 0
    for path in _files(folder):
        crc = binascii.crc32(path[len(folder) :].encode(), crc)
        with open(path, "rb") as file:
            while True:
                n = file.readinto(buffer)
                if not n:
                    break
                crc = binascii.crc32(view[:n], crc)
    return crc
