"""M5 by damage: whatever is missing or spoilt on flash, with `high` wet a pump runs and the horn sounds within 60 s.

Each file of an installation goes missing, is cut short, is zeroed, has one bit
flipped; the folders are gone, the flash is full, settings and journals are junk.
The seed is drawn once, printed, and fixes every case.
"""

import random
import shutil
from collections import Counter

import pytest
from duplexsump import marks

from host_sim.board.package import SEALED, sealed
from host_sim.board.virtual import FIRMWARE
from tests.micropython import damage_rig as rig

SEED = 20261129
WAYS = (rig.missing, rig.truncated, rig.zeroed, rig.flipped)
HEAP = "400k"  # as little as a chip with half of it in words half as long


@pytest.fixture(scope="module")
def image(tmp_path_factory):
    return rig.installation(tmp_path_factory.mktemp("installation"))


@pytest.fixture(scope="module")
def names(image):
    with rig.Files(image) as files:
        return [name for name in files.names() if name.endswith((".py", ".mpy")) or "/" in name[1:]]


def show(kept):
    """Print the table of kinds of damage by what kept the pit."""
    print(f"seed {SEED}; all floats wet from power-up; a pump, the horn and the dropped relay after 60 s:")
    print(f"  {'damage':<34}{'station':>8}{'floats only':>13}{'NO PUMP':>9}")
    for kind in sorted({kind for kind, _ in kept}):
        counts = [kept[kind, outcome] for outcome in ("station", "floats only", "NO PUMP")]
        print(f"  {kind:<34}{counts[0]:>8}{counts[1]:>13}{counts[2]:>9}")


def campaign(image, scratch, cases):
    """Run (how, name, seed) cases; return those without a pump, and print the table."""
    kept, lost = Counter(), []
    for how, name, seed in cases:
        found = rig.damaged(image, scratch, how, name, seed)
        kept[f"a file {how.__name__}", found.mode if found.good else "NO PUMP"] += 1
        if not found.good:
            lost.append((how.__name__, name, seed, found))
    show(kept)
    return lost


def test_m5_a_sound_installation_keeps_the_pit_by_its_station(image, tmp_path):
    found = rig.flood(image, tmp_path, HEAP)
    assert (found.good, found.mode, found.lives) == (True, "station", 1), found


def test_m5_an_installation_without_anything_keeps_no_pit(image, tmp_path):
    # The judge must be able to fail.
    shutil.copy(image, tmp_path / "bare.img")
    with rig.Files(tmp_path / "bare.img") as files:
        files.fs.remove("/main.py")
        files.fs.remove("/boot.py")
    assert not rig.flood(tmp_path / "bare.img", tmp_path).good


def test_m5_a_damaged_file_leaves_a_pump_a_sample(image, names, tmp_path):
    draw = random.Random(SEED)
    cases = [(how, draw.choice(names), draw.randrange(2**30)) for how in WAYS for _ in range(10)]
    assert campaign(image, tmp_path, cases) == []


@pytest.mark.long
def test_m5_every_damaged_file_leaves_a_pump(image, names, tmp_path):
    draw = random.Random(SEED + 1)
    cases = [(how, name, draw.randrange(2**30)) for name in names for how in WAYS[:3]]
    cases += [(rig.flipped, name, draw.randrange(2**30)) for name in names for _ in range(24)]
    assert campaign(image, tmp_path, cases) == []


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


@pytest.mark.parametrize("name", SURROUNDINGS)
def test_m5_whatever_lies_beside_the_firmware_its_station_runs(image, tmp_path, name):
    shutil.copy(image, tmp_path / "damaged.img")
    with rig.Files(tmp_path / "damaged.img") as files:
        SURROUNDINGS[name](files)
    found = rig.flood(tmp_path / "damaged.img", tmp_path, HEAP)
    assert (found.good, found.mode, found.lives) == (True, "station", 1), found


FAILING = """
    def step(self, want: int) -> int:
        try:
            open("/pit/failed").close()
        except OSError:
            if self.out and self.timers.at[tm.SPACING] < 0:
                open("/pit/failed", "w").close()
                raise ValueError("spoilt")
        return self.sound_step(want)

    def sound_step("""


def test_m3_after_an_exception_in_a_flood_the_pumps_run_again_within_12_s(tmp_path):
    source = tmp_path / "source"
    shutil.copytree(FIRMWARE, source, ignore=shutil.ignore_patterns("__pycache__"))
    gate = source / "lib/duplexsump/control/gate.py"
    text = gate.read_text(encoding="utf-8")
    assert "    def step(" in text
    gate.write_text(text.replace("    def step(", FAILING.lstrip("\n"), 1), encoding="utf-8")
    found = rig.flood(rig.installation(tmp_path, source), tmp_path)
    assert (found.good, found.mode, found.lives) == (True, "station", 2), found
    pumps = [(at, outputs & rig.PUMPS) for at, outputs in found.edges]
    failed = next(at for at, outputs in found.edges if not outputs)
    assert failed > found.pump_ms
    again = next(at for at, on in pumps if at > failed and on)
    horn = next(at for at, outputs in found.edges if at > failed and outputs & rig.HORN)
    print(f"failed at {failed} ms, horn again after {horn - failed} ms, pump after {again - failed} ms")
    assert again - failed <= 12000
    assert horn - failed <= 2000


def test_m6_maintenance_ends_by_itself_after_ten_minutes_and_the_pumps_follow_their_floats_again(image, tmp_path):
    found = rig.flood(image, tmp_path, kept=marks.MAGIC | marks.MAINTENANCE, lasts_ms=630000)
    assert found.lives == 2
    assert 600000 <= found.pump_ms <= 600000 + 12000
    assert (found.good, found.mode) == (True, "station")


@pytest.mark.parametrize("path", SEALED, ids=lambda path: path.name)
def test_what_must_be_sealed_is(path):
    text = path.read_text(encoding="utf-8")
    assert text == sealed(text), "seal it: python -m host_sim.board.package"
