"""From a level log to its fault, the evidence, and what would have kept the floor dry."""

import json

import numpy as np
import pytest
from duplexsump.control.records import OUT_PUMP_1
from typer.testing import CliRunner

from host_sim.cli.app import app
from host_sim.errors import InputError
from host_sim.replay import account as words
from host_sim.replay import inflow, judge, night, openloop, picture, segments, trial, whatif, zoom
from host_sim.replay.findings.look import look
from host_sim.replay.reading import export, mapping, sources, table_log, toml_text
from host_sim.report.units import US
from tests.replay_nights import demo, logged, true_inflow
from tests.replay_nights import night as simulate


def found_in(log, site):
    """Return (segments, Inflow, signs) of a log."""
    rates = inflow.Rates(site)
    parts = segments.segments(log, site, rates.nominal())
    flow = inflow.reconstruct(log, parts, site, rates)
    return parts, flow, look(log, site, parts, flow, rates)


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
    assert not [sign for sign in found if sign.kind != "short cycling"]


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
    worn = next(sign for sign in found if sign.kind == "weak pump")
    assert worn.sure == "certain"
    assert worn.start_s == pytest.approx(7200.0, abs=600.0)
    assert float(worn.fault.split("=")[1]) == pytest.approx(0.35, abs=0.03)
    assert "draw-downs" in worn.evidence[0]


def test_a_lead_float_that_hangs_is_named_by_the_lags_height():
    site = demo(4.0)
    _, _, found = found_in(logged(simulate(site, "lead-stuck-dry@1h+90min")), site)
    late = next(sign for sign in found if sign.kind == "late start")
    assert (late.sure, late.causes) == ("likely", ["the lead float hung up"])
    assert late.start_s == pytest.approx(3600.0, abs=600.0)
    assert late.fault == "lead-stuck-dry"


def test_a_recorded_contact_makes_the_hanging_float_certain():
    site = demo(4.0)
    trace = simulate(site, "lead-stuck-dry@1h+90min")
    _, _, found = found_in(logged(trace, contacts=True), site)
    sure = {(sign.kind, sign.sure, sign.fault) for sign in found}
    assert ("late start", "certain", "lead-stuck-dry") in sure
    assert ("float sticking", "certain", "lead-stuck-dry") in sure


def test_a_recorded_mains_explains_the_pump_that_did_not_answer():
    site = demo(4.0)
    trace = simulate(site, "mains-lost@2h+30min", controller="single")
    _, _, found = found_in(logged(trace, mains=True), site)
    late = next(sign for sign in found if sign.kind == "late start")
    assert (late.sure, late.fault) == ("certain", "mains-lost")
    out = next(sign for sign in found if sign.kind == "no mains")
    assert (out.start_s, out.end_s) == (pytest.approx(7200.0, abs=2.0), pytest.approx(9000.0, abs=2.0))


def test_a_journal_names_the_jammed_pump_by_its_current():
    site = demo(3.0)
    _, _, found = found_in(sources.log_of(simulate(site, "pump1-jammed@1h").journal, site), site)
    jam = next(sign for sign in found if "locked-rotor" in sign.text)
    assert (jam.sure, jam.fault) == ("certain", "pump1-jammed")


def test_a_leaking_check_valve_shows_as_a_hinge_in_the_fill():
    made = trial.make("leaking check valve", 3)
    leak = next(sign for sign in trial.look(made)[1] if sign.kind == "leaking check valve")
    assert "laid together" in leak.evidence[0]


@pytest.mark.parametrize("seed", [0, 11, 22])
def test_nothing_is_found_in_a_night_in_which_nothing_was_wrong(seed):
    found = {sign.kind for sign in trial.look(trial.make("nothing wrong", seed))[1]}
    assert found <= {"short cycling"}


@pytest.mark.long
def test_a_sample_of_nights_is_told_apart():
    table, misses = trial.detect(11)
    assert all(counts[2] == 0 for kind, counts in table.items() if kind != "recirculation"), misses
    for kind in ("late start", "low stop", "weak pump"):
        assert table[kind][0] >= 1 and table[kind][1] == 0, misses


@pytest.mark.campaign
def test_signs_are_found_on_220_nights_whose_truth_is_known():
    table, misses = trial.detect(220)
    for kind in ("late start", "low stop", "weak pump", "leaking check valve"):
        there, missed, false, absent = table[kind]
        assert there / (there + missed) >= 0.9, misses
        assert false / (false + absent) <= 0.03, misses
    assert table["recirculation"][2] <= 0.12 * sum(table["recirculation"][2:]), misses


@pytest.mark.campaign
def test_the_inflow_is_found_on_66_nights_with_noise_gaps_and_faults():
    rows = trial.reconstruct(66)
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


@pytest.mark.parametrize("text", ["pump", "pump=a lot", "controller=triplex", "pit.depth=3 gpm", "pit.no_such=3 in"])
def test_a_change_that_cannot_be_made_is_refused_in_words(explained, text):
    with pytest.raises(InputError, match=r"change|changed|no_such"):
        whatif.Trial(explained.site, explained.flow, 0.0, 0.2).run(text)


def test_changes_reach_the_site_that_is_run(explained):
    plan = whatif.plan_of(explained.site)
    data, controller, mended = whatif.apply(plan, "pump=150% and pipe=2 in and settings.min_off=30 s and repaired")
    assert data["discharge"]["riser"]["pipe"] == "2 in" == data["discharge"]["header"]["pipe"]
    assert data["settings"]["min_off"] == "30 s"
    assert mended and controller == ""
    flow = [whatif.units.read(point[0], "flow") for point in data["pump"]["curve"]]
    before = [whatif.units.read(point[0], "flow") for point in plan["pump"]["curve"]]
    assert np.allclose(flow, 1.5 * np.array(before), rtol=1e-4)


@pytest.mark.parametrize("text", ["pump", "pump=1:2", "pump=100%:200%:1", "pump=100%:2 in:3", "pump=x:y:3"])
def test_a_sweep_that_cannot_be_read_is_refused(text):
    with pytest.raises(InputError):
        whatif.axis(text)


def test_the_page_and_the_json_carry_the_evidence(explained):
    page = "\n".join(words.page(explained, US))
    for part in ("The floor got wet", "no pump answered", "HOW THIS IS KNOWN", "WHAT WOULD HAVE HELPED"):
        assert part in page
    data = json.loads(json.dumps(words.as_json(explained)))
    assert data["signs"][0]["kind"] == "late start"
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
    assert "http" not in text.replace("http-equiv", "") and "<script src" not in text and "__" not in text
    data = text.split("const D = ")[1].split(";\n")[0]
    drawn = json.loads(data.replace("<\\/", "</"))
    assert len(drawn["level"]["t"]) == len(drawn["level"]["v"]) > 1000
    assert drawn["others"][0]["name"] == "run again as it was"


def test_one_command_names_the_fault_and_the_change(flood, tmp_path):
    _, _, log = flood
    export.write(log, tmp_path / "night.csv")
    (tmp_path / "night.csv.map.toml").write_text(toml_text.text(mapping.as_table(export.mapping_of(log, "csv"))))
    out = tmp_path / "out"
    done = CliRunner().invoke(app, ["replay", str(tmp_path / "night.csv"), "--site", "demo", "--out", str(out),
                                    "--change", "repaired"])  # fmt: skip
    assert done.exit_code == 0, done.output
    told = " ".join(done.output.split())
    assert "no pump answered while the water rose past the start level" in told
    assert "the floor would have stayed dry" in told
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
    (tmp_path / "still.csv.map.toml").write_text(toml_text.text(mapping.as_table(export.mapping_of(log, "csv"))))
    done = CliRunner().invoke(app, ["replay", str(tmp_path / "still.csv"), "--site", "demo", "--no-what-if", "--out",
                                    str(tmp_path / "out")])  # fmt: skip
    assert done.exit_code == 1
    assert "proves nothing" in done.output


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--site", "demo"], "which column holds what"),
        ([], "needs the pit"),
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
