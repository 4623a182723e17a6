"""A controller's beginning, its snapshot, what it retains, and what makes it look again."""

from itertools import product

import pytest
from duplexsump.control import blind
from duplexsump.control import controller as controller_module
from duplexsump.control import pump as pm
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control.controller import FIELDS, RETAINED, Controller

from tests.controller_bench import NOW, Asked, made, record, stand_in

OWN = {
    "now": 0, "due": 0, "mark": 0, "uptime_min": 0, "inspection_min": 0, "light": 0, "clock_fault": 0, "pending": 0,
    "last": [0] * 24, "raw_word": 0, "out": [0] * 8, "powered": False, "first": True,
    "always": False,
}  # fmt: skip
PARTS = ("", "timers", "chatter", "contacts", "transmitter", "belief", "supply", "selectors", "demand", "blind",
         "pump_1", "pump_2", "flood", "pair", "gate", "exercise", "forces", "buttons", "alarms", "history")  # fmt: skip


def part(c, prefix):
    """Return a part of a controller by the name that its fields are told under."""
    if prefix.startswith("pump_"):
        return c.pumps[int(prefix[-1]) - 1]
    return getattr(c, prefix) if prefix else c


def places():
    """Return (prefix, name, place in the list or None, retained) of each value of a snapshot, in order."""
    c, found = Controller(s.defaults()), []
    for prefix in PARTS:
        for name, _kind, count, marks in part(c, prefix).FIELDS:
            found += [(prefix, name, k, bool(marks & r.RETAIN)) for k in (range(count) if count else (None,))]
    return found


def read(c, place):
    prefix, name, k, _retained = place
    value = getattr(part(c, prefix), name)
    return value if k is None else value[k]


def write(c, place, value):
    prefix, name, k, _retained = place
    if k is None:
        setattr(part(c, prefix), name, value)
    else:
        getattr(part(c, prefix), name)[k] = value


PLACES = places()


# A beginning ---------------------------------------------------------------------------------------


def test_a_new_controller_is_at_rest_and_made_of_parts_of_its_own():
    c = Controller(s.defaults())
    assert {name: getattr(c, name) for name in OWN} == OWN
    assert [type(getattr(c, name)) for name in ("powered", "first", "always")] == [bool] * 3
    assert [prefix for prefix, _part in c.parts] == list(PARTS)
    for prefix, each in c.parts:
        assert each is part(c, prefix)
    assert len({id(each) for _prefix, each in c.parts}) == len(PARTS)
    assert [each.n for each in c.pumps] == [0, 1]


def test_m4_refused_settings_make_no_controller_and_every_refusal_is_told():
    values = s.defaults()
    values[s.RETRIES], values[s.PRIMARY] = 0, 3
    with pytest.raises(ValueError, match="^" + "; ".join(s.check(values)) + "$"):
        Controller(values)


def begun(retained=None, **changes):
    """Power a controller up whose pumps, gate and alarms are stand-ins; returns it and the notes."""
    c = Controller(s.defaults())
    notes = stand_in(c, gate={}, alarms={})
    c.pumps = [Asked("pump_1", notes), Asked("pump_2", notes)]
    for name, value in changes.items():
        setattr(c, name, value)
    c.power_up(NOW, retained)
    return c, notes


def test_s4_a_life_begins_with_its_pumps_its_gate_and_its_alarms_and_counts_from_now():
    c, notes = begun(first=False)
    assert notes == [("pump_1", "begin"), ("pump_2", "begin"), ("gate", "begin"), ("alarms", "begin")]
    assert c.now == c.mark == c.due == c.timers.now == NOW
    assert c.powered is True
    assert c.first is True, "the next step takes the readings as they are"


def test_j4_what_was_kept_is_there_when_the_pumps_begin_and_nothing_else_is():
    retained = [1000 + k for k in range(len(RETAINED))]
    c = Controller(s.defaults())
    stand_in(c, timers={"now": 0})
    for each in [*c.pumps, c.gate, c.alarms]:
        each.begin = lambda: None
    fresh = Controller(s.defaults())
    c.power_up(NOW, retained)
    told = [read(c, place) for place in PLACES if place[3]]
    assert told == retained
    others = [place for place in PLACES if not place[3] and place[1] not in ("now", "mark", "due") and place[2] is None]
    assert len(others) > 60
    for place in others:
        assert read(c, place) == read(fresh, place), place


def test_s4_a_life_begins_once_and_a_kept_record_of_another_length_is_refused():
    c = made()
    with pytest.raises(ValueError, match=r"^powered up twice: make a new Controller and give it the retained record$"):
        c.power_up(NOW)
    for count in (0, len(RETAINED) - 1, len(RETAINED) + 1):
        with pytest.raises(ValueError, match=f"^retained record of {count} values: must hold {len(RETAINED)}$"):
            Controller(s.defaults()).power_up(NOW, [0] * count)


def test_s4_the_first_readings_are_taken_as_they_are():
    c = made()
    notes = stand_in(
        c, chatter={}, contacts={"wet": 12}, transmitter={"answers": {"contacts": 3}}, belief={}, supply={},
        selectors={}, forces={}, buttons={},
    )  # fmt: skip
    inputs = record(contacts=9)
    c._begin(inputs)
    assert notes == [
        ("chatter", "begin", 9), ("transmitter", "contacts", inputs), ("contacts", "begin", 11),
        ("belief", "begin", 12), ("supply", "begin", inputs), ("selectors", "begin", inputs),
        ("forces", "begin", inputs), ("buttons", "begin", inputs),
    ]  # fmt: skip
    assert c.first is False


# Snapshots -----------------------------------------------------------------------------------------


def filled():
    """A controller whose every place holds a value of its own."""
    c = Controller(s.defaults())
    for k, place in enumerate(PLACES):
        write(c, place, 10 + 3 * k)
    return c


def test_j2_a_snapshot_is_every_field_of_every_part_in_order_as_whole_numbers():
    c = filled()
    assert c.snapshot() == [10 + 3 * k for k in range(len(PLACES))]
    for place in PLACES:
        write(c, place, True)
    assert c.snapshot() == [1] * len(PLACES)
    assert all(type(value) is int for value in c.snapshot())


def test_j2_a_snapshot_is_taken_over_place_by_place_and_shows_in_the_outputs():
    c = Controller(s.defaults())
    snapshot = filled().snapshot()
    by_name = dict(zip([name for name, _kind, _retained in FIELDS], range(len(FIELDS)), strict=True))
    for out in range(4):
        snapshot[by_name["gate.out"]] = out
        c.first = True
        c.restore(snapshot)
        assert c.snapshot() == snapshot
        assert (c.out[r.OUT_PUMP_1], c.out[r.OUT_PUMP_2]) == (out & 1, out >> 1)
    shown = ("alarms.horn", "alarms.beacon", "alarms.relay", "light")
    assert c.out[r.OUT_HORN : r.OUT_LIGHT + 1] == [snapshot[by_name[name]] for name in shown]
    assert c.out[r.OUT_CLOCK] == snapshot[by_name["clock_fault"]]
    assert c.timers.now == c.now == snapshot[0]
    assert c.first is False, "the readings have been taken"


@pytest.mark.parametrize("count", [0, len(FIELDS) - 1, len(FIELDS) + 1])
def test_j2_a_snapshot_of_another_length_is_refused_and_nothing_is_taken_over(count):
    c = filled()
    with pytest.raises(ValueError, match=f"^snapshot of {count} values: must hold {len(FIELDS)}$"):
        c.restore([0] * count)
    assert c.snapshot() == filled().snapshot()


# What is retained --------------------------------------------------------------------------------------

RETAINED_BY_J4 = {
    "": {"inspection_min"}, "blind": {"rung", "turn"}, "pair": {"turn", "lag_leads", "suspects", "cycles"},
    "pump_1": {"state", "cause", "failures", "starts", "trips"}, "gate": {"boots"},
    "pump_2": {"state", "cause", "failures", "starts", "trips"},
    "exercise": {"failed", "passed", "tried", "idle_min", "off_dry_min"}, "alarms": {"state", "detail", "raised"},
    "history": {"inflow_ml_min", "rate_ml_min", "first_rate_ml_min", "measured", "quick_refills", "run_ms", "run_s"},
}  # fmt: skip


def test_j4_lockouts_failures_turns_latched_alarms_counters_and_long_times_are_kept_and_nothing_else():
    retained = {}
    for prefix, name, _k, yes in PLACES:
        if yes:
            retained.setdefault(prefix, set()).add(name)
    assert retained == RETAINED_BY_J4


def test_j4_what_is_kept_is_told_in_the_order_of_the_snapshot_as_whole_numbers():
    c = filled()
    expected = [10 + 3 * k for k, place in enumerate(PLACES) if place[3]]
    assert c.retain() == expected
    assert [c.snapshot()[k] for k in c.retained_places()] == expected
    assert c.retained_places() == [k for k, place in enumerate(PLACES) if place[3]]
    for place in PLACES:
        write(c, place, False)
    assert [type(value) for value in c.retain()] == [int] * len(expected)


# Names for readers ---------------------------------------------------------------------------------


def named(place):
    prefix, name, k, _retained = place
    return (prefix + "." if prefix else "") + name + ("" if k is None else f"[{k}]")


def test_every_place_has_a_name_its_kind_and_whether_it_is_kept():
    fields = {prefix: {field[0]: field for field in part(Controller(s.defaults()), prefix).FIELDS} for prefix in PARTS}
    expected = tuple((named(place), fields[place[0]][place[1]][1], place[3]) for place in PLACES)
    retained = tuple(field for field in expected if field[2])
    made = controller_module._places(False), controller_module._places(True)
    for fields, retained_fields in ((FIELDS, RETAINED), made):
        assert fields == expected
        assert retained_fields == retained


@pytest.mark.parametrize("name", ["FIELDS", "RETAINED"])
def test_names_are_made_once_when_somebody_asks(monkeypatch, name):
    made_for = []
    monkeypatch.setattr(controller_module, "_readers", {})
    monkeypatch.setattr(controller_module, "_places", lambda retained_only: made_for.append(retained_only) or ("made",))
    assert getattr(controller_module, name) == ("made",)
    assert getattr(controller_module, name) == ("made",)
    assert made_for == [name == "RETAINED"]


def test_any_other_name_is_unknown():
    with pytest.raises(AttributeError, match=r"^PLACES$"):
        controller_module.__getattr__("PLACES")


# What makes the next tick look again ---------------------------------------------------------------

MASK2, MASK4 = range(4), range(16)
PUMP = {
    "state": range(5), "held": (0, pm.RETRY, pm.LOCKED), "trial": (0, pm.BOOT_TRIAL, pm.FLOOD_TRIAL),
    "failures": range(11), "cause": range(len(pm.CAUSES)), "loaded": (0, 1), "open": (0, 1), "steady": (False, True),
    "welded": (False, True), "dry": (False, True),
}  # fmt: skip
# Whatever a later part of a step changes and an earlier one reads, and the values that it takes.
LOOKED_AT = {
    "gate.out": MASK2, "demand.demand": range(3), "pair.lead": range(-1, 2), "blind.state": range(len(blind.STATES)),
    "exercise.who": range(-1, 2), "pair.available": MASK2, "pair.ready": MASK2, "flood.mode": (0, r.LAG, r.HIGH),
    "flood.rung": range(4), "demand.stopped": (0, 1), "belief.suspect": MASK4, "belief.wet": MASK4,
    "belief.dry": MASK4, "belief.order": MASK4, "belief.evidence": MASK4, "belief.wiring": MASK4,
    "supply.fed": MASK2, "supply.on_battery": MASK2, "supply.mains": (0, 1), "supply.spent": (0, 1),
    "supply.exhaust": (0, 1), "pair.take_back": (0, 1), "pair.not_pumping": MASK2, "selectors.spent": MASK2,
    "alarms.nothing": (0, 1), "demand.boost": (0, 1), "forces.active": range(r.FORCE_ALL + 1),
    "pair.led": range(-1, 2), "transmitter.bad": (False, True), "transmitter.frozen": (False, True),
    **{f"pump_{n}.{name}": values for n in (1, 2) for name, values in PUMP.items()},
}  # fmt: skip


def still():
    """A controller of which nothing has changed since it last looked; nobody leads, and no pump is exercised."""
    c = made()
    for name, values in LOOKED_AT.items():
        give(c, name, values[0])
    assert changed(c), "it has changed since the power-up"
    return c


def changed(c):
    """Let a controller compare; tell whether the next tick must look again."""
    c._compare()
    return c.pending


def give(c, name, value):
    prefix, field = name.split(".")
    setattr(part(c, prefix), field, value)


def test_i10_these_fields_and_no_other_are_marked_and_each_holds_a_single_value():
    rows = [(prefix, row) for prefix in PARTS for row in part(made(), prefix).FIELDS]
    assert {row[3] for _prefix, row in rows} == {0, r.RETAIN, r.AGAIN, r.RETAIN | r.AGAIN}
    marked = [(f"{prefix}.{row[0]}", row[2]) for prefix, row in rows if row[3] & r.AGAIN]
    assert sorted(marked) == sorted((name, 0) for name in LOOKED_AT), "a list would be compared with itself"


@pytest.mark.parametrize(("name", "values"), LOOKED_AT.items(), ids=list(LOOKED_AT))
def test_i10_a_change_of_any_of_them_alone_and_to_any_value_makes_the_next_tick_look_again(name, values):
    c = still()
    assert changed(c) == 0, "nothing has changed"
    for before, after in product(values, values) if len(values) < 17 else zip(values, values[1:], strict=False):
        give(c, name, before)
        changed(c)
        give(c, name, after)
        assert changed(c) == (before != after)
        assert changed(c) == 0, "it looks again once"


def test_i10_changes_in_several_parts_are_noted_at_once():
    c = still()
    c.gate.out, c.pumps[1].state, c.belief.wet = 2, 1, 3
    assert changed(c) == 1
    assert changed(c) == 0


def test_i10_a_restored_state_is_no_change():
    c, other = still(), Controller(s.defaults())
    c.gate.out, c.pending = 2, 1
    other.restore(c.snapshot())
    assert other.pending == 1, "as it was recorded"
    assert changed(other) == 0
