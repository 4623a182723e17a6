"""The firmware's checksum, by which it is known everywhere: CRC-32 over its sources, names in order.

Where the sources themselves lie, they are summed up.  A build of compiled
files brings a file BUILT_FROM: the sum of the sources that it was built from,
and the sum of the compiled files.  The first holds only while the second does:
a build in which a file was exchanged tells the sum of its own files, which is
no source's.
"""

import binascii
import os

from ..control.ticks import const

BUILT_FROM = "built_from"
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


def files_checksum(folder: str) -> int:
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


def firmware_checksum(folder: str) -> int:
    """Return the CRC-32 of the sources that the firmware in `folder` is, or was built from."""
    crc = files_checksum(folder)
    try:
        with open(folder + "/" + BUILT_FROM) as file:
            sources, built = file.read().split()
        return int(sources, 16) if int(built, 16) == crc else crc
    except (OSError, ValueError):
        return crc
