"""`sumpbench night`, end to end with the real controller: verdicts, files, exit codes, refusals."""

import errno
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
from host_sim.report.console import CAUTIONS_LINE
from host_sim.report.lanes import short
from host_sim.report.timeline import Line
from host_sim.site import faults
from host_sim.site.chosen import read, spelt

runner = CliRunner()
DEMO = (resources.files("host_sim") / "scenarios" / "demo.toml").read_text(encoding="utf-8")


def short_site(folder, lasts="40 min", faults=""):
    """Write a site like the demo's with a short scenario of its own and return its path."""
    head = DEMO[: DEMO.index("[scenario]")]
    text = f'{head}[scenario]\nbegins = "22:00"\nlasts = "{lasts}"\nseed = 1\nfaults = [{faults}]\n'
    path = folder / "basement.toml"
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
    assert re.search(r"The floor stayed dry: highest water [0-9.]+ in below the floor at \d\d:\d\d; horn or", said)


def test_the_demo_shows_that_one_pump_would_not_have_done(demo):
    _, said, folder = demo
    assert "one pump, float switch, no battery" in said
    figures = json.loads((folder / files.SUMMARY).read_text())
    assert figures["duplex"]["floor_dry"] is True
    assert figures["single"]["floor_dry"] is False


def test_the_demo_tells_outage_float_and_jam(demo):
    _, _, folder = demo
    story = (folder / "timeline.txt").read_text()
    for words in ("FAULT: mains out", "end of fault: mains out", "lead float suspect: it reads dry"):
        assert words in story
    assert re.search(r"pump \d: tripped, resting before a retry", story)


def test_the_demo_picture_carries_what_its_story_tells(demo):
    _, _, folder = demo
    picture = (folder / "strip.svg").read_text()
    figures = json.loads((folder / files.SUMMARY).read_text())
    clock = Clock(figures["begins_s"], figures["duration_s"])
    peak = figures["duplex"]["highest_at_s"]
    for words in (f"at {clock.at(peak)},", "FLOOR  24.0 in", "mains lost (medium)", "horn"):
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


@pytest.mark.long
def test_a_night_in_si(tmp_path):
    code, said = night(short_site(tmp_path), "--units", "si", "--out", tmp_path / "out")
    assert code == 0
    assert re.search(r"highest water \d+ mm below the floor", said)
    assert "[L/s]" in (tmp_path / "out" / "strip.svg").read_text()


@pytest.mark.long
def test_a_wet_floor_is_exit_code_1(tmp_path):
    both = ["--fault", "pump1-will-not-start", "--fault", "pump2-will-not-start"]
    code, said = night(short_site(tmp_path), *both, "--out", tmp_path / "out")
    assert code == 1
    assert "The floor got wet from 22:" in said
    assert "above the floor" in said


@pytest.mark.long
def test_faults_of_the_command_line_come_on_top_of_the_scenarios_own(tmp_path):
    site = short_site(tmp_path, faults='"pump1-jammed@22:10+5min"')
    night(site, "--fault", "mains-lost@22:05+10min", "--no-baseline", "--out", tmp_path / "out")
    faults = json.loads((tmp_path / "out" / files.SUMMARY).read_text())["faults"]
    assert [fault["name"] for fault in faults] == ["mains-lost", "pump1-jammed"]


@pytest.mark.long
def test_without_its_own_faults_a_night_has_only_those_of_the_command_line(tmp_path):
    site = short_site(tmp_path, faults='"pump1-jammed@22:10+5min"')
    night(site, "--no-faults", "--fault", "mains-lost@22:05+10min", "--no-baseline", "--out", tmp_path / "out")
    faults = json.loads((tmp_path / "out" / files.SUMMARY).read_text())["faults"]
    assert [fault["name"] for fault in faults] == ["mains-lost"]
    night(site, "--no-faults", "--no-baseline", "--out", tmp_path / "out")
    assert json.loads((tmp_path / "out" / files.SUMMARY).read_text())["faults"] == []


@pytest.mark.long
def test_the_last_line_points_to_the_cautions(tmp_path):
    result = runner.invoke(app, ["night", str(short_site(tmp_path)), "--no-baseline", "--out", str(tmp_path / "out")])
    assert result.output.rstrip().splitlines()[-1] == CAUTIONS_LINE


@pytest.mark.long
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


@pytest.mark.long
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


@pytest.mark.long
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


NEVER = [
    ("mains-lost@41min", "begins 0.6833 h after the start, but the scenario lasts 0.6667 h"),
    ("mains-lost@21:59", "begins 23.98 h after the start"),
    ("transmitter-frozen", "this site has no level transmitter"),
    ("lag-stuck-wet", "this site has no lag float"),
    ("battery-weak", "this site has no battery"),
    ("charger-failed", "this site has no charger"),
    ("pump2-sensor-dead", "this site has no current sensor or run feedback"),
]


def bare_site(folder, faults=""):
    """Write a site of two pumps on the mains with no lag float, battery or sensing, and return its path."""
    site = short_site(folder, faults=faults)
    text = re.sub(r"\[contacts\.lag\].*?\n\n", "", site.read_text(), flags=re.DOTALL)
    text = re.sub(r"\[pump2\].*?\n\n", "", text, flags=re.DOTALL)
    text = re.sub(r"\[supply\].*?\n\n", "", text, flags=re.DOTALL)
    site.write_text(text.replace('sensing = "current"', 'sensing = "nothing"'))
    return site


@pytest.mark.parametrize(("fault", "words"), NEVER, ids=[fault for fault, _ in NEVER])
def test_a_fault_that_never_takes_effect_is_refused(tmp_path, monkeypatch, capsys, fault, words):
    said = refused(monkeypatch, capsys, bare_site(tmp_path), "--fault", fault, "--out", tmp_path / "out")
    assert f'--fault: fault "{fault.split("@")[0]}"' in said
    assert words in said
    assert not (tmp_path / "out").exists()


@pytest.mark.long
def test_a_fault_of_the_site_file_that_never_takes_effect_is_refused_and_may_be_dropped(tmp_path, monkeypatch, capsys):
    site = bare_site(tmp_path, faults='"lag-stuck-dry", "pump1-jammed@3h"')
    said = refused(monkeypatch, capsys, site, "--out", tmp_path / "out")
    assert f'{site}: scenario.faults: fault "lag-stuck-dry" never takes effect' in said
    assert f'{site}: scenario.faults: fault "pump1-jammed" begins 3 h after the start' in said
    code, _ = night(site, "--no-faults", "--no-baseline", "--out", tmp_path / "out")
    assert code == 0


@pytest.mark.parametrize("fault", [name for name, kind in faults.REGISTRY.items() if not kind.needs])
def test_a_fault_that_needs_nothing_is_taken_by_every_site(tmp_path, fault):
    _, added, _ = read(str(bare_site(tmp_path)), [fault], None)
    assert [one.name for one in added] == [fault]


def test_the_demo_takes_every_fault_of_what_it_has():
    lacking = {name for name, kind in faults.REGISTRY.items() if "level transmitter" in kind.needs}
    _, added, _ = read(None, [name for name in faults.REGISTRY if name not in lacking], None)
    assert len(added) == len(faults.REGISTRY) - len(lacking)


def test_results_that_cannot_be_written_are_exit_code_2_not_a_wet_floor(tmp_path, monkeypatch, capsys):
    def full(folder, name, content):
        raise OSError(errno.ENOSPC, "No space left on device", str(folder / name))

    monkeypatch.setattr(files, "write", full)
    said = refused(monkeypatch, capsys, short_site(tmp_path), "--no-baseline", "--out", tmp_path / "out")
    assert f"{tmp_path / 'out' / 'strip.png'}: cannot be read or written: No space left on device" in said


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
