"""For those who build their own MicroPython: what of the firmware goes into the image, and what stays on its flash.

`python -m host_sim.board.freeze pico OUT` writes

    OUT/manifest.py    for MicroPython's FROZEN_MANIFEST: the port's own (or the board's), then the firmware
    OUT/frozen/        the compiled modules, as `sumpbench deploy` copies them
    OUT/flash/         what is copied to the board's root: boot.py, main.py, and below /lib/duplexsump
                       what stands alone, the manifest and the checksums of these

A frozen module is read from the image and takes no heap for its code.  What
checks the installation and what is left when all else fails stay files, so that
`boot.py` and `main.py` are the same in both cases.  The files' manifest says
nothing of the image: whoever flashes it must verify it.
"""

import argparse
import shutil
from pathlib import Path

from duplexsump.station.checksum import BUILT_FROM, MANIFEST, files_checksum, manifest_of

from host_sim.board.deploy import FOR_BOARD, PACKAGE, compile_firmware
from host_sim.board.fold import STAND_ALONE
from host_sim.board.virtual import FIRMWARE

FIRST = ("boot.py", "main.py")
OF_PORT = 'include("$(PORT_DIR)/boards/manifest.py")\nfreeze_mpy({folder!r})\n'
OF_BOARD = 'include("$(BOARD_DIR)/manifest.py")\nfreeze_mpy({folder!r})\n'


def prepare(out, board, source=FIRMWARE, manifest=OF_PORT):
    """Write what is frozen, what stays on flash and the manifest into the folder `out`; return (frozen, kept) names.

    Raises InputError as `compile_firmware` does.
    """
    out, source = Path(out), Path(source)
    frozen, flash = out / "frozen" / "duplexsump", out / "flash" / PACKAGE
    for folder in (out / "frozen", out / "flash"):
        shutil.rmtree(folder, ignore_errors=True)
    compile_firmware(source, frozen, board, named=frozen.name)
    kept = sorted(path.relative_to(frozen) for path in frozen.rglob("*.py") if path.stem in STAND_ALONE)
    for inside in kept:
        (flash / inside).parent.mkdir(parents=True, exist_ok=True)
        shutil.move(frozen / inside, flash / inside)
    for name in (MANIFEST, BUILT_FROM):
        (frozen / name).unlink()
    for name in FIRST:
        shutil.copy(source / name, out / "flash" / name)
    sums = files_checksum(str(source / PACKAGE)), files_checksum(str(flash))
    text = manifest_of(str(flash), tuple(str(source / name) for name in FIRST))
    (flash / MANIFEST).write_text(text, encoding="utf-8")
    (flash / BUILT_FROM).write_text("{:08x} {:08x}\n".format(*sums), encoding="utf-8")
    (out / "manifest.py").write_text(manifest.format(folder=str((out / "frozen").resolve())), encoding="utf-8")
    names = sorted(str(path.relative_to(frozen)) for path in frozen.rglob("*.mpy"))
    return names, [str(path) for path in kept]


def main():
    """Write the folder that the command line names."""
    asked = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    asked.add_argument("board", choices=sorted(set(FOR_BOARD) - {"posix"}))
    asked.add_argument("out", type=Path)
    asked.add_argument("--board-manifest", action="store_true", help="the board has a manifest.py of its own")
    given = asked.parse_args()
    text = OF_BOARD if given.board_manifest else OF_PORT
    frozen, kept = prepare(given.out, given.board, manifest=text)
    names = ", ".join([*kept, *FIRST])
    print(f"{len(frozen)} modules to freeze: {given.out / 'manifest.py'}; on flash: {names}")


if __name__ == "__main__":
    main()
