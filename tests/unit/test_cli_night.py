"""`sumpbench night`, end to end with the real controller: verdicts, files, exit codes, refusals."""

import json
import re
import sys
from importlib import resources

import pytest
from typer.testing import CliRunner

from host_sim.cli.app import app, main
from host_sim.cli.night import weightiest
from host_sim.report import files
from host_sim.report.clock import Clock
from host_sim.report.lanes import short
from host_sim.report.timeline import Line
from host_sim.site.chosen import spelt

runner = CliRunner()
DEMO = (resources.files("host_sim") / "scenarios" / "demo.toml").read_text(encoding="utf-8")


def short_site(folder, lasts="40 min", faults=""):
    """Write a site like the demo's with a short scenario of its own and return its path."""
    head = DEMO[: DEMO.index("[scenario]")]
    text = f'{head}[scenario]\nbegins = "22:00"\nlasts = "{lasts}"\nseed = 1\nfaults = [{faults}]\n'
    path = folder / "cellar.toml"
    path.write_text(text, encoding="utf-8")
    return path


def night(*arguments):
    """Run `sumpbench night` and return (exit code, output with single white space)."""
    result = runner.invoke(app, ["night", *map(str, arguments)])
    return result.exit_code, " ".join(result.output.replace("│", " ").split())


def refused(monkeypatch, capsys, *arguments):
    """Run a night that must be refused with exit code 2 and return what is said on standard error."""
    monkeypatch.setattr(sys, "argv", ["sumpbench", "night", *map(str, arguments)])
    with pytest.raises(SystemExit) as stopped:
        main()
    assert stopped.value.code == 2
    said = capsys.readouterr().err
    assert "Traceback" not in said
    return said


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """Run the packaged demo once; give (exit code, output, folder)."""
    folder = tmp_path_factory.mktemp("demo") / "night"
    code, said = night("--out", folder)
    return code, said, folder


def test_the_demo_keeps_the_floor_dry_and_says_so_in_one_line(demo):
    code, said, _ = demo
    assert code == 0
    assert re.search(r"The floor stayed dry: highest water [0-9.]+ in below the floor at \d\d:\d\d; the alarm", said)


def test_the_demo_shows_that_one_pump_would_not_have_done(demo):
    _, said, folder = demo
    assert "one pump, float switch, no battery" in said
    figures = json.loads((folder / files.SUMMARY).read_text())
    assert figures["duplex"]["floor_dry"] is True
    assert figures["single"]["floor_dry"] is False


def test_the_demo_tells_outage_float_and_jam(demo):
    _, _, folder = demo
    story = (folder / "timeline.txt").read_text()
    for words in ("FAULT: the mains is out", "fault over: the mains is out", "the controller no longer believes"):
        assert words in story
    assert re.search(r"pump \d is tripped and rests", story)


def test_the_demo_picture_carries_what_its_story_tells(demo):
    _, _, folder = demo
    picture = (folder / "strip.svg").read_text()
    figures = json.loads((folder / files.SUMMARY).read_text())
    clock = Clock(figures["begins_s"], figures["duration_s"])
    peak = figures["duplex"]["highest_at_s"]
    for words in (f"at {clock.at(peak)},", "FLOOR  24.0 in", "mains lost (medium)", "horn sounds"):
        assert words in picture
    assert len(figures["faults"]) == 3
    for fault in figures["faults"]:
        assert short(fault["name"]) in picture
        assert clock.span(fault["start_s"], fault["end_s"]) in picture
    mains = next(fault for fault in figures["faults"] if fault["name"] == "mains-lost")
    assert f"out {clock.span(mains['start_s'], mains['end_s'])}" in picture


def test_the_demo_leaves_every_file_complete(demo):
    _, _, folder = demo
    assert sorted(path.name for path in folder.iterdir()) == sorted(files.NAMES)
    assert (folder / "strip.png").read_bytes().startswith(b"\x89PNG")
    lines = (folder / "journal.jsonl").read_text().splitlines()
    assert "settings" in json.loads(lines[0])
    times = [json.loads(line)["t"] for line in lines[1:]]
    assert len(times) > 500
    assert times == sorted(times)


def test_a_night_in_si(tmp_path):
    code, said = night(short_site(tmp_path), "--units", "si", "--out", tmp_path / "out")
    assert code == 0
    assert re.search(r"highest water \d+ mm below the floor", said)
    assert "[L/s]" in (tmp_path / "out" / "strip.svg").read_text()


def test_a_wet_floor_is_exit_code_1(tmp_path):
    faults = ["--fault", "pump1-will-not-start", "--fault", "pump2-will-not-start"]
    code, said = night(short_site(tmp_path), *faults, "--out", tmp_path / "out")
    assert code == 1
    assert "The floor got wet from 22:" in said
    assert "above the floor" in said


def test_the_single_pump_can_be_left_out(tmp_path):
    code, said = night(short_site(tmp_path), "--no-baseline", "--out", tmp_path / "out")
    assert code == 0
    assert "float switch" not in said
    assert json.loads((tmp_path / "out" / files.SUMMARY).read_text())["single"] is None


@pytest.mark.long
def test_the_same_seed_gives_the_same_night(tmp_path):
    site = short_site(tmp_path, faults='"lead-chattering@22:10+5min"')
    for name in ("a", "b"):
        night(site, "--seed", 5, "--no-baseline", "--out", tmp_path / name)
    first, second = ((tmp_path / name / "journal.jsonl").read_bytes() for name in ("a", "b"))
    assert first == second


def test_a_second_night_takes_the_place_of_the_first(tmp_path):
    site = short_site(tmp_path)
    night(site, "--out", tmp_path / "out")
    code, _ = night(site, "--out", tmp_path / "out", "--fault", "mains-lost@22:05+10min")
    assert code == 0
    assert "mains" in json.loads((tmp_path / "out" / files.SUMMARY).read_text())["faults"][0]["name"]


def test_everything_wrong_is_said_at_once_and_nothing_is_written(tmp_path, monkeypatch, capsys):
    site = short_site(tmp_path)
    text = site.read_text().replace('diameter = "18 in"', 'diameter = "18 gpm"').replace('"13 in"', '"15 in"')
    site.write_text(text)
    said = refused(monkeypatch, capsys, site, "--fault", "pump3-jammed", "--out", tmp_path / "out")
    for words in ("diameter", "18 gpm", "contacts.lead", "pump3-jammed", str(site)):
        assert words in said
    assert not (tmp_path / "out").exists()


def test_a_refused_night_leaves_older_results_as_they_were(tmp_path, monkeypatch, capsys):
    site = short_site(tmp_path)
    night(site, "--out", tmp_path / "out")
    before = {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}
    refused(monkeypatch, capsys, site, "--fault", "no-such-fault", "--out", tmp_path / "out")
    assert {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()} == before


def test_a_folder_with_files_of_somebody_else_is_refused_before_anything_runs(tmp_path, monkeypatch, capsys):
    (tmp_path / "timeline.txt").write_text("mine")
    said = refused(monkeypatch, capsys, short_site(tmp_path), "--out", tmp_path)
    assert "timeline.txt" in said
    assert "name another folder" in said
    assert (tmp_path / "timeline.txt").read_text() == "mine"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["no-such-scenario"], ["no-such-scenario", "demo"]),
        (["missing.toml"], ["missing.toml", "cannot be read"]),
        (["--fault", "pump1-jamed"], ["pump1-jamed", "did you mean pump1-jammed"]),
        (["--fault", "pump1-worn=3 gpm"], ["pump1-worn", "a share"]),
        (["--seed", "seven"], ["--seed", "seven", "a whole number"]),
        (["--seed", "-3"], ["--seed", "-3", "a whole number"]),
        (["--units", "metric"], ["--units", "metric", "us", "si"]),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else None,
)
def test_bad_input_names_what_was_given_and_what_is_allowed(tmp_path, monkeypatch, capsys, arguments, words):
    said = refused(monkeypatch, capsys, *arguments, "--out", tmp_path / "out")
    for word in words:
        assert word in said
    assert not (tmp_path / "out").exists()


def test_a_long_story_keeps_what_matters_most_in_order():
    lines = [Line(float(place), f"line {place}", weight) for place, weight in enumerate([0, 2, 1, 0, 1, 2, 0])]
    assert [line.text for line in weightiest(lines, 3)] == ["line 1", "line 2", "line 5"]
    assert weightiest(lines, 10) == lines


def test_a_packaged_name_may_be_written_with_a_hyphen():
    assert spelt("water-table") == "water_table"
    assert spelt("no-such-scenario") == "no-such-scenario"


def test_every_packaged_scenario_is_listed():
    said = " ".join(runner.invoke(app, ["scenarios"]).output.split())
    names = [item.name[:-5] for item in (resources.files("host_sim") / "scenarios").iterdir() if item.suffix == ".toml"]
    assert "demo" in names
    for name in names:
        assert f" {name} " in f" {said} "
