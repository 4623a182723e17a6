"""What the controller tells its parts in each step (A4, D7, R3), and what a reset takes back from them (R4)."""

import pytest
from duplexsump.control import blind
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control.controller import FIELDS, Controller

from tests.rig import NO_CURRENT, WITH_CURRENT, ready

PLACE = {field[0]: place for place, field in enumerate(FIELDS)}
ALL = ("off", "lead", "lag", "high")


@pytest.fixture(params=[0, 1], ids=["pump 1", "pump 2"])
def n(request):
    return request.param


def told(rig):
    """Have one more step worked out with everything as it is; returns the controller."""
    rig.c.always = True
    rig.run(0.1)
    rig.c.always = False
    return rig.c


@pytest.mark.parametrize("silent", range(4))
def test_r3_the_pumps_that_go_on_without_a_current_are_told_as_a_mask(silent):
    c = Controller(s.defaults())
    for k in range(2):
        c.pumps[k].silent = silent >> k & 1
    assert c.silent() == silent


@pytest.mark.parametrize(("change", "gate", "flood"), [
    ({}, 0, 0), ({"selector": "off"}, 1, 1), ({"selector": "hand"}, 0, 1), ({"thermal": 1}, 1, 1),
], ids=str)  # fmt: skip
def test_r3_who_could_not_use_a_try_and_whom_the_gate_keeps_off(n, change, gate, flood):
    rig = ready(sensing=WITH_CURRENT)
    c = told(rig.set(**{f"{name}_{n + 1}": value for name, value in change.items()}))
    assert (c.gate.barred, c.flood.barred) == (gate << n, flood << n)


def test_r3_one_that_will_not_stop_may_use_a_try(n):
    rig = ready(sensing=WITH_CURRENT)
    rig.weld[n] = "normal"
    c = told(rig.run(5.0))
    assert c.pumps[n].welded
    assert (c.gate.barred, c.flood.barred) == (0, 0)
    rig.set(selector_1="off", selector_2="off").fill(*ALL).run(2.0)
    assert told(rig).belief.wet & r.HIGH
    assert (c.gate.barred, c.flood.barred) == (3, 3)
    rig.load[1 - n] = "none"
    rig.set(**{f"selector_{n + 1}": "auto"})
    told(rig)
    assert (c.gate.barred, c.flood.barred) == (2 >> n, 2 >> n)


@pytest.mark.parametrize("dies", [False, True])
def test_a4_a_battery_that_dies_under_a_run_counts_as_one_that_did_not_bear_an_exercise(dies):
    rig = ready(sensing=WITH_CURRENT, supply_2=s.BATTERY).set(selector_1="off").run(86_400.0)
    rig.fill("off", "lead").run(5.0)
    assert rig.pumps_on() == (0, 1)
    rig.set(battery="dead" if dies else "low").run(1.5)
    assert rig.c.exercise.flat == int(dies)
    rig.set(battery="good").run(60.0)
    assert rig.c.exercise.flat == int(dies), "until an exercise is passed"
    rig.press("reset").run(1.0)
    assert rig.c.exercise.flat == 0


def test_a4_without_a_mains_a_pump_is_kept_off_until_high_water_has_it_used_unseen():
    rig = ready(sensing=WITH_CURRENT).set(mains=0).run(5.0)
    c = told(rig)
    assert (c.supply.fed, c.gate.barred, c.flood.barred) == (0, 3, 3)
    rig.fill(*ALL).run(20.0)
    told(rig)
    assert (c.supply.fed, c.supply.unseen) == (0, 3)
    assert (c.gate.barred, c.flood.barred) == (0, 0)
    assert [pump.unseen for pump in c.pumps] == [1, 2]


@pytest.mark.parametrize("high", [0, 1])
def test_r3_each_pump_is_told_of_high_that_is_believed_wet(high):
    rig = ready(sensing=WITH_CURRENT).fill(*ALL[: 3 + high]).run(5.0)
    assert [pump.flooded for pump in told(rig).pumps] == [high * r.HIGH] * 2
    rig = ready(sensing=WITH_CURRENT)
    rig.set(high=1).run(40.0)
    assert rig.suspects() == {"high"}
    assert [pump.flooded for pump in told(rig).pumps] == [0, 0]
    assert [pump.unseen for pump in rig.c.pumps] == [0, 0]


@pytest.mark.parametrize("contact", ["off", "high"])
def test_l2_belief_is_told_who_chatters(contact):
    rig = ready(sensing=WITH_CURRENT)
    assert told(rig).belief.chatters == 0
    for wet in (1, 0, 1, 0, 1, 0):
        rig.set(**{contact: wet}).run(0.5)
    assert told(rig).belief.chatters == (r.OFF if contact == "off" else r.HIGH)
    rig.run(12.0)
    assert told(rig).belief.chatters == 0


@pytest.mark.parametrize("wet", [(), ("off", "lead"), ("off", "lead", "lag"), ALL])
@pytest.mark.parametrize("mains", [0, 1])
def test_a4_d7_supply_exercise_and_belief_are_told_what_runs_on_what(wet, mains):
    rig = ready(sensing=WITH_CURRENT, supply_2=2, mains_grace=10_000)
    rig.fill(*wet).set(mains=mains).run(8.0)
    c = told(rig)
    out, supply = c.gate.out, c.supply
    assert bool(out) == bool(wet)
    assert (supply.running, supply.demanded, c.belief.running) == (out, c.demand.demand, out)
    assert supply.lag == c.contacts.wet & (r.LAG | r.HIGH)
    assert supply.loaded == out & supply.on_battery
    assert c.exercise.drawing == c.gate.on_battery == supply.on_battery
    assert c.exercise.unfed == (~supply.fed if mains else 0)
    assert bool(supply.on_battery) == (not mains)
    for battery in (r.BATTERY_LOW, r.BATTERY_DEAD, r.BATTERY_GOOD):
        rig.set(battery=battery)
        assert told(rig).exercise.battery == battery


def test_r4_a_reset_takes_back_what_was_held_against_pumps_contacts_and_the_clock():
    rig = ready(sensing=WITH_CURRENT)
    record = rig.c.snapshot()
    held = {f"pump_{k}.{name}": value for k in (1, 2) for name, value in (("out", 1), ("failures", 2))}
    held |= {"exercise.failed": 3, "exercise.flat": 3, "clock_fault": 1, "pair.suspects": 3, "pair.lag_leads[0]": 2,
             "pair.lag_leads[1]": 2, "belief.fickle": 4, "belief.evidence": 4, "demand.stops": 1}  # fmt: skip
    for name, value in held.items():
        record[PLACE[name]] = value
    rig.c.restore(record)
    told(rig)
    after = rig.c.snapshot()
    assert {name: after[PLACE[name]] for name in held} == held, "until somebody presses it"
    rig.press("reset")
    after = rig.c.snapshot()
    assert {name: after[PLACE[name]] for name in held} == dict.fromkeys(held, 0)


def test_j3_only_water_at_a_lag_that_is_believed_is_counted_as_such():
    rig = ready(sensing=WITH_CURRENT).fill("off", "lead").run(20.0)
    rig.drain("lead", "off").run(70.0)
    assert rig.c.history.lag_reached == 0
    for times in (1, 2):
        rig.fill("off", "lead", "lag").run(20.0)
        assert rig.c.history.lag_reached == times
        rig.drain("lag", "lead", "off").run(70.0)
    rig.fill("off", "lead", "lag").run(5.0).drain("lead").run(25.0)
    assert rig.suspects() == {"lag"}
    rig.drain("off").run(70.0).fill("off", "lead").run(20.0)
    assert rig.c.history.lag_reached == 3, "not once more for one that hangs wet"


def test_s1_the_gate_is_told_of_lead_and_lag_that_are_believed_and_of_high_that_reads_wet(n):
    for wet in ((), ("off", "lead"), ("off", "lead", "lag"), ALL):
        c = told(ready(sensing=WITH_CURRENT).fill(*wet).set(generator=n).run(5.0))
        upper = c.contacts.wet & (r.LEAD | r.LAG | r.HIGH)
        assert (c.gate.contacts, c.gate.generator) == (upper, n)
        assert [c.out[r.OUT_PUMP_1], c.out[r.OUT_PUMP_2]] == [c.gate.out & 1, c.gate.out >> 1]
    rig = ready(sensing=WITH_CURRENT).fill("off", "lead", "lag").run(5.0).drain("lead").run(25.0)
    c = told(rig)
    assert (c.belief.suspect, c.contacts.wet, c.gate.contacts) == (r.LAG, r.OFF | r.LAG, 0)
    c = told(ready(sensing=WITH_CURRENT).set(high=1).run(40.0))
    assert (c.belief.suspect, c.contacts.wet, c.gate.contacts) == (r.HIGH, r.HIGH, r.HIGH)


@pytest.mark.parametrize(("changes", "calm"), [
    ({}, True), ({"off": 1}, True), ({"mains": 0}, False), ({"off": 1, "lead": 1}, False), ({"high": 1}, False),
], ids=str)  # fmt: skip
def test_d7_an_exercise_needs_the_mains_and_a_level_that_asks_for_nothing_and_is_known(changes, calm):
    rig = ready(sensing=WITH_CURRENT)
    rig.set(**changes).run(40.0)
    assert bool(told(rig).exercise.calm) is calm
    if "high" in changes:
        assert rig.suspects() == {"high"} and not rig.c.demand.demand
        rig.load = ["under", "under"]
        rig.run_until(lambda rig: rig.c.blind.state == blind.RESTING, 120.0)
        c = told(rig)
        assert (c.blind.wants(), bool(c.exercise.calm)) == (False, False), "nor between two blind runs"


def test_a1_d1_a_run_alone_that_the_level_ends_proves_the_pump_and_no_other_does():
    for together, ended in ((False, "level"), (True, "level"), (False, "selector")):
        rig = ready(sensing=NO_CURRENT).fill("off", "lead").run(30.0)
        if together:
            rig.fill("lag").run(30.0)
        on = [n for n in range(2) if rig.c.gate.out >> n & 1]
        assert len(on) == 1 + together
        for n in on:
            rig.c.pumps[n].failures, rig.c.pumps[n].out = 2, 1
        if ended == "level":
            rig.drain("lag", "lead", "off") if together else rig.drain("lead", "off")
        else:
            rig.set(selector_1="off", selector_2="off")
        rig.run(40.0)
        assert not rig.c.gate.out
        proved = ended == "level"
        assert [rig.c.pumps[n].failures for n in on] == [0 if proved else 2] * len(on), (together, ended)
        assert [rig.c.pumps[n].out for n in on] == [0 if proved and not together else 1] * len(on), (together, ended)


def test_j3_the_history_is_told_of_whole_minutes():
    rig = ready()
    before = rig.c.history.peak_min
    rig.run(300.0)
    assert rig.c.history.peak_min == before + 5

@pytest.mark.parametrize("contact", [r.OFF, r.LEAD, r.LAG])
def test_l6_the_controller_tells_of_a_contact_that_turns(contact):
    rig = ready(sensing=WITH_CURRENT).set(high=1).run(30)
    assert rig.c.blind.live == 0
    rig.set(**{r.CONTACT_NAMES[contact.bit_length() - 1]: 1}).run(3)
    assert rig.c.blind.live == 1
    rig.set(high=0).run(3)
    assert rig.c.blind.live == 0
