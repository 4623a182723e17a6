"""M5 by damage: whatever is missing or spoilt on flash, with `high` wet a pump runs and the horn sounds within 60 s.

Each file of an installation goes missing, is cut short, is zeroed, has one bit
flipped; the folders are gone, the flash is full, settings and journals are junk.
The seed is drawn once, printed, and fixes every case.
"""

import random
import re
import shutil

import pytest
from duplexsump import marks

from host_sim.board.package import SEALED, sealed
from host_sim.board.virtual import FIRMWARE
from tests.micropython import damage_cases, failing
from tests.micropython import damage_rig as rig
from tests.micropython import damage_table as table

SEED = 20261129
WAYS = damage_cases.WAYS
HEAP = table.HEAP
SURROUNDINGS = damage_cases.SURROUNDINGS


@pytest.fixture(scope="module")
def image(tmp_path_factory):
    return rig.installation(tmp_path_factory.mktemp("installation"))


@pytest.fixture(scope="module")
def names(image):
    return damage_cases.names_of(image)


@pytest.mark.long
def test_m5_a_sound_installation_keeps_the_pit_by_its_station(image, tmp_path):
    found = rig.flood(image, tmp_path, HEAP)
    assert (found.good, found.mode, found.lives) == (True, "station", 1), found


@pytest.mark.long
def test_m5_an_installation_without_anything_keeps_no_pit(image, tmp_path):
    # The judge must be able to fail.
    shutil.copy(image, tmp_path / "bare.img")
    with rig.Files(tmp_path / "bare.img") as files:
        files.fs.remove("/main.py")
        files.fs.remove("/boot.py")
    assert not rig.flood(tmp_path / "bare.img", tmp_path).good


@pytest.mark.long
def test_m5_a_damaged_file_leaves_a_pump_a_sample(image, names, tmp_path):
    draw = random.Random(SEED)
    cases = [(how, draw.choice(names), draw.randrange(2**30)) for how in WAYS for _ in range(10)]
    assert table.campaign(image, tmp_path, cases, SEED) == []


@pytest.mark.long
def test_m5_every_damaged_file_leaves_a_pump(image, names, tmp_path):
    assert table.campaign(image, tmp_path, damage_cases.every_file(names, 24, SEED + 1), SEED + 1) == []


@pytest.mark.parametrize("name", SURROUNDINGS)
def test_m5_whatever_lies_beside_the_firmware_its_station_runs(image, tmp_path, name):
    shutil.copy(image, tmp_path / "damaged.img")
    with rig.Files(tmp_path / "damaged.img") as files:
        SURROUNDINGS[name](files)
    found = rig.flood(tmp_path / "damaged.img", tmp_path, HEAP)
    assert (found.good, found.mode, found.lives) == (True, "station", 1), found


@pytest.fixture(scope="module")
def counted(tmp_path_factory):
    return failing.installation(tmp_path_factory.mktemp("counted"))


@pytest.mark.long
def test_the_planted_failure_reaches_start_up_and_pass_and_no_failure_leaves_one_life(counted, tmp_path):
    assert (sound := failing.Case(-1).flood(counted, tmp_path)).good and sound.lives == 1
    for at in (10_000, 60_000, 120_000):
        found = failing.Case(at).flood(counted, tmp_path)
        assert found.good and found.lives == 2, (at, found)


@pytest.mark.long
def test_m5_a_pump_wherever_an_allocation_fails_a_sample(counted, tmp_path):
    assert table.allocations(counted, tmp_path, 45, SEED) == []


@pytest.mark.campaign
def test_m5_a_pump_wherever_an_allocation_fails(counted, tmp_path):
    assert table.allocations(counted, tmp_path, 1500, SEED + 2) == []


@pytest.mark.campaign
@pytest.mark.parametrize("lives", ["first", "all"])
def test_m5_a_pump_whichever_statement_of_the_start_fails(counted, tmp_path, lives):
    cases = [failing.Case(at, 1, lives) for at in range(failing.STARTED)]
    assert table.allocations(counted, tmp_path, cases, 0) == []


@pytest.mark.parametrize("name", ["/main.py", "/boot.py"])
def test_m5_a_first_file_that_is_whole_and_always_fails_leaves_a_pump(image, tmp_path, name):
    # Sealed as it should be, so that no check finds it: what is left at the prompt is reset by the watchdog.
    shutil.copy(image, tmp_path / "fails.img")
    with rig.Files(tmp_path / "fails.img") as files:
        files.put(name, sealed("raise MemoryError\n").encode())
    found = rig.flood(tmp_path / "fails.img", tmp_path)
    assert found.good, found
    assert (found.mode, found.lives) == (("floats only", 6) if name == "/main.py" else ("station", 1))


@pytest.mark.long
def test_m5_a_last_resort_that_fails_in_main_alone_leaves_the_station_its_bench(image, tmp_path):
    # boot.py has opened the bench's stream by then; collected with the module, it was closed under the station.
    path = "/lib/duplexsump/station/minimal.py"
    shutil.copy(image, tmp_path / "fails.img")
    with rig.Files(tmp_path / "fails.img") as files:
        text = files.get(path).decode()
        look, made = re.search(r"def pins\(\):\n(    if not (\w+):\n)", text).groups()
        fails = f"    if len({made}) == 1:\n        {made}.append(None)\n        raise MemoryError\n"
        files.put(path, sealed(text.replace(look, fails + look)).encode())
    found = rig.flood(tmp_path / "fails.img", tmp_path)
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


@pytest.mark.long
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
