"""The flash of a Raspberry Pi Pico as an image: MicroPython's own part from a UF2, its file system as littlefs.

Source of the UF2 format: the Microsoft UF2 specification (open).  Where the
file system lies: MicroPython's RPI_PICO board, 2 MB less 1408 kB.
"""

import re
import struct
import tempfile
from pathlib import Path

from duplexsump.station.store import Store

from host_sim.board.deploy import compile_firmware
from host_sim.errors import InputError

XIP = 0x10000000  # where the flash appears in the processor's memory
FILES_AT = 0xA0000
BLOCK, BLOCKS = 4096, 352
FILES_BYTES = BLOCK * BLOCKS
_UF2_BLOCK = 512
_UF2_MAGIC = (0x0A324655, 0x9E5D5157)
_UF2_END = 0x0AB16F30
_HAS_FAMILY, _NOT_FLASH = 0x2000, 0x1
_RP2040 = 0xE48BFF56
_DISK_VERSION = 0x00020000  # of littlefs: what MicroPython 1.19 and later can read


def read_uf2(path):
    """Return [(offset in the flash, bytes)] of an RP2040's UF2 file.  Raises InputError for any other file."""
    try:
        data = Path(path).read_bytes()
    except OSError as error:
        raise InputError(f"the UF2 file cannot be read: {error.strerror}", str(path)) from error
    if not data or len(data) % _UF2_BLOCK:
        raise InputError("not a UF2 file: its length is not a multiple of 512 bytes", str(path))
    pieces = []
    for at in range(0, len(data), _UF2_BLOCK):
        first, second, flags, address, size, _, _, family = struct.unpack_from("<8I", data, at)
        if (first, second) != _UF2_MAGIC or struct.unpack_from("<I", data, at + 508)[0] != _UF2_END or size > 476:
            raise InputError(f"not a UF2 file: block {at // _UF2_BLOCK} has no UF2 magic number", str(path))
        if flags & _NOT_FLASH:
            continue
        if flags & _HAS_FAMILY and family != _RP2040:
            raise InputError(f"this UF2 is for another chip (family {family:#010x}), not for the RP2040", str(path))
        if not address >= XIP or address + size > XIP + FILES_AT:
            raise InputError(
                f"this UF2 writes at {address:#010x}, where a Pico has its files: take MicroPython for RPI_PICO",
                str(path),
            )
        pieces.append((address - XIP, data[at + 32 : at + 32 + size]))
    if not pieces:
        raise InputError("this UF2 file holds no data for the flash", str(path))
    return pieces


def micropython_version(pieces):
    """Return the version of the MicroPython in a UF2's pieces as text, "unknown" where it does not say."""
    whole = b"".join(data for _, data in sorted(pieces))
    found = re.search(rb"v?(\d+\.\d+\.\d+(?:-[\w.]+)?) on 20\d\d-", whole)
    return found.group(1).decode() if found else "unknown"


def _littlefs():
    try:
        import littlefs
    except ImportError as error:
        raise InputError("littlefs-python is missing: python -m pip install 'sumpbench[emulated]'", "flash") from error
    return littlefs


def make_files(files):
    """Return a file system's image that holds `files`, {"/path": bytes}; a path that ends in "/" is an empty folder.

    Raises InputError when they do not fit.
    """
    littlefs = _littlefs()
    context = littlefs.UserContext(buffsize=FILES_BYTES)
    disk = littlefs.LittleFS(
        context=context, block_size=BLOCK, block_count=BLOCKS, prog_size=256, disk_version=_DISK_VERSION
    )
    try:
        for path, content in sorted(files.items()):
            folder, _, name = path.strip("/").rpartition("/") if not path.endswith("/") else (path.strip("/"), "", "")
            if folder:
                disk.makedirs(folder, exist_ok=True)
            if name:
                with disk.open(path, "wb") as file:
                    file.write(content)
    except (littlefs.LittleFSError, OSError) as error:
        raise InputError(f"{path} does not fit into {BLOCKS} blocks of {BLOCK} bytes: {error}", "flash") from error
    disk.unmount()
    return bytes(context.buffer)


def read_files(image):
    """Return {"/path": bytes} of a file system's image.  Raises InputError when there is no sound one in it."""
    littlefs = _littlefs()
    context = littlefs.UserContext(buffsize=len(image))
    context.buffer[:] = image
    found = {}
    try:
        disk = littlefs.LittleFS(context=context, block_size=BLOCK, block_count=BLOCKS, prog_size=256, mount=False)
        disk.mount()  # by itself: while it is made, one that cannot be mounted is formatted
        for folder, _, names in disk.walk("/"):
            for name in names:
                path = folder.rstrip("/") + "/" + name
                with disk.open(path, "rb") as file:
                    found[path] = file.read()
    except littlefs.LittleFSError as error:
        raise InputError(f"no valid file system in this flash: {error}", "flash") from error
    return found


def settings_files(values):
    """Return the files of the settings store that holds a settings record.  Raises InputError where it is refused."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            Store(folder).save(list(values))
        except ValueError as error:
            raise InputError(str(error), "settings of the emulated board") from error
        return {f"/pit/{path.name}": path.read_bytes() for path in Path(folder).iterdir()}


def firmware_files(source):
    """Return what a Pico holds after a deployment of the firmware below `source`: a build, boot.py, main.py.

    Raises InputError when mpy-cross is missing or refuses a file.
    """
    files = {"/pit/": b""}
    for name in ("boot.py", "main.py"):
        files["/" + name] = (Path(source) / name).read_bytes()
    with tempfile.TemporaryDirectory() as folder:
        compile_firmware(source, folder, "pico")
        for path in sorted(path for path in Path(folder).rglob("*") if path.is_file()):
            files["/lib/duplexsump/" + path.relative_to(folder).as_posix()] = path.read_bytes()
    return files
