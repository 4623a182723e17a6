"""The campaign: nights are the same for ever, promises are held to, nothing is lost or counted twice."""

import dataclasses
import json
import os
import random
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from unittest import mock

import pytest
from duplexsump.control import records as r

from host_sim.errors import InputError
from host_sim.proof.campaign import campaign, excused, night_run, nights, report
from host_sim.proof.campaign.monitor import Watched
from host_sim.site import faults as fault_registry
from host_sim.site.load import read_site
from tests.sampled import sampled

ROOT = Path(__file__).resolve().parents[2]


def test_a_night_is_drawn_the_same_for_ever():
    assert nights.draw(1, 7) == nights.draw(1, 7)
    assert nights.draw(1, 7).text != nights.draw(2, 7).text
    assert nights.draw(1, 7).faults == ("lag-stuck-wet@1212.7s+5987.3s",)


def test_every_night_is_a_site_that_can_be_read_and_its_faults_end_before_the_reset():
    for number in range(30):
        night = nights.draw(11, number)
        site = read_site(night.text)
        assert site.duration_s == nights.NIGHT_S
        assert len(site.faults) == len(night.faults)
        for fault in site.faults:
            assert fault.start_s < nights.FAULTS_S
            assert fault.end_s is None or fault.end_s <= nights.FAULTS_S + 0.1
            assert fault.end_s is not None or fault.kind.at_once


def test_a_night_has_floats_or_a_transmitter_and_only_what_is_fitted_breaks():
    drawn = [nights.draw(5, number) for number in range(150)]
    assert {night.level for night in drawn} == {"floats", "transmitter", "both"}
    broken = {level: {name for night in drawn if night.level == level for name in night.names}
              for level in ("floats", "transmitter", "both")}  # fmt: skip
    assert not any(name.startswith("transmitter") for name in broken["floats"])
    assert not any(name.startswith(("off-", "lead-", "lag-", "common-")) for name in broken["transmitter"])
    assert any(name.startswith("transmitter") for name in broken["transmitter"])
    for night in drawn[::5]:
        site = read_site(night.text)
        assert (site.transmitter is not None) == (night.level != "floats")
        assert [contact is not None for contact in site.contacts] == [night.level != "transmitter"] * 3 + [True]


def test_the_written_table_names_every_fault_there_is():
    table, pairs = nights.table()
    assert set(table) == set(fault_registry.REGISTRY)
    groups = {group for group, _must in table.values()}
    assert {group for pair in pairs for group in pair} <= groups


@pytest.mark.parametrize(("names", "battery", "must"), [
    ((), False, "dry"), (("lead-stuck-dry",), False, "dry"), (("pump1-jammed",), True, "dry"),
    (("mains-lost",), True, "dry"), (("mains-lost",), False, "alarm"), (("discharge-frozen",), True, "alarm"),
    (("transmitter-frozen",), False, "dry"), (("transmitter-frozen", "pump2-jammed"), False, "dry"),
    (("lead-stuck-dry", "pump1-jammed"), False, "dry"), (("pump1-jammed", "pump2-jammed"), False, "alarm"),
    (("lead-stuck-dry", "off-stuck-wet"), False, "dry"), (("mains-lost", "lead-stuck-dry"), True, "dry"),
    (("mains-lost", "lead-stuck-dry"), False, "alarm"), (("mains-lost", "pump1-jammed"), True, "alarm"),
    (("pump1-sensor-dead", "pump2-sensor-dead"), False, "dry"), (("pump1-sensor-dead", "pump2-jammed"), False, "alarm"),
    (("pump1-check-missing", "pump1-jammed"), False, "alarm"), (("pump1-check-missing", "pump2-jammed"), False, "dry"),
])  # fmt: skip
def test_the_table_says_what_must_be_survived(names, battery, must):
    assert nights.required(names, battery, True) == must
    assert nights.required(names, battery, False) == "alarm"


def test_every_row_that_excuses_a_night_names_faults_there_are_and_says_why():
    table, _pairs = nights.table()
    for name in ("lost", "untold", "no_reading"):
        for row in nights.excuses(name):
            named = {fault for kinds in row.get("both", [row.get("dead")]) for fault in kinds}
            assert named <= set(table)
            assert len(row["reason"]) > 20


@pytest.mark.long
def test_a_flood_that_nothing_sensed_could_tell_is_listed_with_its_reason_and_any_other_is_broken():
    # Lag dead and high dead, 50 gpm: from lead to the floor in 148 s, one pump running as it would in any storm.
    record = night_run.run(80001, 8602)
    assert record["broken"] == ""
    assert record["excused"].startswith("high is dead dry")
    with mock.patch.object(excused, "GRACE_S", -500.0):
        assert "no alarm that names it" in night_run.run(80001, 8602)["broken"]


@pytest.mark.long
def test_a_dry_run_without_a_reading_left_is_listed_with_its_reason_and_must_be_called():
    record = night_run.run(80001, 8452)
    assert record["longest_dry_run_s"] > 600.0
    assert record["broken"] == ""
    assert record["excused"].startswith("high reads wet")
    with mock.patch.object(excused, "stands", return_value=False):
        assert "nobody was called" in night_run.run(80001, 8452)["broken"]
    with mock.patch.object(excused, "no_reading", return_value=None):
        assert "dry: a dry run of" in night_run.run(80001, 8452)["broken"]


@pytest.mark.long
@pytest.mark.parametrize(("number", "reason"), [
    (14263, "high and a float below"), (23115, "high reads wet"), (30216, "the transmitter froze at lead")])
def test_two_floats_against_two_and_a_transmitter_that_froze_between_two_pumps_are_listed_and_called(number, reason):
    record = night_run.run(113001, number)
    assert record["longest_dry_run_s"] > 600.0
    assert (record["broken"], record["excused"].startswith(reason)) == ("", True)
    with mock.patch.object(excused, "stands", return_value=False):
        assert "nobody was called" in night_run.run(113001, number)["broken"]


@pytest.mark.long
def test_a_lead_that_hangs_over_an_off_that_hangs_is_looked_at_and_borne_no_longer():
    record = night_run.run(113001, 67008)
    assert 600.0 < record["longest_dry_run_s"] < 1260.0
    assert (record["broken"], record["excused"].startswith("off and lead")) == ("", True)
    for number in (61403, 89604):  # where lead chatters over it
        assert night_run.run(113001, number)["broken"] == ""


@pytest.mark.long
def test_a_transmitter_that_froze_below_lead_is_not_excused_as_one_that_froze_above():
    assert night_run.run(113001, 61980)["excused"] == ""
    assert night_run.run(240113, 2143)["excused"].startswith("the transmitter froze at lead")


@pytest.mark.long
def test_a_call_goes_on_where_high_fails_under_the_water_that_it_called_for():
    # High water at 753 s, `high` dead from 1103 s on with the water still over it, the floor wet at 1223 s.
    record = night_run.run(113001, 42920)
    assert record["broken"] == ""
    assert record["lead_s"] == pytest.approx(470.0, abs=2.0)
    with mock.patch.object(night_run.warning, "passed_s", return_value=1000.0):
        assert "no alarm that names it" in night_run.run(113001, 42920)["broken"], "another rise, another call"


@pytest.mark.long
@pytest.mark.parametrize(("peak", "sensing", "names", "allowed_s"), [
    (59.5, "nothing", ("off-stuck-wet",), 600.0), (59.5, "feedback", ("off-chattering",), 600.0),
    (59.5, "current", ("off-stuck-wet",), 0.0), (18.0, "nothing", ("off-stuck-wet",), 0.0),
    (59.5, "nothing", ("pump1-jammed",), 0.0), (59.5, "nothing", (), 0.0),
    (5.0, "current", ("off-stuck-wet", "pump1-jammed"), 600.0), (5.0, "current", ("pump1-left-in-hand",), 300.0),
])  # fmt: skip
def test_how_long_a_dry_run_is_allowed_to_be(peak, sensing, names, allowed_s):
    night = dataclasses.replace(nights.draw(1, 0), peak_gpm=peak, sensing=sensing, names=names)
    assert nights.dry_run_s(night) == allowed_s


@pytest.mark.long
@pytest.mark.parametrize("number", [19574, 2463])
def test_what_l4_has_learnt_of_a_storm_runs_a_pump_dry_once_over_an_off_that_hangs(number):
    record = night_run.run(91001, number)
    assert 50.0 < record["longest_dry_run_s"] < 130.0
    assert record["broken"] == ""


@pytest.mark.long
@pytest.mark.parametrize("number", [5722, 8496, 14657, 18323, 19526, 20399])
def test_no_pump_runs_dry_without_end_over_two_floats_where_something_tells_which_of_them_hangs(number):
    record = night_run.run(91001, number)
    assert record["broken"] == "" and record["excused"] == ""


@pytest.mark.long
def test_what_one_pump_lifts_runs_back_through_the_other_without_a_check_valve_and_is_called():
    record = night_run.run(91001, 7697)
    assert (record["must"], record["broken"]) == ("alarm", "")
    assert not record["dry"] and record["lead_s"] > 60.0


def test_pumps_that_still_draw_a_flooded_floor_down_have_recovered_and_pumps_that_rest_have_not():
    assert night_run.run(80001, 15401)["broken"] == ""
    with mock.patch.object(night_run, "_runs_at", return_value=False):
        assert "phase two: no pump has started, and none was running" in night_run.run(80001, 15401)["broken"]


def test_swarm_weights_switch_kinds_off_and_differ_from_night_to_night():
    rng = random.Random(3)
    kinds = [f"kind{i}" for i in range(20)]
    drawn = [nights._swarm(rng, kinds) for _ in range(30)]
    assert len({tuple(on) for on, _weights in drawn}) > 25
    assert all(2 < len(on) < 19 for on, _weights in drawn)
    assert max(max(w) for _on, w in drawn) / min(min(w) for _on, w in drawn) > 500


def night_with(*faults, peak=15.0, sensing="current", battery=False, must="alarm"):
    """A night of one site with these faults, floats alone, on a rising and falling inflow of at most `peak` gpm."""
    number = next(n for n in range(500) if (night := nights.draw(1, n)).level == "floats" and night.sensing == sensing
                  and night.battery == battery)  # fmt: skip
    night = nights.draw(1, number)
    base = min(3.0, peak)
    flows = f'[["0 s", "{base} gpm"], ["1200 s", "{peak} gpm"], ["5400 s", "{peak} gpm"], ["6600 s", "{base} gpm"]]'
    text = re.sub(r"flows = \[.*\]", f"flows = {flows}", night.text)
    text = re.sub(r"\nfaults = \[.*\]", "\nfaults = [" + ", ".join(f'"{fault}"' for fault in faults) + "]", text)
    names = tuple(re.split("[=@+]", fault)[0] for fault in faults)
    return dataclasses.replace(night, text=text, faults=faults, names=names, peak_gpm=peak, must=must)


@pytest.mark.parametrize("number", sampled([1, 104, 5, 17, 203, 28], 2))
def test_nights_of_every_sort_hold_their_promises(number):
    record = night_run.run(1, number)
    assert record["broken"] == ""
    assert record["looked_at"] > 300, "a night in which nothing was looked at proves nothing"
    assert record["starts"] > 10


@pytest.mark.long
def test_a_draw_down_learnt_at_a_peak_runs_no_pump_dry_for_long_when_off_hangs_and_the_inflow_falls():
    record = night_run.run(1, 1760)
    assert record["longest_dry_run_s"] < 600.0


class Deaf(Watched):
    """A controller that never acts: every promise about floods must be found broken."""

    def step(self, now_ms, raw):
        super().step(now_ms, raw)
        self.out = self.dead_outputs[:]
        self.out[r.OUT_RELAY] = self.out[r.OUT_SERVICE] = 1  # and whose relays say that all is well


def test_canary_a_controller_that_never_pumps_is_found():
    record = night_run.run(1, 29, Deaf)
    for promise in ("table: the floor was wet", "alarm:", "table at", "phase two"):
        assert promise in record["broken"], record["broken"]


class Unheard(Watched):
    """A controller that pumps, sounds its horn all night, and has not one alarm to name why."""

    def step(self, now_ms, raw):
        super().step(now_ms, raw)
        for told in (self.controller.alarms.state, self.controller.alarms.active):
            told[:] = [0] * len(told)
        self.out = [*self.out]
        self.out[r.OUT_HORN] = 1


FROZEN = ("discharge-frozen@600s+6000s",)


def test_a_flood_counts_as_called_when_an_alarm_that_names_it_stands_since_before_the_water_passed_high():
    record = night_run.judged(night_with(*FROZEN))
    assert not record["dry"] and record["lead_s"] >= record["after_high_s"] - night_run.DEBOUNCE_GRACE_S
    assert "alarm:" not in record["broken"]


def test_canary_a_horn_that_sounds_for_nothing_it_can_name_has_called_nobody():
    record = night_run.judged(night_with(*FROZEN), Unheard)
    assert record["first_alarm_s"] < record["floor_first_s"]
    assert "no alarm that names it had called" in record["broken"]


def test_canary_an_alarm_that_comes_when_the_water_has_long_passed_high_comes_too_late():
    with mock.patch.object(night_run.warning, "lead_s", return_value=1.0):
        broken = night_run.judged(night_with(*FROZEN))["broken"]
    assert "alarm: called 1.0 s before the floor was wet" in broken


@pytest.mark.long
def test_canary_a_dry_run_that_is_too_long_is_found_on_every_night():
    number = next(n for n in range(200) if nights.draw(1, n).names == ("high-stuck-wet",))
    assert "I14" not in night_run.run(1, number)["broken"]
    with mock.patch.object(night_run, "longest_dry_s", return_value=900.0):
        assert "I14: a dry run of 900.0 s" in night_run.run(1, number)["broken"]
        assert "dry: a dry run of 900.0 s" in night_run.judged(night_with())["broken"]
        assert "dry: a dry run of 900.0 s" in night_run.judged(night_with("pump1-jammed@900s+60s"))["broken"]


@pytest.mark.long
def test_a_dry_run_is_measured_where_the_pit_is_empty_and_a_pump_that_moves_nothing_under_water_is_none():
    hung = night_run.judged(night_with("high-stuck-wet@600s+6000s", peak=0.5, sensing="nothing"))
    assert 3.0 < hung["longest_dry_run_s"] < 130.0
    assert night_run.judged(night_with("pump1-air-locked@600s+6000s", sensing="nothing"))["longest_dry_run_s"] == 0.0
    welded = night_with("pump1-relay-welded@600s+6000s", peak=0.5)
    assert night_run.judged(welded)["longest_dry_run_s"] < 60.0
    assert night_run.judged(dataclasses.replace(welded, names=()))["longest_dry_run_s"] > 300.0


@pytest.mark.parametrize(("invariant", "patched"), [
    ("I5", ("duplexsump.control.pair.Pair._choose", lambda self, first: setattr(self, "lead", -1))),
    ("I7", ("duplexsump.control.gate.Gate._start", lambda self, want, n: setattr(
        self, "out", self.out | want & (1 << n) if self.rested(n) else self.out))),
    ("I4", ("duplexsump.control.alarms.Alarms.tell", lambda self, i, condition, detail=0: None)),
])  # fmt: skip
def test_canary_a_broken_rule_is_found_by_the_monitor(invariant, patched):
    number = next(n for n in range(400) if nights.draw(1, n).peak_gpm > 45.0 and not nights.draw(1, n).battery)
    with mock.patch(*patched):
        record = night_run.run(1, number)
    assert invariant in record["broken"], record["broken"]


def test_canary_flood_retries_that_come_later_than_r3_says_are_found():
    jammed = night_with("pump1-will-not-start@600s+6000s", "pump2-will-not-start@600s+6000s")
    assert "I6" not in night_run.judged(jammed)["broken"]
    with mock.patch("duplexsump.control.flood.STEPS_MS", (20000, 30000, 60000)):  # 10 s late, and no more than that
        assert "I6" in night_run.judged(jammed)["broken"]
    with mock.patch("duplexsump.control.flood.FloodRetries._grant", return_value=None):
        assert "I6" in night_run.judged(jammed)["broken"]


def test_canary_a_blind_run_without_end_is_found():
    hung = night_with("high-stuck-wet@600s+6000s", peak=3.0, sensing="nothing")
    with mock.patch("duplexsump.control.blind.Blind._run", return_value=None):
        assert "I13" in night_run.judged(hung)["broken"]


def test_a_night_that_cannot_be_simulated_is_told_and_does_not_end_the_campaign():
    with mock.patch.object(night_run, "run", side_effect=ZeroDivisionError("somewhere")):
        record = campaign.one(1, 4)
    assert record["broken"] == "crashed: ZeroDivisionError: somewhere"


# Keeping records ------------------------------------------------------------------------------------


def made_up(seed, numbers):
    return [{"seed": seed, "number": n, "broken": "", "dry": True, "single_dry": True, "kinds": ""} for n in numbers]


def test_what_is_kept_is_not_run_again_and_nothing_counts_twice(tmp_path):
    shelf = campaign.Shelf(tmp_path, 1)
    shelf.add(made_up(1, [0, 1, 3]))
    shelf.add(made_up(1, [3, 1]))
    shelf.close()
    again = campaign.Shelf(tmp_path, 1)
    assert again.missing(6) == [2, 4, 5]
    assert [r["number"] for r in again.wanted(3)] == [0, 1]
    assert len((tmp_path / campaign.KEPT).read_text().splitlines()) == 3
    assert campaign.Shelf(tmp_path, 2).missing(2) == [0, 1]


def test_a_line_cut_off_by_a_kill_is_run_again(tmp_path):
    (tmp_path / campaign.KEPT).write_text(json.dumps(made_up(1, [0])[0]) + '\n{"seed": 1, "numb')
    shelf = campaign.Shelf(tmp_path, 1)
    assert shelf.missing(2) == [1]
    shelf.add(made_up(1, [1]))
    shelf.close()
    assert campaign.Shelf(tmp_path, 1).missing(2) == []


def test_a_folder_that_cannot_be_used_is_refused(tmp_path):
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(InputError, match="cannot be used"):
        campaign.Shelf(tmp_path / "taken", 1)


def test_the_tables_count_every_night_once():
    records = [
        {**made_up(1, [0])[0], "kinds": "lead-stuck-dry pump1-jammed", "must": "dry", "lead_s": float("nan")},
        {**made_up(1, [1])[0], "kinds": "lead-stuck-dry", "must": "dry", "dry": False, "lead_s": 12.0},
        {**made_up(1, [2])[0], "kinds": "", "must": "dry", "dry": False, "lead_s": float("nan"), "broken": "alarm"},
    ]
    rows = {row.name: row for row in report.by_fault(records)}
    assert rows["all nights"].nights == 3
    assert (rows["lead-stuck-dry"].nights, rows["lead-stuck-dry"].alarmed) == (2, 1)
    assert rows["lead-stuck-dry"].least_lead_s == 12.0
    assert (rows["(no fault)"].silent, rows["(no fault)"].broken) == (1, 1)
    assert rows["(two at once)"].nights == 1
    assert [r["number"] for r in report.worst(records)] == [2, 1]


@pytest.mark.long
def test_parquet_holds_every_night_and_the_picture_is_drawn(tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet", reason="the extra `campaign` brings pyarrow")
    records = [night_run.run(1, n) for n in (0, 1)]
    campaign.write_parquet(records, tmp_path / "nights.parquet")
    table = parquet.read_table(tmp_path / "nights.parquet")
    assert table.num_rows == 2
    assert table.column("faults").to_pylist() == [r["faults"] for r in records]
    report.picture(records, tmp_path / "campaign.png")
    assert (tmp_path / "campaign.png").stat().st_size > 10_000


def command(*arguments):
    paths = os.pathsep.join([str(ROOT / "firmware" / "lib"), str(ROOT)])
    return [sys.executable, "-m", "host_sim", *arguments], {**os.environ, "PYTHONPATH": paths}


@pytest.mark.long
def test_ctrl_c_keeps_what_is_done_and_the_same_command_goes_on(tmp_path):
    line, env = command("campaign", "--nights", "400", "--workers", "1", "--out", str(tmp_path))
    # A shell that runs the tests in the background has SIGINT ignored; a person's terminal has not.
    work = subprocess.Popen(line, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL))  # fmt: skip
    kept = tmp_path / campaign.KEPT
    deadline = time.monotonic() + 900  # a last resort: eight nights take seconds
    while not (kept.exists() and kept.read_text().count("\n") >= 8) and time.monotonic() < deadline:
        time.sleep(0.1)
    work.send_signal(signal.SIGINT)
    out, err = work.communicate(timeout=900)
    assert "interrupted" in err and "Traceback" not in err
    assert "nights a second" in out
    done = campaign.Shelf(tmp_path, 1).wanted(400)
    assert 8 <= len(done) < 400


@pytest.mark.long
def test_bad_input_is_refused_without_a_traceback(tmp_path):
    line, env = command("campaign", "--nights", "0", "--out", str(tmp_path))
    work = subprocess.run(line, env=env, capture_output=True, text=True, check=False)
    assert work.returncode == 2
    assert "--nights 0: 1 or more is wanted" in work.stderr
    assert "Traceback" not in work.stderr
