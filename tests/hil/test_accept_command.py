"""`sumpbench accept` and `sumpbench procedures` as a person types them."""

import json
import os
import subprocess
import sys

import pytest
import typer
from typer.testing import CliRunner

from hil.acceptance import procedure
from hil.cli import accept
from hil.kits import select
from hil.kits.virtual import VirtualKit
from host_sim.errors import InputError
from tests.micropython.places import ROOT, micropython
from tests.sampled import sampled


def sumpbench(*arguments, cwd=None):
    """Run the whole command line; return (exit code, standard output, standard error)."""
    environment = {**os.environ, "PYTHONPATH": f"{ROOT / 'firmware/lib'}:{ROOT}", "COLUMNS": "160"}
    command = [sys.executable, "-m", "hil", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=600, env=environment, cwd=cwd, check=False)
    return done.returncode, done.stdout, done.stderr


def test_the_console_script_is_the_whole_command_line():
    text = (ROOT / "pyproject.toml").read_text()
    assert 'sumpbench = "hil.cli.app:main"' in text
    code, said, _ = sumpbench("--help")
    assert code == 0
    for command in ("night", "size", "replay", "accept", "procedures", "commission", "rig"):
        assert f" {command} " in said


def test_help_comes_up_without_the_heavy_libraries():
    heavy = ("numpy", "scipy", "fluids", "pint", "matplotlib", "serial", "pytest", "rp2040py", "numba")
    start = "import sys; from hil.cli.app import add_commands; add_commands()"
    code = f"{start}; print([one for one in {heavy} if one in sys.modules])"
    environment = {**os.environ, "PYTHONPATH": f"{ROOT / 'firmware/lib'}:{ROOT}"}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.long
def test_procedures_lists_what_each_proves_and_needs():
    code, said, _ = sumpbench("procedures", "--json")
    assert code == 0
    found = {row["name"]: row for row in json.loads(said)}
    assert len(found) >= 25
    for row in found.values():
        assert row["purpose"].endswith(".") and row["clauses"]
    assert "power" in found["power_up_delay"]["needs"]
    code, said, _ = sumpbench("procedures")
    assert code == 0
    assert "Shock: procedures start pumps" in said
    for name in found:
        assert name in said


def test_one_command_leaves_a_record_on_paper_and_as_data(tmp_path):
    micropython()
    code, said, errors = sumpbench(
        "accept", "--virtual", "--only", "floats_in_order", "--only", "lockout", "--place", "1 Invented Lane",
        "--out", tmp_path / "record",
    )  # fmt: skip
    assert (code, errors) == (0, ""), said
    assert "2 procedures: 2 pass" in said
    assert "contact to relay at the pins, less debounce: median" in said
    record = json.loads((tmp_path / "record" / "record.json").read_text())
    assert [entry["name"] for entry in record["procedures"]] == ["floats_in_order", "lockout"]
    assert record["complete"] is True
    assert record["board"]["place"] == "virtual"
    assert record["latency"]["samples"] == 20 and record["latency"]["debounce_ms"] == 1000
    assert "NO HARDWARE WAS TESTED" in said and f"not tested: {len(procedure.load()) - 2} other procedures" in said
    page = (tmp_path / "record" / "record.html").read_text()
    assert "floats_in_order" in page and page.count("NO HARDWARE WAS TESTED") == 2 and "signature" not in page
    assert "Place: <b>1 Invented Lane</b>" in page and "dry run trip" in page


@pytest.mark.long
@pytest.mark.parametrize(
    ("arguments", "words"),
    sampled([
        ((), "which board?"),
        (("--virtual", "--port", "/dev/ttyACM0"), "one board at a time"),
        (("--virtual", "--only", "flod"), 'there is no procedure "flod"'),
        (("--emulated",), "needs a MicroPython UF2"),
        (("--port", "/dev/no-such-port", "--rig-port", "/dev/no-such-rig"), "there is no such port"),
        (("--port", "/dev/no-such-port", "--forces"), "there is no such port"),
        (("--port", "/dev/null"), "needs its rig's port (--rig-port), or forced inputs"),
    ], 7),
)  # fmt: skip
def test_what_cannot_be_used_is_told_in_a_line(arguments, words, tmp_path):
    code, said, errors = sumpbench("accept", *arguments, "--out", tmp_path / "record", cwd=tmp_path)
    assert code == 2
    assert words in errors
    assert "Traceback" not in said + errors
    assert not (tmp_path / "record").exists(), "nothing is left behind"


@pytest.mark.long
def test_somebody_elses_record_is_not_overwritten(tmp_path):
    (tmp_path / "record.json").write_text('{"mine": true}')
    code, _, errors = sumpbench("accept", "--virtual", "--only", "lockout", "--out", tmp_path)
    assert code == 2
    assert "record.json" in errors and "Traceback" not in errors
    assert (tmp_path / "record.json").read_text() == '{"mine": true}'


def test_wrong_wiring_stops_it_and_leaves_a_record_marked_incomplete(tmp_path, monkeypatch):
    micropython()
    kit = VirtualKit()
    monkeypatch.setattr(kit, "prove", swapped)
    monkeypatch.setattr(select, "open_kit", lambda choice: kit)
    app = typer.Typer()
    accept.add_to(app)
    arguments = ["accept", "--port", "/dev/a", "--rig-port", "/dev/b", "--out", str(tmp_path / "record")]
    found = CliRunner().invoke(app, arguments)
    assert found.exit_code == 2, found.output
    assert "Shock: procedures start pumps" in found.output
    assert "INCOMPLETE: lead and lag are swapped" in found.output
    record = json.loads((tmp_path / "record" / "record.json").read_text())
    assert (record["complete"], record["why_incomplete"]) == (False, "lead and lag are swapped")
    assert record["procedures"] == []
    assert kit.board.process is None, "the outputs dropped with its power"


def test_an_acceptance_in_which_everything_was_skipped_is_none(tmp_path, monkeypatch):
    micropython()
    kit = VirtualKit()
    monkeypatch.setattr(kit, "wires", kit.wires - {"lead"})
    monkeypatch.setattr(select, "open_kit", lambda choice: kit)
    app = typer.Typer()
    accept.add_to(app)
    arguments = ["accept", "--virtual", "--only", "lockout", "--out", str(tmp_path / "record")]
    found = CliRunner().invoke(app, arguments)
    assert found.exit_code == 1, found.output
    assert "nothing was tested: every procedure was skipped" in found.output
    assert 'skipped: there is no wire "lead" on this board (virtual)' in found.output


def swapped(say, coils_only):
    raise InputError("lead and lag are swapped", "wiring")
