"""Settings against a plain reading of their table: every range, every step, every rule between two, both sides.

What is refused is compared word for word: a refusal names the setting, its
value, what is allowed and why (M4).
"""

import re
from itertools import permutations, product

import pytest
from duplexsump.control import settings as s

MA = {"no_current": 500, "underload": 4500, "rated": 8000, "overload": 9600, "sensor_range": 30_000}
ROWS = [(i, *row[:5]) for i, row in enumerate(s.TABLE)]


def refused(**changes):
    """Return the refusals of the defaults with `changes` by name, as a list of sentences."""
    values = s.defaults()
    for name, value in changes.items():
        values[[row[0] for row in s.TABLE].index(name)] = value
    return s.check(values)


# Each by itself ------------------------------------------------------------------------------------


def test_m4_the_defaults_are_a_new_record_each_time_and_are_accepted():
    one, other = s.defaults(), s.defaults()
    assert one == [row[4] for row in s.TABLE]
    assert all(isinstance(value, int) for value in one)
    one[0] += 100
    assert other == s.defaults() != one
    assert s.check(other) == []


def test_m4_every_name_leads_to_its_place_and_an_unknown_one_to_the_command_that_lists_them():
    assert [s.index(row[0]) for row in s.TABLE] == list(range(s.N_SETTINGS))
    with pytest.raises(ValueError, match=r"^unknown setting 'depth': the settings command lists them all$"):
        s.index("depth")


@pytest.mark.parametrize("count", [0, 1, s.N_SETTINGS - 1, s.N_SETTINGS + 1])
def test_m4_a_record_of_another_length_is_refused_as_such(count):
    record = (s.defaults() + [0])[:count]
    assert s.check(record) == [f"settings record of {count} values: must hold {s.N_SETTINGS}"]


@pytest.mark.parametrize(("place", "name", "unit", "least", "most", "default"), ROWS, ids=[row[0] for row in s.TABLE])
def test_m4_a_value_out_of_its_range_or_not_a_whole_number_is_refused_and_its_limits_are_not(
        place, name, unit, least, most, default):  # fmt: skip
    def said(value):
        values = s.defaults()
        values[place] = value
        return s.check(values)

    allowed = f"a whole number from {least} to {most} {unit}".rstrip()
    for value in (least - 1, most + 1, -1 - most, 1 << 29, default + 0.5, str(default), None):
        assert said(value) == [f"{name} = {value!r}: {allowed}"]
    for value in (least, most, default):
        assert not [text for text in said(value) if "a whole number" in text]


@pytest.mark.parametrize(("place", "name", "unit", "least", "most", "default"), ROWS, ids=[row[0] for row in s.TABLE])
def test_m4_times_lie_on_the_grid_of_100_ms_and_nothing_else_has_to(place, name, unit, least, most, default):
    values = s.defaults()
    for value in {least + 1, least + 50, least + 99} if most > least + 99 else ():
        values[place] = value
        steps = [text for text in s.check(values) if "steps" in text]
        assert steps == ([f"{name} = {value} ms: a whole number of 100 ms steps"] if unit == "ms" else [])


def test_m4_every_value_out_of_its_range_is_told_at_once_and_the_rules_between_them_only_when_there_is_none():
    assert refused(retries=0, dry_run=2050, fitted=7, battery_dead=20_000) == [
        "retries = 0: a whole number from 1 to 10", "dry_run = 2050 ms: a whole number of 100 ms steps",
    ]  # fmt: skip
    assert refused(fitted=7, battery_dead=20_000, start_spacing=20_000) == [
        "start_spacing = 20000: must be at most generator_spacing = 10000, "
        "because a generator needs at least the usual spacing",
        "fitted = 7: the high float (8) must be there, on its own pair of wires",
        "normally_closed = 8: names a contact that is not fitted (7)",
        "battery_dead 20000, battery_loaded 11000, battery_low 11900 mV: must rise in this order",
    ]


# Between two ---------------------------------------------------------------------------------------

AT_MOST, BELOW = "at most", "below"
PAIRS = [
    ("flood_min_off", AT_MOST, "lag_min_off", "the rest may only shrink as the water rises"),
    ("lag_min_off", AT_MOST, "min_off", "the rest may only shrink as the water rises"),
    ("flood_settle", AT_MOST, "mains_settle", "a flood may only shorten the settling"),
    ("start_spacing", AT_MOST, "generator_spacing", "a generator needs at least the usual spacing"),
    ("min_run", AT_MOST, "dry_run", "a dry run must not be cut short before it is told from a start"),
    ("debounce", BELOW, "sequence_time", "a float must have time to follow its neighbour"),
    ("start_proof", BELOW, "dry_run", "a start is proved before its load is judged"),
    ("dry_run", BELOW, "blind_run", "a blind run must be long enough to judge its load"),
    ("start_proof", BELOW, "exercise_run", "an exercise must outlast the start proof"),
    ("exercise_run", BELOW, "max_run", "an exercise is a short run"),
    ("flood_retry", AT_MOST, "retry", "a flood may only shorten the rest after a trip"),
    ("blind_run", AT_MOST, "max_run", "a run on no believed level is not a long run"),
    ("flood_min_off", BELOW, "flood_retry", "a retry keeps the rest"),
    ("start_proof", BELOW, "flood_min_off", "a failed start must end before the next"),
    ("remind_high", AT_MOST, "remind_other", "high water is never less urgent than the rest"),
]


def within(name, value):
    """Return the value of the range of `name` that lies nearest to `value`."""
    _name, _unit, least, most = s.TABLE[s.index(name)][:4]
    return min(most, max(least, value))


@pytest.mark.parametrize(("low", "rule", "high", "why"), PAIRS)
def test_m4_of_two_settings_the_one_keeps_to_its_side_of_the_other(low, rule, high, why):
    told = 0
    for ms in sorted({within(low, within(high, x)) for x in (0, 5000, 20_000, 600_000, 1 << 29)}):
        for a in {within(low, ms + step) for step in (-100, 0, 100)}:
            b = within(high, ms)
            refusal = f"{low} = {a}: must be {rule} {high} = {b}, because {why}"
            wrong = a > b or (rule == BELOW and a == b)
            assert refused(**{low: a, high: b}).count(refusal) == wrong
            told += wrong
    assert told, "the limit was reached"


def test_m4_there_is_no_rule_between_two_that_is_not_read_here():
    found = set()
    for low, high in permutations([row[0] for row in s.TABLE], 2):
        values = {low: s.TABLE[s.index(low)][3], high: s.TABLE[s.index(high)][2]}
        for text in refused(**values):
            if rule := re.match(r"(\w+) = \d+: must be (at most|below) (\w+) = \d+, because (.*)$", text):
                found.add(rule.groups())
    assert found == set(PAIRS)


# Motor currents ------------------------------------------------------------------------------------


def of_pump(k, sensing=2, **changes):
    """Return the refusals of MA with `changes` for pump `k`, the other pump's as in MA."""
    both = {f"{name}_{n}": value for n in (1, 2) for name, value in MA.items()}
    return refused(sensing=sensing, **{**both, **{f"{name}_{k}": value for name, value in changes.items()}})


@pytest.mark.parametrize("k", [1, 2])
@pytest.mark.parametrize("sensing", [0, 1, 2])
@pytest.mark.parametrize(("no_current", "underload"), [(500, 499), (500, 500), (500, 501), (4499, 4500), (4500, 4500)])
def test_m4_underload_lies_above_no_current_where_current_is_sensed(sensing, no_current, underload, k):
    said = of_pump(k, sensing, no_current=no_current, underload=underload)
    wrong = sensing == 2 and underload <= no_current
    assert said == [f"underload_{k} = {underload} mA: must be above no_current_{k} = {no_current} mA"] * wrong


@pytest.mark.parametrize("k", [1, 2])
@pytest.mark.parametrize("sensing", [0, 1, 2])
@pytest.mark.parametrize(("underload", "rated", "overload"), [
    *product((999, 1000, 1001), (1000,), (999, 1000, 1001, 2998, 2999, 3000, 3001)),
    (1001, 1000, 1000), (1000, 1001, 1000), (1001, 2000, 1000), (2000, 1500, 1800), (1200, 8000, 1000),
])  # fmt: skip
def test_m4_currents_rise_from_underload_over_rated_and_overload_to_the_locked_rotor(
        sensing, underload, rated, overload, k):  # fmt: skip
    right = underload < rated and rated <= overload and overload <= rated + rated + rated - 1
    refusal = (f"pump {k}: underload {underload}, rated {rated}, overload {overload}, "
               f"locked rotor {rated + rated + rated} mA: must rise in this order")  # fmt: skip
    said = of_pump(k, sensing, no_current=50, underload=underload, rated=rated, overload=overload)
    assert said == ([] if right or sensing != 2 else [refusal])


@pytest.mark.parametrize("k", [1, 2])
@pytest.mark.parametrize("sensing", [0, 1, 2])
@pytest.mark.parametrize("reach", [23_999, 24_000, 24_001])
def test_s7_a_locked_rotor_lies_within_the_sensor_s_range_or_the_set_is_refused(sensing, reach, k):
    refusal = (f"sensor_range_{k} = {reach} mA: three times rated_{k}, 24000 mA, must lie within it, or a locked rotor "
               "is not seen: fit a sensor that reaches so far")  # fmt: skip
    assert of_pump(k, sensing, sensor_range=reach) == ([refusal] if sensing == 2 and reach < 24_000 else [])


# Contacts ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("down_ms", [0, 16_000])
@pytest.mark.parametrize("transmitter", [0, 1])
@pytest.mark.parametrize("fitted", range(1, 16))
def test_m4_high_is_always_fitted_and_lead_and_a_way_to_stop_unless_a_transmitter_is(fitted, transmitter, down_ms):
    off, lead, _lag, high = (bool(fitted >> bit & 1) for bit in range(4))
    expected = []
    if not high:
        expected.append(f"fitted = {fitted}: the high float (8) must be there, on its own pair of wires")
    if not lead and not transmitter:
        expected.append(f"fitted = {fitted}: the lead float (2) must be there, or a transmitter")
    if not off and not down_ms and not transmitter:
        expected.append(f"fitted = {fitted} with pump_down_lead = 0: fit the off float (1) or give a pump-down time")
    changes = {"fitted": fitted, "normally_closed": 0, "transmitter": transmitter, "pump_down_lead": down_ms}
    assert refused(**changes, sensing=s.SENSE_CURRENT) == expected
    for sensing in (s.SENSE_NOTHING, s.SENSE_FEEDBACK):
        if not off and not transmitter:
            said = refused(**changes, sensing=sensing)
            assert said[:-1] == [line for line in expected if "pump_down" not in line]
            assert said[-1].startswith(f"fitted = {fitted} with sensing = {sensing}: without the off float (1)")
        else:
            assert refused(**changes, sensing=sensing) == expected


@pytest.mark.parametrize("fitted", [8, 10, 11, 13, 14, 15])
def test_m4_only_a_contact_that_is_fitted_can_be_normally_closed(fitted):
    known = {bit for bit in (1, 2, 4, 8) if fitted & bit}
    for closed in range(16):
        named = {bit for bit in (1, 2, 4, 8) if closed & bit}
        refusal = f"normally_closed = {closed}: names a contact that is not fitted ({fitted})"
        assert refused(fitted=fitted, normally_closed=closed, transmitter=1) == ([] if named <= known else [refusal])


@pytest.mark.parametrize("transmitter", [0, 1])
@pytest.mark.parametrize(("off", "lead", "lag", "span"), [
    *product((0, 150), (169, 170, 171), (188, 189, 190, 191, 192), (1000,)),
    *product((460,), (480,), (499, 500, 501), (500, 501)),
    (0, 20, 40, 500), (0, 19, 40, 500), (0, 20, 39, 500), (200, 150, 400, 500), (100, 300, 250, 500),
    (100, 9000, 9100, 10_000), (9000, 20, 9100, 10_000),
])  # fmt: skip
def test_m4_transmitter_levels_rise_by_20_mm_and_lie_within_the_span(transmitter, off, lead, lag, span):
    right = lead - off >= 20 and lag - lead >= 20 and span - lag > 0
    refusal = (f"level_off {off}, level_lead {lead}, level_lag {lag} mm: must rise by 20 mm or more "
               f"and lie within level_span = {span} mm")  # fmt: skip
    said = refused(transmitter=transmitter, level_off=off, level_lead=lead, level_lag=lag, level_span=span)
    assert said == ([] if right or not transmitter else [refusal])


# Times ---------------------------------------------------------------------------------------------

DOWN_MS = (0, 19_900, 20_000, 20_100)


@pytest.mark.parametrize("blind_ms", [19_900, 20_000, 20_100])
def test_m4_pump_down_times_that_are_known_rise_with_their_contacts_and_a_blind_run_covers_them(blind_ms):
    for lead, lag, high in product(DOWN_MS, repeat=3):
        expected = []
        if 0 < lag < lead:
            expected.append(f"pump_down_lead = {lead}: must be at most pump_down_lag = {lag}, which starts higher")
        if 0 < high < lag:
            expected.append(f"pump_down_lag = {lag}: must be at most pump_down_high = {high}, which starts higher")
        if any(down > blind_ms for down in (lead, lag, high)):
            longest = sorted((lead, lag, high))[-1]
            expected.append(f"blind_run = {blind_ms}: must be at least the longest pump-down time, {longest}")
        said = refused(pump_down_lead=lead, pump_down_lag=lag, pump_down_high=high, blind_run=blind_ms)
        assert said == expected


@pytest.mark.parametrize("sensing", [0, 1, 2])
@pytest.mark.parametrize("blind_ms", [119_900, 120_000, 120_100, 600_000])
def test_l6_a_blind_run_is_two_minutes_at_the_most_where_no_current_is_sensed(sensing, blind_ms):
    refusal = (f"blind_run = {blind_ms}: at most 120000 ms without current sensing, "
               "because nothing else ends a dry run")  # fmt: skip
    said = refused(sensing=sensing, blind_run=blind_ms)
    assert said == ([refusal] if sensing != 2 and blind_ms > 2 * 60 * 1000 else [])


def test_a4_battery_limits_rise_from_dead_over_loaded_to_low():
    for dead, loaded, low in product((10_999, 11_000, 11_001), repeat=3):
        refusal = f"battery_dead {dead}, battery_loaded {loaded}, battery_low {low} mV: must rise in this order"
        right = dead < loaded and loaded <= low
        assert refused(battery_dead=dead, battery_loaded=loaded, battery_low=low) == ([] if right else [refusal])


@pytest.mark.parametrize("mains_fitted", [0, 1])
def test_a4_a_pump_on_either_supply_needs_the_mains_present_input_and_no_other_does(mains_fitted):
    for one, two, at_once in product((s.MAINS, s.BATTERY, s.EITHER), (s.MAINS, s.BATTERY, s.EITHER), (1, 2)):
        said = refused(supply_1=one, supply_2=two, battery_pumps=at_once, mains_fitted=mains_fitted)
        told = [k for k, kind in ((1, one), (2, two)) if kind == s.EITHER and not mains_fitted]
        assert said == [
            f"supply_{k} = 2 (either) with mains_fitted = 0: wire the mains-present input, because "
            "nothing else tells when the pump is on the battery" for k in told
        ]  # fmt: skip


# In words ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("changes", "words"), [
    ({"sensing": 2, "underload_1": 400}, "underload_1 = 400 mA: must be above no_current_1 = 500 mA"),
    ({"sensing": 2, "rated_2": 4500}, "must rise in this order"),
    ({"fitted": 7}, "the high float (8) must be there"),
    ({"fitted": 13, "normally_closed": 10}, "names a contact that is not fitted"),
    ({"fitted": 13}, "the lead float (2) must be there, or a transmitter"),
    ({"fitted": 14, "pump_down_lead": 0, "sensing": 2}, "fit the off float (1) or give a pump-down time"),
    ({"fitted": 14}, "fitted = 14 with sensing = 0: without the off float (1) and without motor current nothing tells"),
    ({"fitted": 10, "sensing": 1}, "fitted = 10 with sensing = 1: without the off float (1)"),
    ({"fitted": 14, "sensing": 0}, "fit the off float, or current sensors (sensing = 2)"),
    ({"transmitter": 1, "level_lead": 160}, "must rise by 20 mm or more"),
    ({"transmitter": 1, "level_span": 500, "level_lag": 500}, "lie within level_span = 500 mm"),
    ({"pump_down_lead": 21_000}, "pump_down_lead = 21000: must be at most pump_down_lag"),
    ({"pump_down_lag": 24_000}, "pump_down_lag = 24000: must be at most pump_down_high"),
    ({"pump_down_high": 36_000}, "must be at least the longest pump-down time, 36000"),
    ({"blind_run": 120_100}, "because nothing else ends a dry run"),
    ({"battery_low": 10_900}, "battery_dead 10500, battery_loaded 11000, battery_low 10900 mV"),
    ({"battery_dead": 11_000}, "must rise in this order"),
    ({"supply_1": 2, "mains_fitted": 0}, "supply_1 = 2 (either) with mains_fitted = 0: wire the mains-present input"),
    ({"supply_2": 2, "mains_fitted": 0}, "supply_2 = 2 (either) with mains_fitted = 0: wire the mains-present input"),
    ({"min_off": 60_050}, "a whole number of 100 ms steps"),
    ({"start_proof": 8000}, "start_proof = 8000: must be below dry_run = 8000, because a start is proved"),
])  # fmt: skip
def test_m4_a_refusal_names_the_setting_its_value_and_the_reason(changes, words):
    values = s.defaults()
    for name, value in changes.items():
        values[s.index(name)] = value
    said = "; ".join(s.check(values))
    assert words in said


def test_m4_a_record_of_another_length_and_an_unknown_name_are_refused():
    assert s.check([1, 2]) == [f"settings record of 2 values: must hold {s.N_SETTINGS}"]
    with pytest.raises(ValueError, match="unknown setting 'min-off'"):
        s.index("min-off")
    assert s.check(s.defaults()) == []


@pytest.mark.parametrize(("changes", "good"), [
    ({"fitted": 15, "sensing": 0}, True), ({"fitted": 11, "sensing": 0}, True), ({"fitted": 14, "sensing": 2}, True),
    ({"fitted": 10, "sensing": 2}, True), ({"fitted": 8, "transmitter": 1, "sensing": 0}, True),
    ({"fitted": 14, "transmitter": 1, "sensing": 0}, True), ({"fitted": 14, "sensing": 0}, False),
    ({"fitted": 14, "sensing": 1}, False), ({"fitted": 10, "sensing": 0}, False),
])  # fmt: skip
def test_m4_off_may_be_left_out_only_where_a_current_or_a_transmitter_tells_an_empty_pit(changes, good):
    values = s.defaults()
    for name, value in changes.items():
        values[s.index(name)] = value
    assert (s.check(values) == []) is good
