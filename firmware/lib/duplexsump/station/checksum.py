"""What is installed: the firmware's checksum, by which it is known everywhere, and whether every file is whole.

The checksum is the CRC-32 over the sources, names in order.  Where the sources
themselves lie, they are summed up.  A build of compiled files brings a file
BUILT_FROM: the sum of the sources that it was built from, and the sum of the
compiled files.  The first holds only while the second does: a build in which a
file was exchanged tells the sum of its own files, which is no source's.

A deployment also leaves a MANIFEST: a line for each file, its CRC-32 and its
name, sealed by a last line `sum` as a settings slot is.  Names begin with `/`
below the folder, with `//` at the root.  This module imports nothing of the
firmware, so that it can be asked before anything else is trusted.
"""

import binascii
import os

BUILT_FROM = "built_from"
MANIFEST = "manifest"
# A pit does without these, so damage to them is told and no more.
SPARE = ("/station/minimal", "/station/checksum", "//boot", "//main")


def _files(folder: str) -> list[str]:
    # Paths of all Python files below a folder, in order.
    found = []
    for name in sorted(os.listdir(folder)):
        path = folder + "/" + name
        if os.stat(path)[0] & 0x4000:
            found.extend(_files(path))
        elif name.endswith(".py") or name.endswith(".mpy"):
            found.append(path)
    return found


def file_checksum(path: str, crc: int = 0) -> int:
    """Return the CRC-32 over a file's bytes, begun at `crc`.  Raises OSError."""
    buffer = bytearray(512)
    view = memoryview(buffer)
    with open(path, "rb") as file:
        while True:
            n = file.readinto(buffer)
            if not n:
                return crc
            crc = binascii.crc32(view[:n], crc)


def files_checksum(folder: str) -> int:
    """Return the CRC-32 over the Python files below `folder`: each its name within the folder, then its bytes."""
    crc = 0
    for path in _files(folder):
        crc = file_checksum(path, binascii.crc32(path[len(folder) :].encode(), crc))
    return crc


def firmware_checksum(folder: str, whole: bool = False) -> int:
    """Return the CRC-32 of the sources that the firmware in `folder` is, or was built from.

    `whole`: every file has just been found as the manifest says, so that what BUILT_FROM tells holds without reading
    them all again.
    """
    try:
        with open(folder + "/" + BUILT_FROM) as file:
            sources, built = [int(word, 16) for word in file.read(100).split()]
    except (OSError, ValueError):
        return files_checksum(folder)
    crc = built if whole else files_checksum(folder)
    return sources if built == crc else crc


def manifest_of(folder: str, root_files: "tuple[str, ...]" = ()) -> str:
    """Return the text of a manifest of `folder` as it is, and of files that will lie at the board's root."""
    lines = ["%08x %s\n" % (file_checksum(path), path[len(folder) :]) for path in _files(folder)]
    lines += ["%08x //%s\n" % (file_checksum(path), path.split("/")[-1]) for path in root_files]
    text = "".join(lines)
    return text + "sum %08x\n" % binascii.crc32(text.encode())


class Manifest:
    """The manifest in `folder`; `body` is its text, empty where there is no sound one, and `note` says why.

    Its rows are read one at a time: as tuples they would take three times the heap.
    """

    def __init__(self, folder: str) -> None:
        self.folder = folder
        self.body = ""
        self.note = ""
        self.at = 0
        self.sound = False  # every file was found as it was installed
        try:
            with open(folder + "/" + MANIFEST) as file:
                text = file.read(8192)
        except OSError:
            self.note = "no manifest: what is installed cannot be checked"
            return
        except ValueError:
            text = ""
        self._parse(text)

    def _parse(self, text: str) -> None:
        try:
            body, _, seal = text.rpartition("sum ")
            if int(seal, 16) != binascii.crc32(body.encode()):
                raise ValueError
            self.body = body
        except ValueError:
            self.note = "the manifest is damaged: what is installed cannot be checked"

    def whole(self, row: str) -> bool:
        """Tell whether the file of a row, CRC-32 and name, is there as it was installed."""
        name = row[9:]
        try:
            return file_checksum(name[1:] if name[:2] == "//" else self.folder + name) == int(row[:8], 16)
        except OSError:
            return False

    def _next(self) -> str:
        # One row after the other, at the end the first again.
        end = self.body.find("\n", self.at)
        row = self.body[self.at : end]
        self.at = end + 1 if end + 1 < len(self.body) else 0
        return row

    def damaged(self) -> list[str]:
        """Return the names of all files that are not as they were installed."""
        names = []
        self.at = 0
        while self.body:
            row = self._next()
            if not self.whole(row):
                names.append(row[9:])
            if not self.at:
                break
        self.sound = bool(self.body) and not names
        return names

    def next(self) -> str:
        """Check one more file, all of them by turns; return its name when it is damaged, else nothing."""
        if not self.body:
            return ""
        row = self._next()
        return "" if self.whole(row) else row[9:]


def needed(names: list[str]) -> list[str]:
    """Return those of `names` without which the station cannot be trusted."""
    return [name for name in names if name.rsplit(".", 1)[0] not in SPARE]
