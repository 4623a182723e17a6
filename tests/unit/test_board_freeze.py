"""An image with the firmware frozen in: what is in it, what stays on flash, and that the two agree."""

import sys

import pytest
from duplexsump.station.checksum import Manifest, firmware_checksum

from host_sim.board import freeze
from host_sim.board.deploy import PACKAGE
from host_sim.board.virtual import FIRMWARE
from host_sim.run.journal import firmware_checksum as sources

pytestmark = pytest.mark.long


def test_what_is_frozen_and_what_stays_on_flash_agree(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["freeze", "pico", str(tmp_path)])
    freeze.main()
    assert "on flash: station/checksum.py, station/minimal.py" in capsys.readouterr().out
    frozen = {str(path.relative_to(tmp_path / "frozen")) for path in (tmp_path / "frozen").rglob("*") if path.is_file()}
    assert {"duplexsump/__init__.mpy", "duplexsump/boards/pico.mpy", "duplexsump/station/run.mpy"} <= frozen
    assert all(name.endswith(".mpy") for name in frozen)
    # An image knows a frozen module by the name that its file bears inside, not by where the file lay.
    for name in frozen:
        assert name.replace(".mpy", ".py").encode() in (tmp_path / "frozen" / name).read_bytes()[:60], name
    assert not any("esp32" in name or "posix" in name or "minimal" in name or "checksum" in name for name in frozen)
    flash = tmp_path / "flash"
    for name in freeze.FIRST:
        assert (flash / name).read_bytes() == (FIRMWARE / name).read_bytes()
    # What a board finds at power-up: every file as the manifest says, and the checksum of the sources.
    manifest = Manifest(str(flash / PACKAGE))
    assert (manifest.note, manifest.body.count("\n")) == ("", 4)
    assert firmware_checksum(str(flash / PACKAGE)) == sources() == firmware_checksum(str(flash / PACKAGE), True)
    text = (tmp_path / "manifest.py").read_text()
    assert f"freeze_mpy('{(tmp_path / 'frozen').resolve()}')" in text and "boards/manifest.py" in text
