"""From a level log to its fault, the evidence, and what would have kept the floor dry."""

import copy
import dataclasses
import json
import re

import numpy as np
import pytest
from duplexsump.control.records import CURRENT_NONE, OUT_PUMP_1
from typer.testing import CliRunner

from host_sim.cli.app import app
from host_sim.errors import InputError
from host_sim.replay import account as words
from host_sim.replay import inflow, judge, night, openloop, picture, segments, trial, whatif, zoom
from host_sim.replay.findings.detect import detect
from host_sim.replay.findings.finding import Finding
from host_sim.replay.reading import export, mapping, sources, table_log
from host_sim.replay.reading.log import Log
from host_sim.report.units import SI, US
from tests.replay_nights import BEGINS, demo, logged, true_inflow
from tests.replay_nights import night as simulate


def found_in(log, site):
    """Return (segments, Inflow, findings) of a log."""
    rates = inflow.Rates(site)
    parts = segments.segments(log, site, rates.nominal())
    flow = inflow.reconstruct(log, parts, site, rates)
    return parts, flow, detect(log, site, parts, flow, rates)


@pytest.fixture(scope="module")
def flood():
    """Give (site, trace, log) of a night in which the one float of the one pump hung and the floor got wet."""
    site = demo(8.0, begins_s=22 * 3600.0)
    trace = simulate(site, "lead-stuck-dry@3h+90min", controller="single")
    return site, trace, logged(trace)


@pytest.fixture(scope="module")
def explained(flood):
    """Give the account of the flood night, its changes tried."""
    site, _, log = flood
    account = night.explain(log, site, "single")
    night.try_changes(account, ["repaired", "controller=duplex"], ["pump=100%:300%:2"])
    return account


def relative(flow, site):
    """Return the error of an inflow at every grid point, as a share of the mean truth."""
    truth = true_inflow(site, flow.time_s)
    return np.abs(flow.flow_m3s - truth) / truth.mean()


@pytest.mark.parametrize(("every_s", "noise_m", "most"), [(1.0, 0.002, 0.02), (5.0, 0.002, 0.04), (10.0, 0.001, 0.06)])
def test_the_inflow_is_found_from_the_level_alone(every_s, noise_m, most):
    site = demo(4.0)
    _, flow, _ = found_in(logged(simulate(site), every_s, noise_m), site)
    assert relative(flow, site).mean() < most
    truth = true_inflow(site, flow.time_s)
    assert ((truth >= flow.low_m3s) & (truth <= flow.high_m3s)).mean() > 0.9


def test_the_inflow_is_found_from_a_journal_by_its_contacts():
    site = demo(4.0)
    log = sources.log_of(simulate(site).journal, site)
    _, flow, found = found_in(log, site)
    assert relative(flow, site).mean() < 0.02
    assert not [finding for finding in found if finding.kind != "short cycling"]


def test_the_inflow_is_carried_over_a_gap_with_a_wider_band():
    site = demo(4.0)
    log = logged(simulate(site))
    keep = (log.time_s < 6000.0) | (log.time_s > 7800.0)
    log.time_s, log.level_m, log.gaps = log.time_s[keep], log.level_m[keep], [(5999.0, 7801.0)]
    _, flow, _ = found_in(log, site)
    assert flow.held.sum() == pytest.approx(60, abs=2)
    width = (flow.high_m3s - flow.low_m3s) / flow.flow_m3s
    assert np.median(width[flow.held]) > np.median(width[~flow.held])


def test_what_a_pump_moves_is_found_from_its_draw_downs():
    site = demo(3.0)
    _, flow, _ = found_in(logged(simulate(site)), site)
    shares = [d.share for d in flow.draw_downs if d.on == 1]
    assert len(shares) > 30
    assert np.median(shares) == pytest.approx(1.0, abs=0.02)


def test_a_worn_pump_is_named_with_its_wear_and_since_when():
    site = demo(5.0)
    _, _, found = found_in(logged(simulate(site, "pump1-worn=35%@2h", controller="single")), site)
    worn = next(finding for finding in found if finding.kind == "weak pump")
    assert worn.confidence == "certain"
    assert worn.start_s == pytest.approx(7200.0, abs=600.0)
    assert float(worn.fault.split("=")[1]) == pytest.approx(0.35, abs=0.03)
    assert "draw-downs" in worn.evidence[0]


def test_a_lead_float_that_hangs_is_named_by_the_lags_height():
    site = demo(4.0)
    _, _, found = found_in(logged(simulate(site, "lead-stuck-dry@1h+90min")), site)
    late = next(finding for finding in found if finding.kind == "late start")
    assert (late.confidence, late.causes) == ("likely", ["the lead float hung up"])
    assert late.start_s == pytest.approx(3600.0, abs=600.0)
    assert late.fault == "lead-stuck-dry"


def test_a_recorded_contact_makes_the_hanging_float_certain():
    site = demo(4.0)
    trace = simulate(site, "lead-stuck-dry@1h+90min")
    _, _, found = found_in(logged(trace, contacts=True), site)
    confidence = {(finding.kind, finding.confidence, finding.fault) for finding in found}
    assert ("late start", "certain", "lead-stuck-dry") in confidence
    assert ("float sticking", "certain", "lead-stuck-dry") in confidence


def test_a_recorded_mains_explains_the_pump_that_did_not_answer():
    site = demo(4.0)
    trace = simulate(site, "mains-lost@2h+30min", controller="single")
    _, _, found = found_in(logged(trace, mains=True), site)
    late = next(finding for finding in found if finding.kind == "late start")
    assert (late.confidence, late.fault) == ("certain", "mains-lost")
    out = next(finding for finding in found if finding.kind == "no mains")
    assert (out.start_s, out.end_s) == (pytest.approx(7200.0, abs=2.0), pytest.approx(9000.0, abs=2.0))


def test_a_journal_names_the_jammed_pump_by_its_current():
    site = demo(3.0)
    _, _, found = found_in(sources.log_of(simulate(site, "pump1-jammed@1h").journal, site), site)
    jam = next(finding for finding in found if "locked-rotor" in finding.text)
    assert (jam.confidence, jam.fault) == ("certain", "pump1-jammed")


def test_a_current_that_the_water_contradicts_is_no_certain_fault_of_the_pump():
    site = demo(3.0)
    log = logged(simulate(site), pumps=True)
    log.bands = tuple(np.where(on == 1, CURRENT_NONE, -1).astype(np.int8) for on in log.pumps)
    _, _, found = found_in(log, site)
    none = [finding for finding in found if "drew no current" in finding.text]
    ran = [n for n in (0, 1) if (log.pumps[n] == 1).any()]
    assert len(none) == len(ran) > 0
    for finding in none:
        assert finding.confidence == "possible" and finding.causes[0] == "current sensor or its wiring"
        assert finding.fault == "" and "delivered" in finding.evidence[-1]


def test_a_contact_that_turned_in_between_is_not_stuck_for_certain():
    site = demo(2.0)
    log = logged(simulate(site), contacts=True)
    wrong = (log.time_s % 600.0 < 60.0) & (log.time_s > 1800.0)
    log.contacts["off"][wrong & (log.level_m > site.contacts[0].wet_m + 0.04)] = 0
    _, _, found = found_in(log, site)
    off = next(finding for finding in found if finding.kind == "float sticking")
    assert off.confidence == "likely" and "on and off" in off.text


def test_the_evidence_speaks_the_units_of_the_report(flood):
    site, _, log = flood
    for units, own, other in ((US, " in ", " mm"), (SI, " mm ", " in ")):
        account = night.explain(log, site, "single", units=units)
        told = "\n".join(words.page(account, units))
        assert own in told and not re.search(rf"\d{other.rstrip()}\b", told)


def test_a_cause_that_the_finding_names_is_not_said_twice():
    out = Finding("no mains", "certain", 0.0, 1.0, "the mains was out", [], ["the mains was out"])
    assert words.causes_of(out) == ""
    weak = Finding("weak pump", "likely", 0.0, 1.0, "pump 1 delivers 60%", [], ["worn impeller", "clogged inlet"])
    assert words.causes_of(weak) == "likely causes: worn impeller, clogged inlet"


def test_a_leaking_check_valve_shows_as_a_hinge_in_the_fill():
    made = trial.make("leaking check valve", 3)
    leak = next(finding for finding in trial.findings_of(made)[1] if finding.kind == "leaking check valve")
    assert "average of" in leak.evidence[0]


@pytest.mark.parametrize("seed", [0, 11, 22])
def test_nothing_is_found_in_a_night_in_which_nothing_was_wrong(seed):
    found = {finding.kind for finding in trial.findings_of(trial.make("nothing wrong", seed))[1]}
    assert found <= {"short cycling"}


def test_a_sample_of_nights_is_told_apart():
    table, misses = trial.score_findings(11)
    assert all(counts[2] == 0 for kind, counts in table.items() if kind != "recirculation"), misses
    for kind in ("late start", "low stop", "weak pump"):
        assert table[kind][0] >= 1 and table[kind][1] == 0, misses


@pytest.mark.campaign
def test_signs_are_found_on_220_nights_whose_truth_is_known():
    table, misses = trial.score_findings(220)
    for kind in ("late start", "low stop", "weak pump", "leaking check valve"):
        there, missed, false, absent = table[kind]
        assert there / (there + missed) >= 0.9, misses
        assert false / (false + absent) <= 0.03, misses
    assert table["recirculation"][2] <= 0.12 * sum(table["recirculation"][2:]), misses


@pytest.mark.campaign
def test_the_inflow_is_found_on_66_nights_with_noise_gaps_and_faults():
    rows = trial.score_inflow(66)
    errors = sorted(row[1] for row in rows)
    assert errors[33] < 0.03
    assert errors[62] < 0.15  # all but the worst few, in which the floor was under water
    assert np.mean([row[3] for row in rows]) > 0.9


def test_the_firmware_judges_a_foreign_log_and_says_where_the_pumps_did_otherwise(flood):
    site, trace, log = flood
    found = judge.judge(log, site, night.pumps_on(log, segments.segments(log, site, inflow.Rates(site).nominal())))
    assert found.ran
    worst = max(found.spans, key=lambda span: span.end_s - span.start_s)
    assert (worst.wanted, worst.ran) == (2, 0)
    assert worst.start_s == pytest.approx(trace.faults[0].start_s, abs=400.0)
    names = {name for _, name, _, _ in found.alarms}
    assert any("high" in name for name in names)


def test_floats_find_the_same_edges_in_pieces_as_at_once():
    site = demo()
    level = 0.3 + 0.2 * np.sin(np.arange(4000) / 37.0) + np.random.default_rng(2).normal(0, 0.004, 4000)
    level[100:120] = np.nan
    whole = openloop.Floats(site.contacts).words(level)
    floats = openloop.Floats(site.contacts)
    parts = np.concatenate([floats.words(part) for part in np.array_split(level, 17)])
    assert np.array_equal(whole, parts)
    word = 0
    for value, found in zip(level, whole, strict=True):
        for i, contact in enumerate(site.contacts):
            if value >= contact.wet_m:
                word |= 1 << i
            elif value <= contact.dry_m:
                word &= ~(1 << i)
        assert found == word


def test_the_open_loop_starts_a_pump_when_the_debounce_is_over(flood):
    site, _, log = flood
    loop = openloop.run(log, site)
    first = next(t for t, out in loop.outputs if out[OUT_PUMP_1])
    words = openloop.Floats(site.contacts).words(log.level_m)
    wet = log.time_s[np.flatnonzero(words & 2)[0]] * 1000.0
    assert first - wet == pytest.approx(1000.0, abs=200.0)


@pytest.mark.parametrize("every_s", [60.0, 600.0, 1800.0])
def test_the_verdict_on_the_floor_comes_from_every_row_however_far_apart(flood, every_s):
    site, trace, _ = flood
    log = logged(trace, every_s)
    assert np.nanmax(log.level_m) > site.pit.floor_m
    account = night.explain(log, site, "single")
    assert not account.floor_dry
    assert "got wet" in words.headline(account, US) and "above the floor" in words.headline(account, US)
    assert account.floor_wet_s == pytest.approx(trace.totals.floor_wet_s, rel=0.06, abs=1.2 * every_s)


def test_one_row_above_the_floor_is_water_on_the_floor(flood):
    site, _, _ = flood
    log = Log("one wet row", BEGINS, 900.0 * np.arange(9), np.full(9, 0.3))
    log.level_m[4] = site.pit.floor_m + 0.01
    account = night.explain(log, site, "single")
    assert not account.floor_dry and account.floor_wet_s == 900.0 and account.floor_first_s == 3600.0


def by_contacts(log):
    """Return a copy of a log that has contacts alone."""
    return dataclasses.replace(log, level_m=None, pumps=[None, None], mains=None)


def test_a_log_of_contacts_alone_is_explained_and_its_inflow_found():
    site = demo(4.0)
    log = sources.with_levels(by_contacts(logged(simulate(site), contacts=True)), site)
    account = night.explain(log, site, "duplex")
    assert account.floor_dry and account.floor_known and account.pump_ran
    assert relative(account.flow, site).mean() < 0.05
    picture.draw(account, US)
    json.loads(zoom.page(account, US).split("const D = ")[1].split(";\n")[0])


def test_a_log_of_contacts_alone_does_not_know_how_far_the_water_rose_past_the_highest(flood):
    site, trace, _ = flood
    log = sources.with_levels(by_contacts(logged(trace, contacts=True)), site)
    account = night.explain(log, site, "single")
    assert not account.floor_known
    assert "not known" in words.headline(account, US) and "stayed dry" not in words.headline(account, US)


def test_a_log_of_contacts_alone_goes_through_the_command(tmp_path):
    log = by_contacts(logged(simulate(demo(1.0)), contacts=True))
    export.write(log, tmp_path / "log.csv")
    (tmp_path / "log.csv.map.toml").write_text(mapping.as_toml(export.mapping_of(log, "csv")))
    done = CliRunner().invoke(app, ["replay", str(tmp_path / "log.csv"), "--site", "demo", "--change", "pump=150%",
                                    "--out", str(tmp_path / "out")])  # fmt: skip
    assert done.exit_code == 0, done.output
    assert len(list((tmp_path / "out").iterdir())) == 4


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
    data = json.loads(json.dumps(words.as_json(explained)))
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
