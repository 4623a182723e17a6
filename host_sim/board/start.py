"""What a port's built-in start code does on a real board, for MicroPython on a PC.  Runs under MicroPython.

Mounts the flash image as the root file system, in place of the PC's, then runs
boot.py and main.py as they lie on it; when these return, MicroPython's REPL
comes up on standard input and output (option -i).

Environment: BENCH_FLASH the image, made and filled from the folder
BENCH_FIRMWARE when it is not there; BENCH_PIT, if given, a folder whose files
lie in the new image's /pit; BENCH_BLOCKS its blocks of 4096 bytes.  With
BENCH_MAKE the image is made and nothing is run.
"""

import os
import select
import sys

import vfs

BLOCK = 4096


class Flash:
    """A NOR flash in a file: extended block device with byte access."""

    def __init__(self, path, blocks):
        self.blocks = blocks
        self.file = open(path, "r+b")

    def readblocks(self, number, buffer, offset=0):
        self.file.seek(number * BLOCK + offset)
        self.file.readinto(buffer)

    def writeblocks(self, number, buffer, offset=0):
        self.file.seek(number * BLOCK + offset)
        self.file.write(buffer)

    def ioctl(self, operation, argument):
        if operation == 4:
            return self.blocks
        if operation == 5:
            return BLOCK
        return 0 if operation in (1, 2, 3, 6) else None


def blank(path, blocks):
    """Make an erased image."""
    with open(path, "wb") as file:
        for _ in range(blocks):
            file.write(b"\xff" * BLOCK)


def copy_tree(source, target):
    """Copy every Python file below the PC's folder `source` onto the board's `target`."""
    for name, kind, *_ in os.ilistdir(source):
        if kind == 0x4000:
            if not name.startswith("__"):
                os.mkdir(target + "/" + name)
                copy_tree(source + "/" + name, target + "/" + name)
        elif name.endswith((".py", ".mpy")) or name in ("manifest", "built_from"):
            with open(source + "/" + name, "rb") as old, open(target + "/" + name, "wb") as new:
                new.write(old.read())


def copy_files(source, target):
    """Copy every file of the PC's folder `source` into the board's `target`."""
    for name, kind, *_ in os.ilistdir(source):
        if kind == 0x8000:
            with open(source + "/" + name, "rb") as old, open(target + "/" + name, "wb") as new:
                new.write(old.read())


def make(path, blocks, firmware, files):
    """Make an image that holds the firmware and a /pit, empty but for the files of a folder."""
    blank(path + ".new", blocks)
    flash = Flash(path + ".new", blocks)
    vfs.VfsLfs2.mkfs(flash)
    vfs.mount(vfs.VfsLfs2(flash), "/new-flash")
    copy_tree(firmware, "/new-flash")
    os.mkdir("/new-flash/pit")
    if files:
        copy_files(files, "/new-flash/pit")
    vfs.umount("/new-flash")
    flash.file.close()
    os.rename(path + ".new", path)


def run(name):
    """Run a file of the board in the module that the REPL shows afterwards."""
    with open(name) as file:
        text = file.read()
    exec(compile(text, name, "exec"), globals())


def run_while_there_is_a_bench(name):
    """Run a file; end this process when the bench has gone: a REPL with nobody at its port would spin for ever.

    The bench's pins tell it at once (OSError), its end of the serial port at the latest when the file has ended.
    """
    try:
        run(name)
    except OSError:
        os.system("kill -9 $PPID")
    port = select.poll()
    port.register(sys.stdin, select.POLLIN)
    for _stream, event in port.poll(0):
        if event & select.POLLHUP:
            os.system("kill -9 $PPID")


flash_path = os.getenv("BENCH_FLASH")
blocks = int(os.getenv("BENCH_BLOCKS") or "352")
try:
    os.stat(flash_path)
except OSError:
    make(flash_path, blocks, os.getenv("BENCH_FIRMWARE"), os.getenv("BENCH_PIT"))
if os.getenv("BENCH_MAKE"):
    sys.exit()
disk = vfs.VfsLfs2(Flash(flash_path, blocks))
vfs.umount("/")
vfs.mount(disk, "/")
os.chdir("/")
sys.path[:] = ["", ".frozen", "/lib"]
try:
    run("boot.py")
finally:
    run_while_there_is_a_bench("main.py")
