"""M5 by damage on the emulated RP2040: a small seeded sample, and that its judge can fail.

The sample of any size is `python -m tests.micropython.damage_table --emulated`; all of it runs on 64-bit MicroPython
(`tests/micropython/test_damage.py`).  Needs MicroPython's UF2 for RPI_PICO.
"""

from collections import Counter

import pytest

from tests.hil.emulated_chip import uf2
from tests.micropython import damage_cases, damage_emulated, failing
from tests.micropython import damage_rig as rig

SEED = 20261130
NAMES = ["/boot.py", "/main.py", "/lib/duplexsump/manifest"]


@pytest.fixture(scope="module")
def chip(tmp_path_factory):
    with damage_emulated.Chip(uf2(), tmp_path_factory.mktemp("chip")) as made:
        yield made


@pytest.mark.long
def test_m5_a_sound_installation_keeps_the_pit_by_its_station(chip):
    found = chip.flood(chip.image)
    assert (found.good, found.mode, found.lives) == (True, "station", 1), found


@pytest.mark.long
def test_m5_a_chip_without_anything_keeps_no_pit(chip):
    def bare(files):
        for name in damage_cases.names_of(chip.image):
            files.fs.remove(name)

    found = chip.damaged(damage_cases.Damage("all files missing", "all", bare))
    assert not found.good and found.pump_ms is None, found


@pytest.mark.long
def test_the_planted_failure_reaches_the_chip_and_ends_its_first_life_alone(chip):
    case = failing.Case(60_000)
    found = chip.damaged(damage_cases.Damage("an allocation fails", str(case), case.plant, case))
    assert (found.good, found.lives) == (True, 2), found


@pytest.mark.long
def test_m5_a_damaged_chip_keeps_the_pit_a_sample(chip):
    print(f"seed {SEED}")
    assert damage_emulated.campaign(chip, 3, SEED, Counter()) == []


def test_a_sample_is_the_same_for_the_same_seed_and_has_every_kind():
    first, again = ([(one.kind, one.words) for one in damage_cases.sample(NAMES, 18, SEED)] for _ in range(2))
    assert first == again
    kinds = {f"a file {how.__name__}" for how in damage_cases.WAYS} | {*damage_cases.GROUPS, "an allocation fails"}
    assert Counter(kind for kind, _ in first) == dict.fromkeys(kinds, 2)
    assert len(set(first)) == len(first)
    piece = [(one.kind, one.words) for one in damage_cases.sample(NAMES, 4, SEED, 7)]
    assert piece == first[6:10]
    drawn = {name for members in damage_cases.GROUPS.values() for name in members}
    assert drawn == set(damage_cases.SURROUNDINGS)


def test_what_is_damaged_is_another_file_afterwards_and_all_others_are_as_before(tmp_path):
    from hil.kits.emulated import flash

    pytest.importorskip("littlefs", reason="littlefs-python is missing: pip install 'sumpbench[emulated]'")
    image = tmp_path / "image"
    sound = {name: bytes(range(50, 150)) for name in NAMES} | {"/pit/settings.a": b"settings"}
    for damage in damage_cases.sample(NAMES, 18, SEED):
        if damage.planted:
            continue
        image.write_bytes(flash.make_files({"/pit/": b"", **sound}))
        with rig.Files(image) as files:
            damage.make(files)
        left = flash.read_files(image.read_bytes())
        changed = {name for name in sound if left.get(name) != sound[name]}
        if damage.kind.startswith("a file "):
            assert changed == {damage.words.split(" (")[0]} and set(left) <= set(sound), damage
        else:
            assert changed <= {"/pit/settings.a"} and left != sound, damage
