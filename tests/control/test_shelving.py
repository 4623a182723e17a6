"""A2: one alarm shelved, with an end.  Times in ms on the alarms' bench; over the link in a controller."""

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm

from tests.control.alarm_bench import COUNT, HIGHS, HOUR, MEDIUMS, MINUTE, PLACES, SOUNDING, Bench, kind
from tests.control.clause_bench import near
from tests.rig import ALARM_PLACE, WITH_CURRENT, ready

SHELVE = 8 * HOUR


@pytest.mark.parametrize("i", [i for i in SOUNDING if i])
@pytest.mark.parametrize("before", [True, False])
def test_a2_a_shelved_alarm_makes_no_sound_and_no_call_and_stays_listed(i, before):
    bench = Bench(calls=1)
    if before:
        bench.a.shelve(i + 1)
    bench.go(on=[i])
    if not before:
        bench.a.shelve(i + 1)
        bench.go()
    assert (bench.a.horn, bench.a.relay, bench.a.service, bench.a.beacon) == (0, 1, 1, 1)
    assert (bench.a.state[i], bench.a.active[i], bench.a.nothing) == (1, 1, 0)
    assert bench.heard(SHELVE - 100) == []


@pytest.mark.parametrize("calls", [0, 1])
@pytest.mark.parametrize("i", [i for i in SOUNDING if i])
def test_a2_it_ends_by_itself_and_then_sounds_and_calls_like_a_new_one(i, calls):
    bench = Bench(calls=calls)
    bench.go(on=[i])
    bench.go(MINUTE)
    bench.a.shelve(i + 1)
    bench.go(SHELVE - 100)
    assert (bench.a.horn, bench.a.relay, bench.a.service) == (0, 1, 1)
    bench.go(100)
    assert (bench.a.horn, bench.a.shelved, bench.left(tm.SHELVE)) == (1, 0, None)
    assert bench.a.relay == (1 if i in MEDIUMS and calls else 0)
    assert bench.a.service == (0 if i in MEDIUMS else 1)
    assert bench.heard(5 * MINUTE + 1) == [(2 * MINUTE if kind(i) == "medium" else 5 * MINUTE, 0)]


@pytest.mark.parametrize("ends", ["asked", "reset", "another"])
def test_a2_it_ends_when_asked_by_a_reset_or_for_another(ends):
    bench = Bench()
    one, other = MEDIUMS[:2]
    bench.go(on=[one])
    bench.a.shelve(one + 1)
    assert bench.go(5 * MINUTE) == 0
    if ends == "asked":
        bench.a.shelve(r.SHELVE_END)
    elif ends == "reset":
        bench.a.reset()
    else:
        bench.a.shelve(other + 1)
    assert bench.go() == 1
    assert bench.a.shelved == (other + 1 if ends == "another" else 0)
    assert bench.left(tm.SHELVE) == (SHELVE if ends == "another" else None)


@pytest.mark.parametrize("number", [0, 1, COUNT + 1, 62])
def test_a2_high_water_and_what_is_no_alarm_are_not_shelved(number):
    bench = Bench()
    bench.go(on=[0])
    bench.a.shelve(number)
    assert bench.go() == 1
    assert (bench.a.shelved, bench.a.relay) == (0, 0)
    bench.a.shelve(MEDIUMS[0] + 1)
    bench.a.shelve(number)
    assert bench.a.shelved == MEDIUMS[0] + 1, "what cannot be shelved ends nothing"


def test_a2_the_others_sound_and_call_beside_a_shelved_one():
    bench = Bench(calls=1)
    bench.a.shelve(HIGHS[1] + 1)
    bench.go(on=[HIGHS[1]])
    assert (bench.a.horn, bench.a.relay) == (0, 1)
    assert bench.go(on=[HIGHS[2]]) == 1
    assert bench.a.relay == 0


def test_a2_acknowledged_over_or_low_it_comes_back_from_the_shelf_without_a_sound():
    for i, what in ((MEDIUMS[0], "acknowledged"), (MEDIUMS[0], "over"), (COUNT - 1, "low")):
        bench = Bench()
        bench.go(on=[i])
        if what == "acknowledged":
            bench.go(silence=True)
        elif what == "over":
            bench.go(off=[i])
        bench.go(3 * MINUTE)
        bench.a.shelve(i + 1)
        bench.go(MINUTE)
        bench.a.shelve(r.SHELVE_END)
        assert bench.go() == 0, what


def test_a3_one_that_is_raised_on_the_shelf_begins_no_call_of_another():
    bench = Bench()
    one, other = MEDIUMS[:2]
    bench.go(on=[one])
    bench.go(10 * MINUTE)
    assert bench.a.relay == 1, "the call of the first is over"
    bench.a.shelve(other + 1)
    bench.go(MINUTE, on=[other])
    assert bench.a.relay == 1


@pytest.mark.parametrize("hours", [1, 24])
def test_a2_for_how_long_is_a_setting_of_a_day_at_most(hours):
    bench = Bench(shelve_time=hours * HOUR)
    bench.a.shelve(MEDIUMS[0] + 1)
    bench.go(on=[MEDIUMS[0]])
    assert bench.go(hours * HOUR - 100) == 0
    assert bench.go(100) == 1
    assert s.TABLE[s.SHELVE_TIME_MS][3] == 24 * HOUR


def test_a2_over_the_link_an_alarm_is_shelved_once_and_another_in_the_next_step():
    rig = ready(sensing=WITH_CURRENT, supply_2=s.BATTERY)
    for name in ("mains_lost", "charger_failed"):
        rig.set(command=r.CMD_SHELVE * (ALARM_PLACE[name] + 1))
        assert rig.c.alarms.shelved == ALARM_PLACE[name] + 1
    rig.set(command=0).run(60)
    at = rig.set(mains=0, command=r.CMD_SHELVE * (ALARM_PLACE["mains_lost"] + 1)).t
    rig.run(3600)
    assert rig.active("mains_lost")
    assert [t for t, name, value in rig.edges if name == "horn" and value] == []
    rig.set(command=0).run(8 * 3600 - 3600)
    assert [t for t, name, value in rig.edges if name == "horn" and value][0] == near(at + 8 * 3600)
    rig.press("silence")
    rig.set(command=r.CMD_SHELVE * r.SHELVE_END)
    assert rig.c.alarms.shelved == 0


def test_a2_a_command_left_standing_at_power_up_shelves_nothing_and_a_power_up_ends_it():
    rig = ready()
    rig.set(command=r.CMD_SHELVE * (ALARM_PLACE["mains_lost"] + 1))
    rig.power_cut()
    assert rig.c.alarms.shelved == 0
    rig.run(60)
    assert rig.c.alarms.shelved == 0
    assert PLACES[ALARM_PLACE["mains_lost"]] == ALARM_PLACE["mains_lost"]
