"""The table of the damage campaign: kinds of damage, by what kept the pit.  `python -m tests.micropython.damage_table`

Every file of an installation missing, cut short, zeroed, and with bits flipped; what may lie about beside the
firmware; an allocation that fails, once or in every life.  A row without a pump is the exit code 1.
"""

import argparse
import random
import shutil
import tempfile
from collections import Counter
from pathlib import Path

from tests.micropython import damage_rig as rig
from tests.micropython import failing

WAYS = (rig.missing, rig.truncated, rig.zeroed, rig.flipped)
HEAP = "400k"  # as little as a chip with half of it in words half as long
STATEMENTS = 150_000  # about as many as a minute's life makes
OUTCOMES = ("station", "floats only", "NO PUMP")


def names_of(image):
    """Return the paths of all files of an installation that could be damaged."""
    with rig.Files(image) as files:
        return [name for name in files.names() if name.endswith((".py", ".mpy")) or "/" in name[1:]]


def every_file(names, flips, seed):
    """Return the cases (how, name, seed) of every file, each way once and with so many bits flipped, one at a time."""
    draw = random.Random(seed)
    cases = [(how, name, draw.randrange(2**30)) for name in names for how in WAYS[:3]]
    return cases + [(rig.flipped, name, draw.randrange(2**30)) for name in names for _ in range(flips)]


def show(kept, seed):
    """Print the table of kinds of damage by what kept the pit."""
    print(f"seed {seed}; all floats wet from power-up; a pump, the horn and the dropped relay after 60 s:")
    print(f"  {'damage':<44}{'station':>8}{'floats only':>13}{'NO PUMP':>9}")
    for kind in sorted({kind for kind, _ in kept}):
        counts = [kept[kind, outcome] for outcome in OUTCOMES]
        print(f"  {kind:<44}{counts[0]:>8}{counts[1]:>13}{counts[2]:>9}")


def _note(kept, kind, found, good=None):
    good = found.good if good is None else good
    kept[kind, found.mode if good else "NO PUMP"] += 1
    return good


def campaign(image, scratch, cases, seed, kept=None):
    """Run (how, name, seed) cases; return those without a pump, and print the table."""
    made, lost = Counter() if kept is None else kept, []
    for how, name, number in cases:
        found = rig.damaged(image, scratch, how, name, number)
        if not _note(made, f"a file {how.__name__}", found):
            lost.append((how.__name__, name, number, found))
    if kept is None:
        show(made, seed)
    return lost


def allocations(image, scratch, count, seed, kept=None):
    """Run failing allocations, `count` drawn ones or a list, on an image of `failing.installation`.

    Returns those without a pump.
    """
    made, lost = Counter() if kept is None else kept, []
    for case in failing.cases(STATEMENTS, count, seed) if isinstance(count, int) else count:
        found = case.flood(image, scratch)
        several = "several statements" if case.more > 1 else "a statement"
        kind = f"MemoryError at {several}, in {'every life' if case.lives == 'all' else 'the first life'}"
        # What fails in every life may do so at the last look: then a pump and the horn within the minute.
        kept_it = found.pump_ms is not None and found.pump_ms <= rig.LIMIT_MS and found.horn_ms is not None
        if not _note(made, kind, found, kept_it if case.lives == "all" else found.good):
            lost.append((case, found))
    if kept is None:
        show(made, seed)
    return lost


def no_folder(files):
    """As `mip install` leaves it: no place for settings and journal."""
    files.fs.remove("/pit")


def full_flash(files):
    """Not a block is free, and there is nothing that could be given up."""
    files.fill()


def full_without_folder(files):
    """Both."""
    files.fs.remove("/pit")
    files.fill()


def folder_is_a_file(files):
    """A file has the folder's name."""
    files.fs.remove("/pit")
    files.put("/pit", b"x")


def journal_is_a_file(files):
    """The same of the journal."""
    files.put("/pit/journal", b"x")


def junk(name, size, seed):
    """Give damage that writes `size` bytes of junk under a name."""

    def write(files):
        top = name.rsplit("/", 1)[0]
        if top != "/pit":
            files.fs.makedirs(top, exist_ok=True)
        files.put(name, random.Random(seed).randbytes(size))

    return write


SURROUNDINGS = {
    "no folder": no_folder,
    "full flash": full_flash,
    "full flash, no folder": full_without_folder,
    "the folder is a file": folder_is_a_file,
    "the journal is a file": journal_is_a_file,
    "settings of 0 bytes": junk("/pit/settings.a", 0, 1),
    "settings of 120 kB": junk("/pit/settings.a", 120000, 2),
    "settings of 900 kB": junk("/pit/settings.b", 900000, 3),
    "a segment of 120 kB": junk("/pit/journal/00000007.seg", 120000, 4),
    "a segment of 900 kB": junk("/pit/journal/00000007.seg", 900000, 5),
    "a segment named at random": junk("/pit/journal/what?.seg", 500, 6),
    "the last segment number": junk("/pit/journal/99999999.seg", 500, 7),
    "boot record of 300 kB": junk("/pit/boots", 300000, 8),
    "reason of 300 kB": junk("/pit/reason", 300000, 9),
}


def surroundings(image, scratch, kept):
    """Run what may lie about beside the firmware; return the names of those without a pump."""
    lost = []
    for name, make in SURROUNDINGS.items():
        shutil.copy(image, scratch / "damaged.img")
        with rig.Files(scratch / "damaged.img") as files:
            make(files)
        if not _note(kept, name, rig.flood(scratch / "damaged.img", scratch, HEAP)):
            lost.append(name)
    return lost


def main():
    """Run all of it and print one table; return the exit code."""
    asked = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    asked.add_argument("--flips", type=int, default=3, help="bits flipped in each file, one at a time")
    asked.add_argument("--allocations", type=int, default=200, help="failing allocations")
    asked.add_argument("--seed", type=int, default=20261129)
    asked.add_argument("--part", choices=("files", "around", "allocations"), help="only that part; all where left out")
    given = asked.parse_args()
    parts = (given.part,) if given.part else ("files", "around", "allocations")
    kept = Counter()
    with tempfile.TemporaryDirectory(prefix="sumpbench-damage-") as folder:
        scratch = Path(folder)
        image = rig.installation(scratch)
        lost = []
        if "files" in parts:
            lost += campaign(image, scratch, every_file(names_of(image), given.flips, given.seed), given.seed, kept)
        if "around" in parts:
            lost += surroundings(image, scratch, kept)
        if "allocations" in parts:
            (scratch / "second").mkdir()
            lost += allocations(failing.installation(scratch / "second"), scratch, given.allocations, given.seed, kept)
    show(kept, given.seed)
    for one in lost[:20]:
        print("NO PUMP:", one)
    return 1 if lost else 0


if __name__ == "__main__":
    raise SystemExit(main())
