"""What a person reads of a night: units, clock, verdict, comparison, timeline."""

import pytest
import report_sample as sample

from host_sim.report.clock import Clock, lasting
from host_sim.report.timeline import Line, fold, timeline, written
from host_sim.report.units import SI, US, units
from host_sim.report.verdict import comparison, margin, rows, summary, verdict
from host_sim.run import closed_loop
from host_sim.run.trace import AlarmSpan, Event
from host_sim.site import chosen

HOUR = 3600.0


@pytest.fixture(scope="module")
def duplex():
    """Give the pair's sample night; tests must not change it."""
    return sample.duplex()


@pytest.fixture(scope="module")
def single():
    """Give the single pump's sample night; tests must not change it."""
    return sample.single()


def test_levels_speak_inches_or_millimetres():
    # The inch is 25.4 mm by definition.
    assert US.level.text(0.4572) == "18.0 in"
    assert SI.level.text(0.4572) == "457 mm"


def test_flows_speak_gallons_a_minute_or_litres_a_second():
    # The US gallon is 231 cubic inches by definition: 1 gpm is 0.06309 L/s.
    assert US.flow.text(6.30902e-5 * 34.6) == "34.6 gpm"
    assert SI.flow.text(6.30902e-5 * 34.6) == "2.18 L/s"


def test_a_number_near_zero_has_no_minus_sign():
    assert US.level.text(-1e-9) == "0.0 in"


def test_an_unknown_unit_system_is_refused_by_name():
    with pytest.raises(ValueError, match=r"'metric'.*us, si"):
        units("metric")


def test_a_night_across_midnight_speaks_the_clock_alone():
    clock = Clock(20 * HOUR, 10 * HOUR)
    assert clock.at(0) == "20:00"
    assert clock.at(5.5 * HOUR) == "01:30"
    assert clock.at(5.5 * HOUR + 7, seconds=True) == "01:30:07"


def test_a_long_run_speaks_of_days():
    clock = Clock(0, 90 * 86400)
    assert clock.at(0) == "day 1 00:00"
    assert clock.at(86400 * 11 + 2.25 * HOUR) == "day 12 02:15"
    assert clock.span(86400, 86400 + HOUR) == "day 2 00:00 to 01:00"
    assert clock.span(86400, 2.5 * 86400) == "day 2 00:00 to day 3 12:00"


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        (HOUR, 2 * HOUR, "21:00 to 22:00"),
        (HOUR, 10 * HOUR, "from 21:00"),
        (HOUR, None, "from 21:00"),
        (0, HOUR, "until 21:00"),
        (0, 10 * HOUR, "throughout"),
        (HOUR, HOUR + 5, "at 21:00"),
    ],
)
def test_a_stretch_is_said_the_shortest_way(start, end, words):
    assert Clock(20 * HOUR, 10 * HOUR).span(start, end) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0, "0 s"), (40, "40 s"), (130, "2 min 10 s"), (1500, "25 min"), (12480, "3 h 28 min"), (266400, "3 days 2 h")],
)
def test_durations_have_at_most_two_parts(seconds, words):
    assert lasting(seconds) == words


def test_a_dry_night_says_how_near_it_was_and_when_somebody_was_first_called(duplex):
    words = verdict(duplex, US)
    assert words.startswith("The floor stayed dry:")
    # 14.6 in against a floor at 24.0 in.
    assert "highest water 9.4 in below the floor at 02:07" in words
    assert "horn or relay first called at 00:42" in words
    assert "\n" not in words


LOW = AlarmSpan("not_in_auto", "low", "a selector not in AUTO", 1800.0)


@pytest.mark.parametrize(
    ("alarms", "words"),
    [
        ([], "no alarm."),
        ([LOW], "no call by horn or relay, but a low alarm (a selector not in AUTO)."),
        ([LOW, LOW], "no call by horn or relay, but a low alarm (a selector not in AUTO)."),
        (
            [LOW] + [AlarmSpan(f"name {i}", "medium", f"text {i}", 0.0) for i in range(4)],
            "no call by horn or relay, but 5 alarms (a selector not in AUTO; text 0; text 1; and 2 more).",
        ),
    ],
)
def test_alarms_that_call_nobody_are_not_denied(alarms, words):
    trace = sample.empty("duplex")
    trace.alarms = alarms
    assert verdict(trace, US).endswith(f"; {words}")
    table = dict(rows(trace, US))
    assert table["first call by horn or relay"] == "none"
    assert (table["alarms raised"] == "none") == (not alarms)


@pytest.mark.long
@pytest.mark.parametrize("fault", ["pump1-left-off", "pump1-moisture", "pump2-left-in-hand", "reset-stuck"])
def test_a_night_with_low_alarms_only_does_not_say_that_there_was_none(fault):
    trace = night_of(f"{fault}@0h")
    assert {alarm.priority for alarm in trace.alarms} == {"low"} and trace.totals.first_alarm_s is None
    words = verdict(trace, US)
    assert "no alarm" not in words and trace.alarms[0].text in words


def test_a_wet_night_says_from_when_and_for_how_long(single):
    words = verdict(single, SI)
    assert words.startswith("The floor got wet from 00:43, for 5 h 14 min:")
    assert "310 mm above the floor" in words
    assert "no alarm fitted" in words


def test_water_at_the_floor_is_neither_above_nor_below():
    trace = sample.empty("duplex")
    trace.totals.highest_m = trace.floor_m
    assert margin(trace, US) == "level with the floor"


def test_the_comparison_sets_the_same_figures_side_by_side(duplex, single):
    table = {label: (ours, theirs) for label, ours, theirs in comparison(duplex, single, US)}
    assert table["margin to the floor"] == ("9.4 in below the floor", "12.2 in above the floor")
    assert table["water on the floor"] == ("none", "5 h 14 min")
    assert table["first call by horn or relay"] == ("00:42", "none fitted")
    assert table["alarms raised"] == ("2 high, 3 medium", "none fitted")
    assert table["pump 1 starts"] == ("60", "119")
    assert table["pump 2 run time"] == ("2.09 h", "not fitted")


def night_of(fault):
    plan, added, seed = chosen.read(None, [fault], None, own_faults=False)
    return closed_loop.run(plan, faults=added, seed=seed)


@pytest.mark.long
def test_dry_running_in_many_tries_is_told_with_the_longest_and_a_locked_rotor_is_none():
    # A closed valve: tried again and again, and every try ends after dry_run (8 s) and its start.
    shut = night_of("pump1-valve-shut@0h")
    runs, table = shut.totals.dry_runs_s[0], dict(rows(shut, US))
    assert len(runs) > 2 and max(runs) < 10.0 and sum(runs) == pytest.approx(shut.totals.dry_s[0], abs=0.2 * len(runs))
    assert f" in {len(runs)} runs, longest {max(runs):.0f} s" in table["pump 1 dry running"]
    assert summary(shut)["longest_dry_s"][0] == max(runs)
    jammed = night_of("pump1-jammed@0h")
    assert jammed.totals.dry_s[0] == 0.0 and not jammed.totals.dry_runs_s[0] and jammed.totals.starts[0] > 2
    # Locked out, it is tried all the same, and the story says so.
    assert any("pump 1: tried, and locked out again" in line for line in written(shut, US) + written(jammed, US))


def test_a_try_of_a_pump_that_is_locked_out_is_told_as_a_try():
    trace = sample.empty("duplex")
    steps = [("starting", "idle"), ("running", "starting"), ("locked", "running"), *TRY, *TRY,
             ("starting", "locked"), ("running", "starting"), ("idle", "running"), ("locked", "idle")]  # fmt: skip
    trace.events = [Event(60.0 * i, "pump_state", {"pump": 1, "state": state, "before": before})
                    for i, (state, before) in enumerate(steps)]  # fmt: skip
    told = [line.split("  ", 1)[1] for line in written(trace, US) if "locked out" in line]
    assert told[0].startswith("pump 1: locked out (and 1 more")  # a trip, and one more after a good run
    assert told[1].startswith("pump 1: tried, and locked out again (and 1 more")


TRY = (("starting", "locked"), ("running", "starting"), ("locked", "running"))


def test_every_row_of_a_run_has_a_label_of_its_own(duplex):
    labels = [label for label, _ in rows(duplex, SI)]
    assert len(labels) == len(set(labels))


def test_the_summary_is_plain_and_in_si(duplex):
    figures = summary(duplex)
    assert figures["floor_dry"] is True
    assert figures["highest_m"] == duplex.totals.highest_m
    assert figures["starts"] == [60, 267]


def test_the_timeline_tells_outage_float_and_jam_in_order(duplex):
    story = "\n".join(written(duplex, US))
    told = [
        "00:42:00  FAULT: the mains are gone",
        "01:18:00  FAULT: the lead float hangs up wet",
        "01:19:00  lead float suspect: it reads wet",
        "02:06:00  FAULT: pump 1 is jammed",
        "pump 1: locked rotor",
        "04:12:00  end of fault: the mains are gone",
    ]
    places = [story.find(words) for words in told]
    assert -1 not in places
    assert places == sorted(places)


def test_the_mains_are_not_told_twice_where_a_fault_says_it(duplex):
    story = "\n".join(written(duplex, US))
    assert "mains failure" not in story


def test_mains_that_fail_by_themselves_are_told():
    trace = sample.empty("duplex")
    trace.events = [
        Event(HOUR, "mains", {"present": False, "source": "none"}),
        Event(2 * HOUR, "mains", {"present": True, "source": "generator"}),
    ]
    assert written(trace, US)[1:] == ["21:00:00  mains failure", "22:00:00  supply from the generator"]


def test_a_trip_is_told_in_words(duplex):
    assert "02:06:07  pump 1: tripped, resting before a retry" in written(duplex, US)


def test_the_timeline_names_the_highest_water(duplex):
    assert any("highest water: 14.6 in, 9.4 in below the floor" in line for line in written(duplex, US))


def test_routine_pumping_is_counted_not_listed(duplex):
    lines = timeline(duplex, US)
    assert len(lines) < 45 < len(duplex.runs)
    # Every run of more than a moment between two marks is in some count, none in two.
    assert any("pump 1: 60 runs" in line.text for line in lines)


def test_an_alarm_that_keeps_coming_back_is_told_once_with_its_count():
    lines = [Line(60.0 * minute, "high alarm: high water", 2) for minute in range(10)]
    folded = fold(lines, Clock(0, HOUR))
    assert [line.text for line in folded] == ["high alarm: high water (and 9 more until 00:09)"]


def test_the_same_words_hours_apart_are_told_twice():
    lines = [Line(0.0, "mains failure", 2), Line(3 * HOUR, "mains failure", 2)]
    assert [line.text for line in fold(lines, Clock(0, 4 * HOUR))] == ["mains failure", "mains failure"]


def test_water_on_the_floor_is_told():
    trace = sample.empty("duplex")
    trace.events = [Event(HOUR, "floor", {"wet": True}), Event(2 * HOUR, "floor", {"wet": False})]
    story = written(trace, US)
    assert "21:00:00  WATER ON THE FLOOR" in story
    assert "22:00:00  floor clear of water" in story
