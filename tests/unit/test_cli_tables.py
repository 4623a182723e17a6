"""The commands that list and draw: complete, in both forms, and refusals that say what to do."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from duplexsump.control import settings
from typer.testing import CliRunner

from host_sim.benchmark import goals, pairs, speed
from host_sim.cli.app import app, main
from host_sim.site import faults

runner = CliRunner()


def words(command, *more):
    """Run a command that must succeed and return its output with all white space made single."""
    result = runner.invoke(app, [command, *more])
    assert result.exit_code == 0, result.output
    return " ".join(result.output.split())


def refused(monkeypatch, capsys, *command):
    """Run a command that must be refused with exit code 2 and return what is said on standard error."""
    monkeypatch.setattr(sys, "argv", ["sumpbench", *command])
    with pytest.raises(SystemExit) as stopped:
        main()
    assert stopped.value.code == 2
    said = capsys.readouterr().err
    assert "Traceback" not in said
    return " ".join(said.split())


def test_settings_lists_every_setting_with_range_and_default():
    said = words("settings")
    for name, unit, least, most, *_ in settings.TABLE:
        assert " ".join(f"{name} {unit} {least} .. {most}".split()) in said


def test_settings_names_every_source():
    said = words("settings")
    for source in {row[settings.SOURCE] for row in settings.TABLE}:
        assert source in said


def test_long_times_also_stand_in_words():
    assert "600000 (10 min)" in words("settings")


def test_settings_as_json_is_the_firmware_table():
    rows = json.loads(runner.invoke(app, ["settings", "--json"]).output)
    assert [tuple(row.values()) for row in rows] == [tuple(row) for row in settings.TABLE]


def test_faults_lists_the_whole_registry_and_the_grammar():
    said = words("faults")
    for kind in faults.REGISTRY.values():
        assert kind.name in said
    assert f"{len(faults.REGISTRY)} faults" in said
    assert faults.GRAMMAR in said


def test_chart_prints_mermaid_of_one_machine():
    result = runner.invoke(app, ["chart", "pump"])
    assert result.exit_code == 0
    assert "stateDiagram-v2" in result.output
    assert "starting --> running: proved" in result.output


def test_chart_writes_the_text_of_every_machine(tmp_path):
    said = words("chart", "--out", str(tmp_path / "charts"))
    names = sorted(path.name for path in (tmp_path / "charts").iterdir())
    assert names == sorted(f"{name}.mmd" for name in ("pump", "alarm", "blind"))
    assert f"One pump: {tmp_path / 'charts' / 'pump.mmd'}" in said
    assert (tmp_path / "charts" / "pump.mmd").read_text() == runner.invoke(app, ["chart", "pump"]).output[:-1]


def test_in_a_terminal_chart_prints_a_table_of_states_and_events_too(monkeypatch):
    monkeypatch.setenv("TTY_COMPATIBLE", "1")
    said = " ".join(re.sub(r"\x1b\[[0-9;]*m", "", runner.invoke(app, ["chart", "alarm"]).output).split())
    assert "in state event next state normal raise unacknowledged acknowledge stays reset stays" in said
    assert "unacknowledged clear returned clear latching latched acknowledge acknowledged reset stays" in said
    assert "stateDiagram-v2" in said


def test_an_unknown_machine_is_refused_and_the_known_ones_named(monkeypatch, capsys):
    said = refused(monkeypatch, capsys, "chart", "valve")
    assert '"valve"' in said
    assert "pump, alarm, blind" in said


def measured(progress):
    """Stand in for a measurement, which takes half a minute: two rows of known figures."""
    progress("the demo night")
    night = speed.Row("demo night", 36000.0, 0.5, 10000)
    other = speed.Row("another engine", 36000.0, 1.0, 0, "no controller")
    return [night, other], ["The demo night takes 0.50 times the other's time."]


def cores(progress, rounds):
    """Stand in for the measurement of both cores."""
    progress("core")
    return [pairs.Pair("core", "step", 50e-6, 2.5e-6, 20.0, 0.001, 0.00005, 12.0, 240.0)]


def wanted(both, load, quick, progress):
    """Stand in for the goals: one met, one missed, one that this run cannot tell."""
    assert both[0].name == "core" and load >= 0.0
    progress("start-up")
    return [
        goals.Goal("start", "0.21 s", "0.3 s", True), goals.Goal("log", "7.0 times", "5 times", False, "busy"),
        goals.Goal("two", "0.61", "0.9", None),
    ]  # fmt: skip


def test_the_benchmark_shows_every_row_and_what_it_says(monkeypatch, tmp_path):
    monkeypatch.setattr(speed, "run_benchmark", measured)
    monkeypatch.setattr(pairs, "compare", cores)
    monkeypatch.setattr(goals, "measured", wanted)
    path = tmp_path / "runs.jsonl"
    said = words("benchmark", "--history", str(path))
    assert "core: step 50.0 us 2.5 us 20.0 12.0 240.0" in said
    assert "No run before this one on this machine to compare with." in said
    assert "Nothing is slower" in words("benchmark", "--history", str(path))
    assert len(path.read_text().splitlines()) == 2
    # 0.5 s over 10000 steps are 50 us a step; over ten hours 50 ms an hour and 72,000 times real time.
    assert "demo night 10 h 0.50 s 10000 50 50.00 72,000" in said
    assert "another engine 10 h 1.00 s 0 100.00 36,000" in said
    assert "The demo night takes 0.50 times the other's time." in said
    for line in ("start 0.21 s 0.3 s yes", "log 7.0 times 5 times NO busy", "two 0.61 0.9 unknown"):
        assert line in said


def test_the_benchmark_as_json(monkeypatch, tmp_path):
    monkeypatch.setattr(speed, "run_benchmark", measured)
    monkeypatch.setattr(pairs, "compare", cores)
    monkeypatch.setattr(goals, "measured", wanted)
    path = str(tmp_path / "runs.jsonl")
    figures = json.loads(runner.invoke(app, ["benchmark", "--json", "--history", path]).stdout)
    assert figures["rows"][0]["us_per_step"] == pytest.approx(50.0)
    assert figures["rows"][1]["note"] == "no controller"
    assert figures["cores"][0]["ratio"] == 20.0
    assert len(figures["says"]) == 3
    assert [goal["met"] for goal in figures["goals"]] == [True, False, None]


def test_help_comes_up_without_the_heavy_libraries():
    script = (
        "import sys\n"
        "from typer.testing import CliRunner\n"
        "from host_sim.cli.app import app\n"
        "assert CliRunner().invoke(app, ['--help']).exit_code == 0\n"
        "heavy = {'matplotlib', 'scipy', 'numpy', 'pint', 'fluids', 'pandas'} & set(sys.modules)\n"
        "sys.exit(', '.join(sorted(heavy)) or 0)\n"
    )
    root = Path(faults.__file__).parents[1]
    result = subprocess.run([sys.executable, "-c", script], cwd=root, capture_output=True, text=True, timeout=600)
    assert result.returncode == 0, result.stderr


def test_help_carries_the_cautions():
    said = words("--help").replace("│", "")
    for caution in ("breaker switched off and tagged", "people drown", "explosive gas",
                    "Local codes and licensed trades"):
        assert caution in said
