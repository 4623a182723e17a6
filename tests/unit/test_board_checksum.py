"""One number for one firmware: the same on the PC, as sources on a board, and compiled for each board.

That a running board tells it, from sources and compiled, is shown in `tests/micropython/test_virtual_board.py`.
"""

import shutil
import zlib
from pathlib import Path

import pytest
from duplexsump.station import checksum
from duplexsump.station.checksum import BUILT_FROM, files_checksum, firmware_checksum

from host_sim.board.deploy import compile_firmware
from host_sim.board.virtual import FIRMWARE
from host_sim.run import journal

LIBRARY = FIRMWARE / "lib" / "duplexsump"


@pytest.fixture(scope="module")
def posix(tmp_path_factory):
    # Made once: a build takes seconds of processor time.
    folder = tmp_path_factory.mktemp("posix") / "build"
    compile_firmware(FIRMWARE, folder, "posix")
    return folder


@pytest.fixture
def build(posix, tmp_path):
    return Path(shutil.copytree(posix, tmp_path / "build"))


def test_the_sum_is_a_crc_32_over_names_and_contents_in_order(tmp_path):
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "two.py").write_bytes(b"2" * 1000)
    (tmp_path / "a.py").write_bytes(b"1")
    (tmp_path / "notes.txt").write_bytes(b"not counted")
    expected = zlib.crc32(b"/a.py" + b"1" + b"/b/two.py" + b"2" * 1000)
    assert files_checksum(str(tmp_path)) == firmware_checksum(str(tmp_path)) == expected


def test_the_pc_knows_the_firmware_by_its_sources():
    assert journal.firmware_checksum() == firmware_checksum(str(LIBRARY)) == files_checksum(str(LIBRARY))


@pytest.mark.long
@pytest.mark.parametrize("board", ["pico", "esp32", "posix"])
def test_a_build_tells_the_sources_it_was_built_from_for_as_long_as_it_is_whole(tmp_path, board):
    build = tmp_path / "build"
    compile_firmware(FIRMWARE, build, board)
    assert firmware_checksum(str(build)) == journal.firmware_checksum()
    whole = build / "station" / "run.mpy"
    whole.write_bytes(whole.read_bytes() + b"\0")
    assert firmware_checksum(str(build)) == files_checksum(str(build)) != journal.firmware_checksum()


@pytest.mark.parametrize("told", [None, "", "12345678", "x y", "one two three"])
def test_a_build_that_does_not_say_so_is_known_by_its_own_files(build, told):
    (build / BUILT_FROM).unlink()
    if told is not None:
        (build / BUILT_FROM).write_text(told)
    assert firmware_checksum(str(build)) == files_checksum(str(build)) != journal.firmware_checksum()


def test_a_build_that_the_manifest_has_just_proved_is_not_read_again(build, monkeypatch):
    manifest = checksum.Manifest(str(build))
    # The root is another here.
    manifest.body = "".join(row + "\n" for row in manifest.body.splitlines() if " //" not in row)
    assert (manifest.damaged(), manifest.sound) == ([], True)
    monkeypatch.setattr(checksum, "files_checksum", None)
    assert firmware_checksum(str(build), manifest.sound) == journal.firmware_checksum()
    (build / "station" / "run.mpy").write_bytes(b"M")
    assert (manifest.damaged(), manifest.sound) == (["/station/run.mpy"], False)


@pytest.mark.long
def test_other_sources_are_another_firmware(tmp_path):
    shutil.copytree(FIRMWARE, tmp_path / "firmware")
    gate = tmp_path / "firmware" / "lib" / "duplexsump" / "control" / "gate.py"
    gate.write_text(gate.read_text() + "\n")
    compile_firmware(tmp_path / "firmware", tmp_path / "build", "posix")
    assert firmware_checksum(str(tmp_path / "build")) == firmware_checksum(str(gate.parents[1]))
    assert firmware_checksum(str(tmp_path / "build")) != journal.firmware_checksum()
