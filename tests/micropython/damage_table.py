"""The table of the damage campaign: kinds of damage, by what kept the pit.  `python -m tests.micropython.damage_table`

Every file of an installation missing, cut short, zeroed, and with bits flipped; what may lie about beside the
firmware; an allocation that fails, once or in every life.  A row without a pump is the exit code 1.  On 64-bit
MicroPython in lockstep, or with `--emulated` a sample of the cases on an emulated RP2040.
"""

import argparse
import os
import shutil
import tempfile
from collections import Counter
from pathlib import Path

from host_sim.errors import InputError
from tests.hil.emulated_chip import UF2_PLACES
from tests.micropython import damage_emulated, failing
from tests.micropython import damage_rig as rig
from tests.micropython.damage_cases import STATEMENTS, SURROUNDINGS, every_file, names_of

HEAP = "400k"  # as little as a chip with half of it in words half as long
OUTCOMES = ("station", "floats only", "NO PUMP")


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
        if not _note(made, kind, found, case.kept(found)):
            lost.append((case, found))
    if kept is None:
        show(made, seed)
    return lost


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
    asked.add_argument("--emulated", action="store_true", help="a sample on an emulated RP2040, instead of all that")
    asked.add_argument("--uf2", help=f"MicroPython for RPI_PICO; where left out, what {UF2_PLACES[0]} names")
    asked.add_argument("--sample", type=int, default=18, help="cases of that sample, of each kind in turn")
    asked.add_argument("--first", type=int, default=1, help="the first of them: a sample may be run in pieces")
    given = asked.parse_args()
    if given.emulated:
        try:
            return emulated(given.uf2, given.sample, given.seed, given.first)
        except InputError as error:
            asked.error(str(error))
    return virtual(given)


def emulated(uf2, count, seed, first=1):
    """Run a sample on an emulated RP2040 and print its table; return the exit code.

    Raises InputError where there is no UF2 or no emulator, and for a sample of no case.
    """
    uf2 = uf2 or next((os.environ[name] for name in UF2_PLACES if os.environ.get(name)), None)
    if not uf2:
        raise InputError(f"no MicroPython UF2 for RPI_PICO: give its path here or in {UF2_PLACES[0]}", "--uf2")
    if count < 1 or first < 1:
        raise InputError(f"{count} cases from number {first} on: give 1 or more", "--sample, --first")
    kept = Counter()
    with (
        tempfile.TemporaryDirectory(prefix="sumpbench-damage-") as folder,
        damage_emulated.Chip(uf2, Path(folder)) as chip,
    ):
        lost = damage_emulated.campaign(chip, count, seed, kept, first)
    return _verdict(kept, seed, lost)


def virtual(given):
    """Run the whole campaign on 64-bit MicroPython, as the arguments say; return the exit code."""
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
    return _verdict(kept, given.seed, lost)


def _verdict(kept, seed, lost):
    show(kept, seed)
    for one in lost[:20]:
        print("NO PUMP:", one)
    return 1 if lost else 0


if __name__ == "__main__":
    raise SystemExit(main())
