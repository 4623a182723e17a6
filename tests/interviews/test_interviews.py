"""What a page says is covered holds: interviews drawn by seed, typed, sized, and run under the faults of their pages.

More of them: `python -m tests.interviews --count 1000 --seed 1`; one again: `--only N`.
"""

import tomllib
from dataclasses import replace

import pytest

from host_sim.site.faults import REGISTRY
from host_sim.sizing import battery
from host_sim.sizing import covered as rules
from host_sim.sizing.document import edited
from host_sim.sizing.model import size
from host_sim.sizing.report.covered_section import note
from tests.interviews import judge as judging
from tests.interviews.draw import draw
from tests.interviews.judge import judge
from tests.interviews.person import talk
from tests.sizing_sites import sound

SEED = 7
# In the default run, by what is drawn: pumps on mains and battery, on mains alone, with an inverter.
FEW = (0, 1, 2, 3, 4, 5)


def held_by(numbers, nights):
    found = [judge(SEED, number, nights) for number in numbers]
    broken = [(f.number, line) for f in found for line in f.broken]
    assert not broken, broken
    return found


def test_a_few_interviews_keep_what_their_pages_promise():
    found = held_by(FEW, 1)
    sized = [f for f in found if not f.refused]
    assert len(sized) >= 5
    assert sum(len(f.tried) for f in sized) >= 3  # a run that tried nothing would show nothing
    assert len({f.pair for f in sized}) >= 2


@pytest.mark.campaign
def test_many_interviews_keep_what_their_pages_promise():
    found = held_by(range(200), 2)
    sized = [f for f in found if not f.refused]
    assert len(sized) >= 190
    assert sum(len(f.tried) for f in sized) >= 250
    assert {f.floats for f in sized} == {"vertical", "tethered", "transmitter"}
    assert {f.pair for f in sized} >= {"mains and mains", "mains and battery", "mains and either"}


def test_an_interview_is_the_same_for_ever():
    assert draw(SEED, 3) == draw(SEED, 3) != draw(SEED, 4)
    assert talk(draw(SEED, 3))[0] == talk(draw(SEED, 3))[0]


def test_the_judge_finds_a_page_that_promises_too_much(monkeypatch):
    # A battery pump that moves nothing to speak of, called cover for pump 1.
    weak = [["0 gpm", "14 ft"], ["3 gpm", "12 ft"], ["6 gpm", "0 ft"]]
    data = sound(pump2__supply="battery", pump2__volts="12 V", pump2__curve=weak, pump2__rated_current="18 A")
    result = size(data)
    row = rules.by_fault(rules.covered(result))["pump1-jammed"]
    assert not row.held and "pump 2" in row.why
    found = judging.Verdict(0, 0)
    promised = replace(row, names=("pump1-jammed",), held=True, seconds=float("inf"))
    judging._night(result, promised, judging.random.Random(1), found)
    assert any("the floor is wet" in line for line in found.broken)


def test_the_judge_finds_a_pump_that_runs_dry():
    # Without current sensing nobody notices a pump that moves no water; the page says so.
    result = size(sound(controller__sensing="nothing"))
    row = rules.by_fault(rules.covered(result))["pump1-valve-shut"]
    assert not row.held and "runs dry" not in row.what and "not noticed" in row.why
    found = judging.Verdict(0, 0)
    promised = replace(row, names=("pump1-valve-shut",), held=True)
    judging._night(result, promised, judging.random.Random(1), found)
    assert any("runs dry" in line for line in found.broken)


@pytest.mark.long
def test_a_weaker_pump_that_is_shut_out_is_not_promised_to_live_where_both_run():
    # Interview 3022/174: with the mains-present wire broken the battery pump leads, and the mains pump beside it shuts
    # it out: 110 tries in an hour.  Interview 79/51: the same with the lead float hung wet, 32 tries in an hour.
    for seed, number, fault in ((3022, 174, "mains-sense-open"), (3022, 174, "transmitter-clogged"),
                                (79, 51, "lead-stuck-wet")):  # fmt: skip
        result, found = size(tomllib.loads(talk(draw(seed, number))[0])), judging.Verdict(0, 0)
        row = rules.by_fault(rules.covered(result))[fault]
        assert not row.held and "up to twice a minute" in row.why
        judging._night(result, replace(row, names=(fault,), held=True), judging.random.Random(1), found)
        assert 10 < found.tried[0][4] <= 2 * 60 and found.tried[0][3] < rules.DRY_S and found.tried[0][2] < 1.0
    assert f"{rules.tries(result)[1]} tries an hour" in note(result)
    assert rules.tries(size(sound(settings__flood_retry="60 s")))[1] > rules.tries(size(sound()))[1]


@pytest.mark.long
def test_in_a_pit_that_fills_quickly_a_pump_is_tried_twice_in_every_cycle_of_the_other():
    # Interview 3016/919 had a cycle of 130 s, and the air-locked pump was tried 56 times in an hour, more often than by
    # flood retries (49): what is promised there goes by the cycle.
    result, found = size(tomllib.loads(talk(draw(3016, 919))[0])), judging.Verdict(3016, 919)
    row = next(row for row in rules.covered(result) if "pump1-air-locked" in row.names)
    assert row.held
    judging._night(result, replace(row, names=("pump1-air-locked",)), judging.random.Random(1), found)
    assert not found.broken and rules.tries(result)[1] > 49
    assert 0 < found.tried[0][4] <= rules.tries(result)[1]


def test_floats_that_turn_together_promise_nothing_without_current_sensing():
    # A drop of half an inch from lead to off takes under 2 s: the controller takes it for a broken cable (L7).
    close = {"off": ("13 in", "9 in"), "lead": ("13.5 in", "9.4 in"), "lag": ("17 in", "13 in"),
             "high": ("21 in", "17 in")}  # fmt: skip
    contacts = {f"contacts.{name}": {"wet_at": wet, "dry_at": dry} for name, (wet, dry) in close.items()}
    blind = rules.covered(size(edited(sound(), {**contacts, "controller.sensing": "nothing"})))
    assert not any(row.held for row in blind) and "broken cable" in blind[0].why
    sensed = rules.covered(size(edited(sound(), contacts)))
    assert any(row.held for row in sensed)


def test_of_a_broken_common_wire_nothing_is_promised():
    # In a hand-typed pit and in interview 2601/362 the rests of blind pumping let water reach the floor.
    row = rules.by_fault(rules.covered(size(sound())))["common-wire-broken"]
    assert not row.held and "rests" in row.why


def test_a_pump_that_the_other_shuts_out_unseen_is_promised_nothing():
    # Interview 3011/255: both ran under one another's check valve, and 50 % of the rated current is not clearly below
    # the underload; the weaker one turned in still water for 109 s.
    text, _ = talk(draw(3011, 255))
    rows = rules.by_fault(rules.covered(size(tomllib.loads(text))))
    assert not rows["mains-sense-open"].held and "no current clearly tells" in rows["mains-sense-open"].why
    assert not rows["lead-stuck-dry"].held
    # Interview 3015/838: at off its current is 4 % below the underload, within the dead band of the controller, and
    # further up it moves a trickle; the battery pump turned in still water for 564 s.
    rows = rules.by_fault(rules.covered(size(tomllib.loads(talk(draw(3015, 838))[0]))))
    assert not rows["mains-sense-open"].held and "no current clearly tells" in rows["mains-sense-open"].why
    # Interview 3012/654: left in HAND it ran on, and pump 1 joined it at lag.
    rows = rules.by_fault(rules.covered(size(tomllib.loads(talk(draw(3012, 654))[0]))))
    assert not rows["pump2-left-in-hand"].held and rows["pump2-jammed"].held


def test_a_closed_valve_that_the_current_does_not_tell_is_promised_nothing():
    # The underload of this pump, set by hand 1 % above the current against a closed valve, lies in the dead band.
    sharp = edited(sound(), {"settings.underload_2": "4.04 A", "pump2.rated_current": "8 A"})
    row = rules.by_fault(rules.covered(size(sharp)))["pump2-valve-shut"]
    assert not row.held and "closed valve" in row.why
    found = judging.Verdict(0, 0)
    judging._night(size(sharp), replace(row, names=("pump2-valve-shut",)), judging.random.Random(1), found)
    assert any("runs dry" in line for line in found.broken)
    row = rules.by_fault(rules.covered(size(sound())))["pump2-valve-shut"]
    assert row.held


def test_a_pump_that_stands_in_while_the_first_one_rests_must_carry_too():
    # Interview 3012/362: in fixed duty, but refilled within pump 1's rest; pump 2 led every other time, was shut out by
    # pump 1 at lag and turned in still water for 83 s, with no more wrong than moisture in a seal.
    text, _ = talk(draw(3012, 362))
    rows = rules.covered(size(tomllib.loads(text)))
    assert not any(row.held for row in rows) and "stands in for one that rests" in rows[0].why


def test_a_pump_that_leads_must_draw_down_to_off_alone():
    # Interview 7/64: pump 1 carries the design inflow at high and not below; the other one, called since the level does
    # not fall, shut it out, and with no more wrong than a silent battery monitor it turned in still water for 437 s.
    rows = rules.covered(size(tomllib.loads(talk(draw(7, 64))[0])))
    assert not any(row.held for row in rows) and "cannot draw down to off alone" in rows[0].why


def test_a_pump_whose_start_pulls_the_battery_down_for_a_moment_is_counted_on():
    # Interview 3021/390: the start on the inverter takes 340 A from the battery for 0.3 s; what the battery reads
    # counts once it has stood for a second, so the controller does not take it for dead (narrative A4).
    text, _ = talk(draw(3021, 390))
    result = size(tomllib.loads(text))
    assert battery.start_v(result.inputs, 1) < 8.0  # 7.7 A x 5 x 120 V x 0.75 / (12 V x 0.85) = 340 A, 12 mohm / 0.8
    assert battery.running_v(result.inputs, 1) > 10.5
    row = rules.by_fault(rules.covered(result))["mains-lost"]
    assert row.held and "runs on the battery" in row.why
    found = judging.Verdict(0, 0)
    judging._night(result, replace(row, seconds=min(row.seconds, 3600.0)), judging.random.Random(1), found)
    assert found.tried and not found.broken
    # A start that is slow to end, or a pump that holds the battery down while it runs, is taken for a dead battery.
    slow = size(edited(tomllib.loads(text), {"supply.battery.resistance": "40 mohm"}))
    assert battery.running_v(slow.inputs, 1) < 10.5
    row = rules.by_fault(rules.covered(slow))["mains-lost"]
    assert not row.held and "waits for high" in row.why and "below 10.5 V" in row.why
    # Interview 3022/227: a 25.7 A battery pump stands in for pump 1.
    rows = rules.by_fault(rules.covered(size(tomllib.loads(talk(draw(3022, 227))[0]))))
    assert rows["pump1-valve-shut"].held and rows["pump2-valve-shut"].held


def test_a_pump_that_must_help_where_its_check_valve_is_gone_may_be_shut_out():
    # Interview 3023/806: what ran back through pump 2 used up the starts of pump 1; pump 2 led, pump 1 joined it at
    # lag, and pump 2 turned in still water for 367 s, for no current told.
    rows = rules.by_fault(rules.covered(size(tomllib.loads(talk(draw(3023, 806))[0]))))
    row = rows["pump2-check-missing"]
    assert not row.held and "check valve shut" in row.why
    assert rules.by_fault(rules.covered(size(sound())))["pump2-check-leaking"].held


def test_every_fault_of_the_registry_is_covered_or_not_in_one_row():
    plain = size(sound(pump2__supply="battery", pump2__volts="12 V"))
    level = edited(sound(), {"transmitter": {"span": "1 m", "zero": "1 in"}, "sizing.floats": {"kind": "transmitter"}})
    told = set()
    for result in (plain, size(level)):
        names = [name for row in rules.covered(result) for name in row.names]
        assert len(names) == len(set(names)) and set(names) <= set(REGISTRY)
        told |= set(names)
    assert told == set(REGISTRY)


def test_the_pair_of_a_mains_pump_and_a_battery_pump_survives_what_drowned_it_once():
    # An 8 A mains pump and an 18 A battery pump, the battery pump's valve closed, then the mains out: pump 2 is taken
    # off for underload by its own threshold, again and again, and never turns dry for a minute.
    text, _ = talk({**draw(SEED, 0), **UNEQUAL})
    result = size(tomllib.loads(text))
    found = judging.Verdict(0, 0)
    row = rules.by_fault(rules.covered(result))["pump2-valve-shut"]
    judging._night(result, replace(row, names=("pump2-valve-shut",)), judging.random.Random(1), found)
    assert row.held and not found.broken
    assert found.tried[0][3] < 15.0


UNEQUAL = {
    "installed": "nothing", "basin": "solid basin", "shape": "round", "width": '24"', "depth": "2' 6\"",
    "inlet": "18", "floor": "25 x 40 ft", "evidence": "rise test", "rise": '5"', "rise_time": "2 min 30 s",
    "rise_from": "6", "weather": "wettest", "lift": "9'", "pipe": "1.5 in", "riser_length": "8'", "riser_elbows": "1",
    "lines": "separate", "run": "20'", "elbows": "3", "bends": "2", "pipe_2": "1.5 in", "run_2": "20'",
    "elbows_2": "3", "check": "y", "valve": "y", "weep": "y", "backup": "battery pump", "intake_1": '3"',
    "covered_1": "5", "outlet_1": "1-1/2\"", "amps_1": "8 A", "volts_1": "115", "curve_how_1": "points of the curve",
    "curve_1": "0 gph 24', 2400 gph 14', 3600 gph 5', 4000 gph 0 ft", "intake_2": '2"', "covered_2": "4",
    "outlet_2": "1-1/2\"", "amps_2": "18 amps", "volts_2": "12 v", "curve_how_2": "shut-off and one point",
    "shutoff_2": "19'", "point_head_2": "10'", "point_flow_2": "1800 gph", "capacity": "100 ah", "fuse": "60",
    "sensing": "y", "sensor_1": "current transformer", "sensor_2": "Hall sensor", "float_kind": "vertical",
    "travel": "1 in",
}  # fmt: skip
