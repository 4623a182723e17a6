"""What is damaged: every file in four ways, what may lie about beside the firmware, an allocation that fails.

A case is a kind, words that name it, and what it does to the files of an installation.  All of it is fixed by a seed.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass

from tests.micropython import damage_rig as rig
from tests.micropython import failing

WAYS = (rig.missing, rig.truncated, rig.zeroed, rig.flipped)
STATEMENTS = 150_000  # about as many as a minute's life makes


def names_of(image):
    """Return the paths of all files of an installation that could be damaged."""
    with rig.Files(image) as files:
        return [name for name in files.names() if name.endswith((".py", ".mpy")) or "/" in name[1:]]


def every_file(names, flips, seed):
    """Return the cases (how, name, seed) of every file, each way once and with so many bits flipped, one at a time."""
    draw = random.Random(seed)
    cases = [(how, name, draw.randrange(2**30)) for name in names for how in WAYS[:3]]
    return cases + [(rig.flipped, name, draw.randrange(2**30)) for name in names for _ in range(flips)]


def no_folder(files):
    """As `mip install` leaves it: no place for settings and journal."""
    _remove_folder(files)


def full_flash(files):
    """Not a block is free, and there is nothing that could be given up."""
    files.fill()


def full_without_folder(files):
    """Both."""
    _remove_folder(files)
    files.fill()


def folder_is_a_file(files):
    """A file has the folder's name."""
    _remove_folder(files)
    files.put("/pit", b"x")


def journal_is_a_file(files):
    """The same of the journal."""
    files.put("/pit/journal", b"x")


def _remove_folder(files):
    for name in files.names():
        if name.startswith("/pit/"):
            files.fs.remove(name)
    files.fs.remove("/pit")


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
# The same by what a sample draws one of at a time.
GROUPS = {
    "no folder": ("no folder", "the folder is a file", "the journal is a file"),
    "full flash": ("full flash", "full flash, no folder"),
    "junk settings": tuple(name for name in SURROUNDINGS if name.startswith("settings")),
    "junk journal": tuple(name for name in SURROUNDINGS if " segment " in f"{name} " or name.endswith("300 kB")),
}


@dataclass(frozen=True)
class Damage:
    """One case: its kind, what it is, what it does to a `damage_rig.Files`; a failing allocation has its `planted`."""

    kind: str
    words: str
    make: Callable
    planted: failing.Case | None = None


def sample(names, count, seed, first=1):
    """Return Damages number `first` and the `count` - 1 after it of those that a seed draws, of every kind in turn.

    No two are alike while there are others.
    """
    last = first + count - 1
    draw = random.Random(seed)
    files = {how: draw.sample(names, len(names)) for how in WAYS}
    around = {group: draw.sample(members, len(members)) for group, members in GROUPS.items()}
    turns = (*WAYS, *GROUPS, failing)
    planted = failing.cases(STATEMENTS, last, seed)
    found = []
    for number in range(last):
        turn, again = turns[number % len(turns)], number // len(turns)
        if turn is failing:
            found.append(Damage("an allocation fails", str(planted[again]), planted[again].plant, planted[again]))
        elif turn in GROUPS:
            name = around[turn][again % len(around[turn])]
            found.append(Damage(turn, name, SURROUNDINGS[name]))
        else:
            found.append(_of_a_file(turn, files[turn][again % len(names)], draw.randrange(2**30)))
    return found[first - 1 :]


def _of_a_file(how, name, seed):
    return Damage(
        f"a file {how.__name__}", f"{name} (seed {seed})", lambda files: how(files, name, random.Random(seed))
    )
