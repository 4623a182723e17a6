"""The firmware's types against the stubs of both boards, one after the other: they share file names."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.sampled import sampled

ROOT = Path(__file__).resolve().parents[2]


def check(tmp_path, board):
    """Run mypy over firmware/ with one board's stubs; return its result."""
    stubs = ROOT / ".stubs" / board
    if not stubs.is_dir():
        words = f'no .stubs/{board}: pip install --target .stubs/{board} "micropython-{board}-stubs==1.29.*"'
        if os.environ.get("CI"):
            pytest.fail(words)
        pytest.skip(words)
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    text = text.replace(".stubs/rp2", f".stubs/{board}").replace("$MYPY_CONFIG_FILE_DIR", str(ROOT))
    config = tmp_path / "pyproject.toml"
    config.write_text(text, encoding="utf-8")
    command = [sys.executable, "-m", "mypy", "--config-file", str(config), "--cache-dir", str(tmp_path / "cache")]
    return subprocess.run([*command, str(ROOT / "firmware")], capture_output=True, text=True, cwd=tmp_path, check=False)


@pytest.mark.parametrize("board", sampled(["rp2", "esp32"], 2))
def test_the_types_of_the_firmware_hold(tmp_path, board):
    result = check(tmp_path, board)
    assert result.returncode == 0, result.stdout + result.stderr
