"""What an explained night says: changes tried, the account, the pictures, and the command that gives them."""

import copy
import dataclasses
import json
import re

import numpy as np
import pytest
from duplexsump.control.records import OUT_PUMP_1
from typer.testing import CliRunner

from host_sim.cli.app import app
from host_sim.errors import InputError
from host_sim.replay import account as words
from host_sim.replay import night, picture, plain_data, whatif, zoom
from host_sim.replay.findings.finding import Finding
from host_sim.replay.reading import export, mapping, table_log
from host_sim.report.units import SI, US
from tests.replay_nights import by_contacts, demo, flood_night, logged
from tests.replay_nights import night as simulate


@pytest.fixture(scope="module")
def flood():
    """Give (site, trace, log) of a night in which the one float of the one pump hung and the floor got wet."""
    return flood_night()


@pytest.fixture(scope="module")
def explained():
    """Give the account of the flood night, its changes tried."""
    site, _, log = flood_night()
    account = night.explain(log, site, "single")
    night.try_changes(account, ["repaired", "controller=duplex"], ["pump=100%:300%:2"])
    return account


@pytest.mark.long
def test_the_evidence_speaks_the_units_of_the_report(flood):
    site, _, log = flood
    for units, own, other in ((US, " in ", " mm"), (SI, " mm ", " in ")):
        account = night.explain(log, site, "single", units=units)
        told = "\n".join(words.page(account, units))
        assert own in told and not re.search(rf"\d{other.rstrip()}\b", told)


def test_a_cause_that_the_finding_names_is_not_said_twice():
    out = Finding("no mains", "established", 0.0, 1.0, "the mains was out", [], ["the mains was out"])
    assert words.causes_of(out) == ""
    weak = Finding("weak pump", "likely", 0.0, 1.0, "pump 1 delivers 60%", [], ["worn impeller", "clogged inlet"])
    assert words.causes_of(weak) == "likely causes: worn impeller, clogged inlet"


@pytest.mark.long
def test_a_log_of_contacts_alone_goes_through_the_command(tmp_path):
    log = by_contacts(logged(simulate(demo(1.0)), contacts=True))
    export.write(log, tmp_path / "log.csv")
    (tmp_path / "log.csv.map.toml").write_text(mapping.as_toml(export.mapping_of(log, "csv")))
    done = CliRunner().invoke(app, ["replay", str(tmp_path / "log.csv"), "--site", "demo", "--change", "pump=150%",
                                    "--out", str(tmp_path / "out")])  # fmt: skip
    assert done.exit_code == 0, done.output
    assert len(list((tmp_path / "out").iterdir())) == 4
    assert "highest water:" not in done.output and "highest contact wet: " in done.output


@pytest.mark.long
def test_the_night_run_again_comes_out_as_the_log_shows(explained):
    again, shown = explained.outcomes[0], explained
    assert again.highest_m == pytest.approx(shown.highest_m, abs=0.03)
    assert not again.dry and not shown.floor_dry
    assert again.floor_wet_s == pytest.approx(shown.floor_wet_s, rel=0.25)


def test_the_changes_say_what_would_have_kept_the_floor_dry(explained):
    outcomes = {outcome.change: outcome for outcome in explained.outcomes}
    assert outcomes["repaired"].dry and outcomes["controller=duplex"].dry
    assert "would have stayed dry" in words.cure(explained)
    assert [outcome.dry for outcome in explained.sweep[0]] == [False, False]


def test_no_cure_is_claimed_where_the_simulation_does_not_show_the_flood(explained):
    other = copy.copy(explained)
    other.outcomes = [dataclasses.replace(explained.outcomes[0], dry=True), *explained.outcomes[1:]]
    assert "unlike in the log" in words.cure(other) and "would have" not in words.cure(other)


@pytest.mark.parametrize("text", ["pump", "pump=a lot", "controller=triplex", "pit.depth=3 gpm", "pit.no_such=3 in"])
def test_a_change_that_cannot_be_made_is_refused_in_words(explained, text):
    with pytest.raises(InputError, match=r"change|changed|no_such"):
        whatif.Trial(explained.site, explained.flow, 0.0, 0.2).run(text)


def test_changes_reach_the_site_that_is_run(explained):
    plan = whatif.plan_of(explained.site)
    data, controller, repaired = whatif.apply(plan, "pump=150% and pipe=2 in and settings.min_off=30 s and repaired")
    assert data["discharge"]["riser"]["pipe"] == "2 in" == data["discharge"]["header"]["pipe"]
    assert data["settings"]["min_off"] == "30 s"
    assert repaired and controller == ""
    flow = [whatif.units.read(point[0], "flow") for point in data["pump"]["curve"]]
    before = [whatif.units.read(point[0], "flow") for point in plan["pump"]["curve"]]
    assert np.allclose(flow, 1.5 * np.array(before), rtol=1e-4)


@pytest.mark.parametrize("text", ["pump", "pump=1:2", "pump=100%:200%:1", "pump=100%:2 in:3", "pump=x:y:3"])
def test_a_sweep_that_cannot_be_read_is_refused(text):
    with pytest.raises(InputError):
        whatif.axis(text)


def test_the_page_and_the_json_carry_the_evidence(explained):
    page = "\n".join(words.page(explained, US))
    for part in ("The floor got wet", "no pump started", "FINDINGS AND EVIDENCE", "WHAT WOULD HAVE HELPED"):
        assert part in page
    data = json.loads(json.dumps(plain_data.as_json(explained)
))
    assert data["findings"][0]["kind"] == "late start"
    assert len(data["inflow"]["time_s"]) == len(data["inflow"]["high_m3s"])
    assert data["what_if"][0]["change"] == "as it was"


def test_the_picture_says_what_was_not_recorded_and_shows_the_band(explained):
    figure = picture.draw(explained, US)
    said = [text.get_text() for text in figure.findobj(lambda item: hasattr(item, "get_text"))]
    assert "not recorded" in said and "never out" not in said
    assert any("a pump runs" in text for text in said)
    assert any("95 % band" in text for text in said)
    field = picture.sweep(explained, US)
    assert "wet" in [text.get_text() for text in field.findobj(lambda item: hasattr(item, "get_text"))]


def test_the_html_stands_alone_and_holds_what_it_draws(explained):
    text = zoom.page(explained, US)
    assert "http" not in text.replace("http-equiv", "") and "<script src" not in text and "{{" not in text
    drawn = json.loads(text.split("const D = ")[1].split(";\n")[0])
    assert len(drawn["level"]["t"]) == len(drawn["level"]["v"]) > 1000
    assert drawn["others"][0]["name"] == "simulated as it was"


def test_no_name_in_a_log_or_a_change_can_break_out_of_the_html(explained):
    spoilt = copy.copy(explained)
    spoilt.log = dataclasses.replace(explained.log, name="</script><script>alert('x')</script>{{ data }}")
    outcome = dataclasses.replace(explained.outcomes[0], change="</script><!-- & it's")
    spoilt.outcomes = [explained.outcomes[0], outcome]
    text = zoom.page(spoilt, US)
    assert text.count("<script>") == text.count("</script>") == 1 and "<!--" not in text
    assert "&lt;/script&gt;&lt;script&gt;alert" in text
    drawn = json.loads(text.split("const D = ")[1].split(";\n")[0])
    assert drawn["others"][1]["name"] == "with </script><!-- & it's"


def test_one_command_names_the_fault_and_the_change(flood, tmp_path):
    _, _, log = flood
    export.write(log, tmp_path / "night.csv")
    (tmp_path / "night.csv.map.toml").write_text(mapping.as_toml(export.mapping_of(log, "csv")))
    out = tmp_path / "out"
    done = CliRunner().invoke(app, ["replay", str(tmp_path / "night.csv"), "--site", "demo", "--out", str(out),
                                    "--change", "repaired"])  # fmt: skip
    assert done.exit_code == 0, done.output
    told = " ".join(done.output.split())
    assert "no pump started as the water rose past the start level" in told
    assert "the floor would have stayed dry" in told
    assert done.output.rstrip().splitlines()[-1] == words.CAUTIONS
    assert {item.name for item in out.iterdir()} == {"strip.png", "strip.html", "account.txt", "account.json"}
    assert (out / "strip.png").read_bytes().startswith(b"\x89PNG")


def test_the_journal_of_a_night_is_replayed_and_explained(tmp_path):
    simulate(demo(1.0), "pump1-jammed@20min").journal.write(tmp_path / "journal.jsonl")
    out = ["--out", str(tmp_path / "out"), "--no-what-if"]
    done = CliRunner().invoke(app, ["replay", str(tmp_path / "journal.jsonl"), "--site", "demo", *out])
    assert done.exit_code == 0, done.output
    assert "Identical" in done.output and "locked-rotor" in done.output


def test_a_journal_that_differs_ends_in_1_with_the_difference(tmp_path):
    path = tmp_path / "journal.jsonl"
    simulate(demo(0.5)).journal.write(path)
    lines = path.read_text().splitlines()
    record = json.loads(lines[30])
    record["out"][OUT_PUMP_1] ^= 1
    lines[30] = json.dumps(record)
    path.write_text("\n".join(lines) + "\n")
    done = CliRunner().invoke(app, ["replay", str(path), "--out", str(tmp_path / "out")])
    assert done.exit_code == 1
    assert "Not identical" in done.output and "pump_1" in done.output


@pytest.mark.long
def test_a_log_in_which_no_pump_ran_ends_in_1(tmp_path):
    site = demo(0.2)
    log = logged(simulate(site))
    log.level_m[:] = 0.2
    export.write(log, tmp_path / "still.csv")
    (tmp_path / "still.csv.map.toml").write_text(mapping.as_toml(export.mapping_of(log, "csv")))
    done = CliRunner().invoke(app, ["replay", str(tmp_path / "still.csv"), "--site", "demo", "--no-what-if", "--out",
                                    str(tmp_path / "out")])  # fmt: skip
    assert done.exit_code == 1
    assert "proves nothing" in done.output


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--site", "demo"], "which column holds what"),
        ([], "needs its pit"),
        (["--site", "demo", "--mapping", "absent.toml"], "cannot be read"),
    ],
)
def test_what_cannot_be_used_is_refused_before_anything_is_written(tmp_path, options, said):
    path = tmp_path / "log.csv"
    path.write_text("t,h\n0,1\n1,2\n")
    done = CliRunner().invoke(app, ["replay", str(path), *options, "--out", str(tmp_path / "out")])
    assert isinstance(done.exception, InputError) and said in str(done.exception)
    assert not (tmp_path / "out").exists()


def test_the_dialogue_keeps_its_answers_beside_the_log(tmp_path):
    log = logged(simulate(demo(0.6)))
    export.write(log, tmp_path / "log.csv")
    done = CliRunner().invoke(app, ["replay", str(tmp_path / "log.csv"), "--map", "--site", "demo", "--no-what-if",
                                    "--out", str(tmp_path / "out")], input="\n" * 30)  # fmt: skip
    assert done.exit_code == 0, done.output
    again = mapping.load(tmp_path / "log.csv.map.toml")
    assert (again.time, again.level.name, again.level.unit) == ("time", "level_m", "m")
    assert len(table_log.read(tmp_path / "log.csv", again).time_s) == len(log.time_s)
