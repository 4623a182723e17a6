"""A controller's beginning, its snapshot and what it retains (J2, J4, S4, M4): whole records in, whole records out."""

import pytest
from duplexsump.control import alarms
from duplexsump.control import controller as controller_module
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control.alarm_table import TABLE
from duplexsump.control.controller import FIELDS, RETAINED, Controller
from duplexsump.control.ticks import NEVER

from tests.rig import ALARM_PLACE, WITH_CURRENT, ready

NOW = 5_000_000
NAMES = [field[0] for field in FIELDS]
PLACE = {name: place for place, name in enumerate(NAMES)}
PARTS = ("", "timers", "chatter", "contacts", "transmitter", "belief", "supply", "selectors", "demand", "blind",
         "pump_1", "pump_2", "flood", "pair", "gate", "exercise", "forces", "buttons", "alarms", "history")  # fmt: skip
# What is not 0 (a deadline: not armed) in a controller that has not yet been powered up.
AS_BUILT = {"belief.rising": 3, "pair.lead": -1, "pair.led": -1, "exercise.who": -1, "forces.lapsed": 1,
            "alarms.nothing": 1, "due": 0}  # fmt: skip
# Attributes that are worked out in each step before they are read; as built they must say "nothing".
SILENT = {
    "gate": ("barred", "on_battery", "first", "contacts", "generator"), "blind": ("loaded", "dry", "moved"),
    "contacts": ("rose", "fell"), "supply": ("went", "came", "loaded", "lag"), "selectors": ("returned",),
    "exercise": ("calm", "drawing", "battery", "unfed"),
    "buttons": ("silence", "reset", "inspected", "replaced", "shelve"), "alarms": ("loud", "left", "waiting", "fresh"),
    "flood": ("barred",),
}  # fmt: skip
RETAINED_BY_J4 = {
    "": {"dark", "inspection_min", "battery_min"}, "supply": {"gone", "flat"}, "blind": {"rung", "turn"},
    "pair": {"turn", "lag_leads", "suspects", "cycles"},
    "pump_1": {"state", "cause", "failures", "out", "starts", "trips"},
    "pump_2": {"state", "cause", "failures", "out", "starts", "trips"},
    "exercise": {"failed", "flat", "passed", "tried", "verdicts", "idle_min", "off_dry_min"},
    "alarms": {"state", "detail", "raised"},
    "history": {"inflow_ml_min", "rate_ml_min", "first_rate_ml_min", "measured", "quick_refills", "run_ms", "run_s",
                "lag_reached", "long_runs", "hand_overruns", "worn", "first_share", "shares", "leaks", "peak_ml_min",
                "peak_min"},
}  # fmt: skip


def part(c, prefix):
    """Return a part of a controller by the name that its fields are told under."""
    if prefix.startswith("pump_"):
        return c.pumps[int(prefix[-1]) - 1]
    return getattr(c, prefix) if prefix else c


def split(name):
    """Return (prefix, field, place in the list or None) of a name of FIELDS."""
    prefix, _dot, field = name.rpartition(".")
    field, _bracket, place = field.partition("[")
    return prefix, field, int(place[:-1]) if place else None


def read(c, name):
    """Return the value that a controller's part holds under a name of FIELDS."""
    prefix, field, place = split(name)
    value = getattr(part(c, prefix), field)
    return value if place is None else value[place]


def kept(name):
    """Tell whether J4 has a place survive a reset."""
    prefix, field, _place = split(name)
    return field in RETAINED_BY_J4.get(prefix, ())


def restored(record, **overrides):
    """Return a new controller that has taken over a snapshot."""
    values = s.defaults()
    for name, value in overrides.items():
        values[s.index(name)] = value
    c = Controller(values)
    c.restore(record)
    return c


DISTINCT = [10 + 3 * place for place in range(len(FIELDS))]  # a value of its own in every place


# A beginning ---------------------------------------------------------------------------------------


def test_a_new_controller_is_at_rest_in_every_place_and_made_of_parts_of_its_own():
    c = Controller(s.defaults())
    for field, value in zip(FIELDS, c.snapshot(), strict=True):
        assert value == AS_BUILT.get(field[0], NEVER if field[1] == r.DEADLINE else 0), field[0]
    assert [prefix for prefix, _part in c.parts] == list(PARTS)
    for prefix, each in c.parts:
        assert each is part(c, prefix)
    assert len({id(each) for _prefix, each in c.parts}) == len(PARTS)
    assert [each.n for each in c.pumps] == [0, 1]
    assert c.out == [0] * r.N_OUTPUTS
    assert (c.powered, c.first, c.always) == (False, True, False)
    for name, silent in SILENT.items():
        assert not any(getattr(part(c, name), field) for field in silent), name
    assert c.exercise.level_fell
    assert (c.timers.any, c.timers.now, set(c.timers.rang)) == (False, 0, {False})


def test_m4_refused_settings_make_no_controller_and_every_refusal_is_told():
    values = s.defaults()
    values[s.RETRIES], values[s.PRIMARY] = 0, 3
    with pytest.raises(ValueError, match=r"^retries = 0: a whole number from 1 to 10.*; primary = 3: .*$"):
        Controller(values)


def test_s4_a_controller_is_powered_up_once_and_a_retained_record_of_another_length_is_refused():
    c = Controller(s.defaults())
    c.power_up(NOW)
    with pytest.raises(ValueError, match=r"^powered up twice: make a new Controller and give it the retained record$"):
        c.power_up(NOW)
    for count in (0, len(RETAINED) - 1, len(RETAINED) + 1):
        with pytest.raises(ValueError, match=f"^retained record of {count} values: must hold {len(RETAINED)}$"):
            Controller(s.defaults()).power_up(NOW, [0] * count)


def test_s4_time_counts_from_the_power_up_and_the_outputs_are_held():
    c = Controller(s.defaults())
    c.power_up(NOW)
    assert (c.now, c.mark, c.next_due(NOW - 5000), c.timers.now) == (NOW, NOW, NOW, NOW)
    out = c.step(NOW, [0] * r.N_INPUTS)
    assert (c.uptime_min, c.inspection_min, out[r.OUT_CLOCK], out[r.OUT_LATE]) == (0, 0, 0, 0)
    assert NOW < c.next_due(NOW) <= NOW + 10_000, "no later than boot_hold"


@pytest.mark.parametrize("wet", [r.OFF, r.OFF | r.LEAD, r.OFF | r.LEAD | r.LAG | r.HIGH])
@pytest.mark.parametrize("before", ["new", "has held a snapshot"])
def test_s4_the_first_readings_are_taken_as_they_are(wet, before):
    c = Controller(s.defaults())
    if before != "new":
        record = c.snapshot()
        record[PLACE["belief.evidence"]] = r.LEAD | r.LAG
        c.restore(record)
    c.power_up(NOW)
    inputs = [0] * r.N_INPUTS
    inputs[r.IN_CONTACTS], inputs[r.IN_MAINS], inputs[r.IN_CHARGER] = wet, 1, 1
    inputs[r.IN_SELECTOR_1] = r.SELECT_HAND
    inputs[r.IN_SILENCE] = inputs[r.IN_RESET] = 1
    c.step(NOW, inputs)
    assert (c.contacts.wet, c.belief.wet) == (wet, wet), "without a debounce"
    assert c.selectors.auto(0), "HAND counts as AUTO until it is moved"
    assert (c.buttons.silence, c.buttons.reset) == (0, 0), "a button held at power-up is no press"
    assert c.supply.fed == 3, "nor is the mains waited for"


# What is retained ----------------------------------------------------------------------------------


def test_j4_lockouts_failures_turns_latched_alarms_counters_and_long_times_are_kept_and_nothing_else():
    assert [field[0] for field in RETAINED] == [name for name in NAMES if kept(name)]
    assert {split(field[0])[:2] for field in RETAINED} == {
        (prefix, field) for prefix, fields in RETAINED_BY_J4.items() for field in fields
    }


def test_j4_what_is_kept_is_told_in_the_order_of_the_snapshot_as_whole_numbers():
    c = restored(DISTINCT)
    expected = [place for place, name in enumerate(NAMES) if kept(name)]
    assert c.retained_places() == expected
    assert c.retain() == [DISTINCT[place] for place in expected]
    c.restore([False] * len(FIELDS))
    assert [type(value) for value in c.retain()] == [int] * len(expected)


def test_j4_what_was_kept_is_there_after_the_next_power_up_and_nothing_else_is():
    retained = [0 if field[0].startswith("alarms.state") or field[0].endswith((".state", ".cause")) else 1000 + k
                for k, field in enumerate(RETAINED)]  # fmt: skip
    c, fresh = Controller(s.defaults()), Controller(s.defaults())
    c.power_up(NOW, retained)
    fresh.power_up(NOW)
    for name, value in zip([field[0] for field in RETAINED], retained, strict=True):
        assert read(c, name) == value, name
    others = [name for name in NAMES if not kept(name) and not name.startswith("timers.at")]
    assert [read(c, name) for name in others] == [read(fresh, name) for name in others]


def test_s4_a_pump_kept_as_locked_out_has_its_one_try_and_its_alarm_stands():
    rig = ready(sensing=WITH_CURRENT, retries=1)
    rig.load[:] = ["none", "normal"]
    rig.fill("off", "lead").run(10.0)
    assert rig.pump_state(1) == "locked"
    rig.power_cut()
    assert rig.pump_state(1) == "locked"
    assert rig.alarm("pump_1_unavailable") == "unacknowledged"
    rig.run(90.0)
    assert len(rig.starts(1, since=rig.boot_ms / 1000)) == 1


@pytest.mark.parametrize("acknowledged", [False, True])
def test_j4_a_power_up_clears_what_is_not_latched_and_keeps_what_is(acknowledged):
    c = Controller(s.defaults())
    for place in (ALARM_PLACE["inspection_due"], ALARM_PLACE["pump_1_moisture"]):
        c.alarms.tell(place, 1)
    if acknowledged:
        c.alarms.silence()
    after = Controller(s.defaults())
    after.power_up(0, c.retain())
    latched = alarms.LATCHED_ACKNOWLEDGED if acknowledged else alarms.LATCHED
    if not acknowledged:
        assert after.alarms.state[ALARM_PLACE["inspection_due"]] == alarms.UNACKNOWLEDGED, "until it is over"
        assert after.alarms.raised == c.alarms.raised
    after.step(0, [0] * r.N_INPUTS)
    assert after.alarms.state[ALARM_PLACE["inspection_due"]] == (alarms.NORMAL if acknowledged else alarms.RETURNED)
    assert after.alarms.state[ALARM_PLACE["pump_1_moisture"]] == latched
    assert TABLE[ALARM_PLACE["pump_1_moisture"]][2] == 1
    assert after.alarms.any()
    assert not Controller(s.defaults()).alarms.any()


# Snapshots -----------------------------------------------------------------------------------------


def test_j2_a_snapshot_is_every_field_of_every_part_in_order_as_whole_numbers():
    c = restored(DISTINCT)
    assert c.snapshot() == DISTINCT
    assert [read(c, name) for name in NAMES] == DISTINCT
    c.restore([True] * len(FIELDS))
    assert c.snapshot() == [1] * len(FIELDS)
    assert all(type(value) is int for value in c.snapshot())


@pytest.mark.parametrize("out", range(4))
def test_j2_a_snapshot_shows_in_the_outputs_before_any_step(out):
    record = list(DISTINCT)
    record[PLACE["gate.out"]] = out
    c = restored(record)
    assert (c.out[r.OUT_PUMP_1], c.out[r.OUT_PUMP_2]) == (out & 1, out >> 1)
    names = ("alarms.horn", "alarms.beacon", "alarms.relay", "alarms.service", "light")
    places = (r.OUT_HORN, r.OUT_BEACON, r.OUT_RELAY, r.OUT_SERVICE, r.OUT_LIGHT)
    assert [c.out[place] for place in places] == [record[PLACE[name]] for name in names]
    assert c.out[r.OUT_CLOCK] == record[PLACE["clock_fault"]]
    assert c.timers.now == c.now == record[PLACE["now"]]


@pytest.mark.parametrize("count", [0, len(FIELDS) - 1, len(FIELDS) + 1])
def test_j2_a_snapshot_of_another_length_is_refused_and_nothing_is_taken_over(count):
    c = restored(DISTINCT)
    with pytest.raises(ValueError, match=f"^snapshot of {count} values: must hold {len(FIELDS)}$"):
        c.restore([0] * count)
    assert c.snapshot() == DISTINCT


def test_j2_a_snapshot_taken_over_goes_on_as_if_nothing_had_been():
    rig = ready(sensing=WITH_CURRENT)
    rig.fill("off", "lead", "lag").run(3.0)
    other = restored(rig.c.snapshot(), sensing=WITH_CURRENT)
    assert list(other.out[:6]) == list(rig.outputs[:6])

    def beside(rig):
        other.step(rig.now_ms, list(rig.held))
        assert other.snapshot() == rig.c.snapshot()

    rig.watchers.append(beside)
    rig.ticking = True
    rig.run(20.0).drain("lag", "lead", "off").run(10.0)


def test_j2_a_snapshot_taken_over_in_a_quiet_hour_gives_nothing_to_look_at_again():
    rig = ready(settle_s=600.0)
    other = restored(rig.c.snapshot())
    assert other.pending == 0
    other.always = True
    other.step(rig.now_ms + 100, list(rig.held))
    assert (other.pending, rig.c.pending) == (0, 0)


# Names for readers ---------------------------------------------------------------------------------


def test_every_place_has_a_name_its_kind_and_whether_it_is_kept():
    c = Controller(s.defaults())
    expected = []
    for prefix in PARTS:
        for field in part(c, prefix).FIELDS:
            full = prefix + "." + field[0] if prefix else field[0]
            names = [f"{full}[{k}]" for k in range(field[2])] if field[2] else [full]
            expected += [(name, field[1], kept(name)) for name in names]
    assert [(field[0], field[1], bool(field[2])) for field in FIELDS] == expected
    assert list(RETAINED) == [field for field in FIELDS if field[2]]


def made_anew():
    """Return FIELDS and RETAINED after whatever keeps them has been emptied."""
    for kept_in in [value for value in vars(controller_module).values() if isinstance(value, dict)]:
        if any(value is controller_module.FIELDS for value in kept_in.values()):
            kept_in.clear()
    return controller_module.FIELDS, controller_module.RETAINED


def test_names_are_made_when_somebody_asks_and_once():
    fields, retained = made_anew()
    assert fields is not FIELDS
    assert (fields, retained) == (FIELDS, RETAINED)
    assert fields is controller_module.FIELDS
    assert retained is controller_module.RETAINED


@pytest.mark.parametrize("name", ["PLACES", "fields"])
def test_any_other_name_is_unknown(name):
    with pytest.raises(AttributeError, match=f"^{name}$"):
        getattr(controller_module, name)
