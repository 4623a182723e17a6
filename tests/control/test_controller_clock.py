"""The controller's clock (I10, J2, M3): what passes is counted, what jumps is a fault, what is not due is skipped."""

import pytest
from duplexsump.control import alarms
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.controller import FIELDS, Controller
from duplexsump.control.ticks import DAY_MS, MASK, NEVER, diff

from tests.rig import ALARM_PLACE, WITH_CURRENT, Rig, ready

MINUTE_MS, DAY_MIN = 60_000, 1440
MOST_MIN = 1 << 29  # a thousand years
KIND = {field[0]: field[1] for field in FIELDS}
PLACE = {name: place for place, name in enumerate(KIND)}
INSPECTION_MIN = 90 * DAY_MIN


def quiet(**values):
    """A rig in which no timer runs, its last step at a whole minute of uptime; `values`: places of its snapshot.

    A double underscore in a name stands for a dot.
    """
    rig = Rig().run(600.0)
    assert set(rig.c.timers.at) == {NEVER}
    assert rig.c.mark == rig.now_ms
    return holding(rig, **values)


def holding(rig, **values):
    """Have a rig's controller take over its own snapshot with other values in some places."""
    record = rig.c.snapshot()
    for name, value in values.items():
        record[PLACE[name.replace("__", ".")]] = value
    rig.c.restore(record)
    return rig


def looked(rig, after_s):
    """Have everything worked out once; returns how many ms after that the next step is due."""
    rig.elapsed_ms += round(1000 * after_s)
    rig.c.always = True
    rig.step()
    rig.c.always = False
    return diff(rig.c.next_due(rig.now_ms), rig.now_ms)


# Running clocks ------------------------------------------------------------------------------------


@pytest.mark.parametrize("start_ms", [0, MASK - 650_000], ids=["", "across the wrap"])
@pytest.mark.parametrize(("elapsed_ms", "minutes"), [
    (100, 0), (59_900, 0), (60_000, 1), (119_900, 1), (120_000, 2), (3_600_000, 60), (DAY_MS - 100, DAY_MIN - 1),
    (DAY_MS, DAY_MIN),
])  # fmt: skip
def test_whole_minutes_are_counted_and_the_rest_stays_for_the_next(start_ms, elapsed_ms, minutes):
    rig = Rig(start_ms=start_ms & ~99).run(600.0)
    begin = rig.now_ms
    holding(rig, uptime_min=5, inspection_min=70)
    rig.elapsed_ms += elapsed_ms
    rig.step()
    assert (rig.c.uptime_min, rig.c.inspection_min) == (5 + minutes, 70 + minutes)
    assert (rig.c.now, rig.c.mark) == (rig.now_ms, begin + minutes * MINUTE_MS & MASK)
    rig.elapsed_ms += (minutes + 1) * MINUTE_MS - elapsed_ms
    rig.step()
    assert (rig.c.uptime_min, rig.c.inspection_min) == (6 + minutes, 71 + minutes)
    assert rig.c.exercise.idle_min == [minutes + 11, minutes + 11], "ten minutes had passed before"


def test_long_clocks_stop_at_a_thousand_years():
    rig = quiet(uptime_min=MOST_MIN - 1, inspection_min=MOST_MIN - 2)
    for expected in ((MOST_MIN, MOST_MIN - 1), (MOST_MIN, MOST_MIN), (MOST_MIN, MOST_MIN)):
        rig.elapsed_ms += MINUTE_MS
        rig.step()
        assert (rig.c.uptime_min, rig.c.inspection_min) == expected


def test_a_second_step_at_the_same_instant_counts_nothing():
    rig = ready()
    rig.fill("off", "lead", "lag").run(5.0)
    before = rig.c.snapshot()
    rig.step()
    assert rig.c.snapshot() == before


@pytest.mark.parametrize("pumps", [("selector_1",), ("selector_2",), ("selector_1", "selector_2")])
def test_j3_the_time_that_passes_is_run_time_of_the_pumps_that_ran(pumps):
    rig = ready().set(off=1, lead=1)
    rig.set(**dict.fromkeys(("selector_1", "selector_2"), "off")).set(**dict.fromkeys(pumps, "hand")).run(90.0)
    rig.set(**dict.fromkeys(pumps, "off")).run(30.0)
    for n in range(2):
        assert rig.c.history.run_s[n] * 1000 + rig.c.history.run_ms[n] == round(1000 * rig.run_time(n + 1))
    assert [rig.run_time(n + 1) > 30 for n in range(2)] == [f"selector_{n + 1}" in pumps for n in range(2)]


@pytest.mark.parametrize(("after_due_ms", "late"), [(-100, 0), (0, 0), (1, 1), (100, 1), (5000, 1)])
def test_j2_a_step_after_the_instant_that_was_due_is_late_and_only_that_one(after_due_ms, late):
    rig = quiet()
    due = rig.c.next_due(rig.now_ms)
    out = rig.c.step(due + after_due_ms & MASK, list(rig.held))
    assert (out[r.OUT_LATE], out[r.OUT_CLOCK]) == (late, 0)
    out = rig.c.step(rig.c.next_due(due + after_due_ms & MASK), list(rig.held))
    assert out[r.OUT_LATE] == 0


# Clocks that jump ----------------------------------------------------------------------------------


def in_trouble(start_ms):
    """A rig with many timers running: a pump running, one resting, alarms silenced, a contact that chatters."""
    rig = Rig(start_ms=start_ms, sensing=WITH_CURRENT).run(70.0)
    rig.load[:] = ["none", "normal"]
    rig.fill("off", "lead").run(20.0).press("silence").run(1.0)
    rig.c.alarms.tell(ALARM_PLACE["charger_failed"], 1)  # and is over in the next step: its chirp is due
    for _ in range(4):
        rig.set(lag=1).run(0.1).set(lag=0).run(0.1)
    return rig


@pytest.mark.parametrize("jump_ms", [-700, DAY_MS + 700])
def test_m3_every_deadline_moves_with_a_clock_that_jumps_and_nothing_else_does(jump_ms):
    at = next(i for i, t in enumerate(in_trouble(0).c.timers.at) if t != NEVER)
    start_ms = -in_trouble(0).c.timers.at[at] & MASK  # so that one deadline is the instant 0
    stood, jumped = in_trouble(start_ms), in_trouble(start_ms)
    assert stood.c.timers.at[at] == 0
    deadlines = [name for name, kind in KIND.items() if kind == r.DEADLINE and name != "due"]
    armed = {name for name in deadlines if stood.c.snapshot()[PLACE[name]] != NEVER}
    assert {name.partition("[")[0] for name in armed} == {name.partition("[")[0] for name in deadlines}
    for rig, to in ((stood, stood.now_ms), (jumped, jumped.now_ms + jump_ms & MASK)):
        rig.c.always = True
        rig.c.step(to, list(rig.held))
    told = {"clock_fault", "pending"} | {f"alarms.{name}[{ALARM_PLACE['clock_fault']}]"
                                         for name in ("state", "active", "raised")}  # fmt: skip
    for name, a, b in zip(KIND, stood.c.snapshot(), jumped.c.snapshot(), strict=True):
        if (KIND[name] == r.DEADLINE and a != NEVER and name != "due") or name in ("now", "mark"):
            assert b == a + jump_ms & MASK, name
        elif name not in told | {"due"} and not name.startswith("signature"):
            assert b == a, name
    assert jumped.c.clock_fault == 1
    assert jumped.c.alarms.state[ALARM_PLACE["clock_fault"]] == alarms.UNACKNOWLEDGED


# The next instant ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("ahead_ms", "expected"), [
    (-5000, 100), (0, 100), (100, 100), (200, 200), (DAY_MS, DAY_MS),
])  # fmt: skip
@pytest.mark.parametrize("now", [5_000_000, MASK - 99])
def test_the_next_instant_lies_on_the_grid_and_ahead(now, ahead_ms, expected):
    rig = holding(quiet(), due=now + ahead_ms & MASK)
    assert rig.c.next_due(now) == now + expected & MASK


@pytest.mark.parametrize(("values", "after_s", "expected_ms"), [
    ({}, 0.1, DAY_MS - 100), ({}, 30.0, DAY_MS - 30_000), ({}, 60.0, DAY_MS),
    ({"inspection_min": INSPECTION_MIN - 7}, 0.1, 7 * MINUTE_MS - 100),
    ({"inspection_min": INSPECTION_MIN - 7}, 20.0, 7 * MINUTE_MS - 20_000),
    ({"inspection_min": INSPECTION_MIN - 7}, 60.0, 6 * MINUTE_MS),
    ({"inspection_min": INSPECTION_MIN - 1}, 59.9, 100), ({"inspection_min": INSPECTION_MIN - 1}, 0.1, 59_900),
    ({"inspection_min": INSPECTION_MIN - DAY_MIN}, 0.1, DAY_MS - 100),
    ({"inspection_min": INSPECTION_MIN}, 0.1, 100), ({"inspection_min": INSPECTION_MIN + 5}, 0.1, 100),
    ({"exercise__off_dry_min": 30 * DAY_MIN - 8, "inspection_min": INSPECTION_MIN - 9}, 0.1, 8 * MINUTE_MS - 100),
    ({"exercise__off_dry_min": 30 * DAY_MIN - 9, "inspection_min": INSPECTION_MIN - 8}, 0.1, 8 * MINUTE_MS - 100),
])  # fmt: skip
def test_a5_the_next_step_is_due_with_the_soonest_long_time_counted_from_the_whole_minute(
        values, after_s, expected_ms):  # fmt: skip
    assert looked(quiet(**values), after_s) == expected_ms


def test_a5_an_inspection_that_is_due_is_awaited_no_longer():
    rig = quiet(inspection_min=INSPECTION_MIN)
    looked(rig, 5.0)
    assert rig.active("inspection_due")
    assert looked(rig, 0.0) == DAY_MS - 5000
    rig.set(command=r.CMD_INSPECTED).run(1.0)
    assert not rig.active("inspection_due")
    assert rig.c.inspection_min == 0


@pytest.mark.parametrize(("timer_ms", "left_min", "expected_ms"), [
    (5000, DAY_MIN, 5000), (100, DAY_MIN, 100), (60_000, 1, 60_000), (59_900, 1, 59_900), (60_100, 1, 60_000),
])  # fmt: skip
def test_i10_the_next_step_is_due_with_the_soonest_timer_or_long_time(timer_ms, left_min, expected_ms):
    rig = quiet(inspection_min=INSPECTION_MIN - left_min)
    holding(rig, **{f"timers__at[{tm.BOOT}]": rig.now_ms + timer_ms})
    assert looked(rig, 0.0) == expected_ms


def test_timers_ring_in_the_step_that_is_due():
    rig = quiet()
    at = rig.now_ms + 10_000
    holding(rig, **{f"timers__at[{tm.BOOT}]": at})
    rig.c.step(at - 100, list(rig.held))
    assert (rig.c.timers.at[tm.BOOT], rig.c.timers.rang[tm.BOOT]) == (at, False)
    rig.c.step(at, list(rig.held))
    assert (rig.c.timers.at[tm.BOOT], rig.c.timers.rang[tm.BOOT]) == (NEVER, True)


# A step, and what it may skip ----------------------------------------------------------------------


def worked_out(rig, inputs, after_ms=5000, limited=False):
    """Step a quiet rig's controller `after_ms` later and tell whether it worked everything out.

    Where nothing is due for a day, the next instant is moved ahead in the record
    that it takes over; only a step that works everything out puts it right.
    """
    holding(rig, due=rig.now_ms + 3_000_000)
    to = rig.now_ms + after_ms
    assert rig.c.step(to, inputs, limited) is rig.c.out
    assert (rig.c.now, rig.c.timers.now) == (to, to), "the time is taken all the same"
    return rig.c.due != rig.now_ms + 3_000_000


def test_i10_with_nothing_due_and_nothing_new_a_step_works_nothing_out():
    assert not worked_out(quiet(), list(quiet().held))
    rig = quiet()
    assert not worked_out(rig, list(rig.held), after_ms=2_999_900)
    assert worked_out(quiet(), list(rig.held), after_ms=3_000_000)
    assert worked_out(quiet(), list(rig.held), after_ms=3_000_100)
    rig = quiet()
    rig.c.always = True
    assert worked_out(rig, list(rig.held), after_ms=100)


@pytest.mark.parametrize("place", sorted(set(range(r.N_INPUTS)) - {r.IN_CHATTER}), ids=lambda p: r.INPUT_NAMES[p])
def test_i10_each_input_alone_makes_a_step_work_everything_out(place):
    rig = quiet()
    inputs = list(rig.held)
    inputs[place] ^= 1
    before = list(inputs)
    assert worked_out(rig, inputs)
    assert inputs == rig.c.last == before
    assert rig.c.raw_word == before[r.IN_CONTACTS]


def chattering():
    """A rig whose lag has just chattered: it reads dry, counts as wet, and nothing is due for some seconds."""
    rig = Rig().run(600.0)
    for _ in range(3):
        rig.set(lag=1).run(0.1).set(lag=0).run(0.1)
    rig.run_until(lambda rig: diff(rig.c.next_due(rig.now_ms), rig.now_ms) > 1000, 20.0)
    assert rig.held[r.IN_CONTACTS] == 0
    assert rig.scratch[r.IN_CONTACTS] == rig.scratch[r.IN_CHATTER] == r.LAG
    return rig


def test_l1_the_record_holds_the_limited_contacts_in_every_step_due_or_not():
    rig = chattering()
    due = rig.c.next_due(rig.now_ms)
    rig.ticking = True
    for _ in range(9):
        rig.run(0.1)
        assert rig.scratch[r.IN_CONTACTS] == rig.scratch[r.IN_CHATTER] == r.LAG
        assert rig.c.next_due(rig.now_ms) == due, "nothing new: what the limiter makes of it is no change"


def test_l1_a_contact_that_is_held_wet_by_the_limiter_is_nothing_new_at_the_next_step():
    rig = chattering()
    raw = list(rig.held)
    assert not worked_out(rig, raw, after_ms=100)
    assert raw[r.IN_CONTACTS] == raw[r.IN_CHATTER] == r.LAG


def test_l1_the_limiter_sees_the_contacts_as_they_are_even_where_they_read_what_it_made_of_them():
    rig = chattering()
    rig.run(0.5).set(lag=1)
    assert rig.c.raw_word == r.LAG
    end = rig.t + 10.0  # it counts as wet until it has been steady for 10 s, and was not until now
    rig.run(9.9)
    assert rig.scratch[r.IN_CHATTER] == r.LAG
    rig.run(end + 0.1 - rig.t)
    assert rig.scratch[r.IN_CHATTER] == 0


def test_j2_a_record_that_has_been_limited_before_is_taken_as_it_is():
    rig = quiet()
    inputs = list(rig.held)
    assert not worked_out(rig, inputs, limited=True), "nothing in it is new"
    inputs[r.IN_CONTACTS] = inputs[r.IN_CHATTER] = r.LEAD
    rig = quiet()
    for k in range(12):  # what would be chatter in a reading
        inputs[r.IN_CONTACTS] ^= r.OFF
        before = list(inputs)
        assert worked_out(rig, inputs, after_ms=100 * (k + 1), limited=True)
        assert inputs == rig.c.last == before, "the record of a replay is not written over"
    assert (rig.c.chatter.mask, rig.c.raw_word) == (0, 0)


def test_j2_what_the_limiter_saw_last_does_not_stand_for_a_record_that_is_limited_already():
    rig = chattering()
    inputs = list(rig.held)
    inputs[r.IN_CHATTER] = r.LAG
    assert inputs[r.IN_CONTACTS] == rig.c.raw_word == 0
    rig.c.step(rig.now_ms + 100, inputs, True)
    assert (inputs[r.IN_CONTACTS], rig.c.last[r.IN_CONTACTS]) == (0, 0)


@pytest.mark.parametrize("limited", [False, True])
def test_s4_the_first_step_works_everything_out_whatever_the_inputs(limited):
    for inputs in ([0] * r.N_INPUTS, [1] * r.N_INPUTS):
        c = Controller(s.defaults())
        c.power_up(5_000_000)
        before = list(inputs)
        c.step(5_000_000, inputs, limited)
        assert c.last == inputs
        assert c.raw_word == (0 if limited else before[r.IN_CONTACTS])
        assert inputs[r.IN_CHATTER] == (before[r.IN_CHATTER] if limited else 0)
        assert c.due != 5_000_000


# Looking no more often than needed -----------------------------------------------------------------


def looks(rig):
    """Note the instants at which a rig steps its controller: at changes of an input and when it is due."""
    seen = []
    rig.watchers.append(lambda rig: seen.append(rig.elapsed_ms))
    return seen


def test_i10_a_quiet_hour_is_not_looked_at_at_all():
    rig = quiet()
    seen = looks(rig)
    rig.run(3600.0)
    assert len(seen) == 1, "the end of the hour itself"


def test_i10_a_cycle_is_looked_at_at_edges_and_due_instants_and_a_tick_after_what_an_earlier_part_reads():
    rig = ready(settle_s=400.0, sensing=WITH_CURRENT)
    seen, begin_ms = looks(rig), rig.elapsed_ms
    rig.set(off=1).run(30.0).set(lead=1).run(30.0).set(lead=0).run(10.0).set(off=0).run(400.0)
    edges = {0, 30, 60, 70}  # off and lead turn wet, lead and off dry
    debounced = {t + 1 for t in edges}
    start, stop = 31, 71
    followed = debounced | {start + 0.1, start + 1.1, start + 8.1}  # also: proved, loaded, loaded for dry_run
    timers = {t + 3 for t in edges} | {10, 40, 80}  # L7's two seconds, L1's ten (one ends with the edge at 70)
    timers |= {start + 1, start + 1.1, start + 3, start + 5, start + 8.1}  # inrush, load, spacing, min_run, dry_run
    timers |= {stop + 10, stop + 20, stop + 60}  # the three rests
    expected = edges | debounced | {t + 0.1 for t in followed} | timers | {start + 0.1, 470}
    assert sorted({(ms - begin_ms) // 100 for ms in seen}) == sorted({round(10 * t) for t in expected})


@pytest.mark.parametrize("supply", [0, 1, 2])
@pytest.mark.parametrize("months", [0, 1, 48])
def test_a4_a_standby_battery_is_old_after_battery_age_until_a_new_one_is_recorded(supply, months):
    age_min = months * 43_830
    rig = holding(Rig(battery_age=months, supply_2=supply).run(600.0), battery_min=max(0, age_min - 3))
    looked(rig, 0.1)
    assert not rig.active("battery_old")
    rig.run(180)
    assert rig.active("battery_old") is bool(months and supply)
    rig.set(command=r.CMD_REPLACED).run(1.0)
    assert not rig.active("battery_old")
    assert rig.c.battery_min == 0
