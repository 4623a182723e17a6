"""The program itself: its version, its exit codes where output fails, and what git is told to ignore."""

import fnmatch
import subprocess
import sys
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from hil.cli.app import add_commands
from host_sim.cli.app import app
from host_sim.compiled import select
from host_sim.run.journal import firmware_checksum

ROOT = Path(__file__).resolve().parents[2]


def test_the_version_names_the_firmware_by_its_checksum():
    said = CliRunner().invoke(app, ["--version"])
    assert said.exit_code == 0
    assert said.output.startswith("sumpbench ")
    assert f"control firmware {firmware_checksum():08x}, " in said.output
    assert said.output.rstrip().endswith(f", {select.told()}")


def program(*arguments, **streams):
    """Start `sumpbench` as a process of its own."""
    command = [sys.executable, "-m", "host_sim", *arguments]
    return subprocess.Popen(command, cwd=ROOT, stderr=subprocess.PIPE, text=True, **streams)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
@pytest.mark.parametrize("command", ["faults", "registers"])
def test_a_full_disk_behind_the_output_is_exit_code_2(command):
    with open("/dev/full", "w") as full:
        process = program(command, stdout=full)
    _, said = process.communicate(timeout=600)
    assert process.returncode == 2
    assert "No space left on device" in said
    assert "Traceback" not in said


@pytest.mark.parametrize("command", ["faults", "registers"])
def test_a_reader_that_goes_away_is_exit_code_2(command):
    process = program(command, stdout=subprocess.PIPE)
    process.stdout.close()
    said = process.stderr.read()
    assert process.wait(timeout=600) == 2
    assert "Traceback" not in said


def defaults(group):
    """Yield (command, option, default) of every path that a command of a click group takes by default."""
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from defaults(command)
            continue
        for option in command.params:
            if isinstance(option.default, Path) or (option.name in ("out", "record") and option.default):
                yield name, option.name, str(option.default)


def test_git_ignores_everything_that_a_command_writes_by_default():
    add_commands()
    patterns = [line.strip("/") for line in (ROOT / ".gitignore").read_text().splitlines() if line.startswith("/")]
    found = sorted(set(defaults(typer.main.get_command(app))))
    written = {path for _, _, path in found}
    assert {"sumpbench-night", "sumpbench-size", "sumpbench-acceptance", "hose-test.json"} <= written
    missing = [row for row in found if not any(fnmatch.fnmatch(row[2], pattern) for pattern in patterns)]
    assert missing == []
