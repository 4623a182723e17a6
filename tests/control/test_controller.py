"""What the controller asks of its parts, in which order and with what: each part is a stand-in that takes it down."""

from itertools import product
from types import SimpleNamespace as Has

import pytest
from duplexsump.control import controller as controller_module
from duplexsump.control import pump as pm
from duplexsump.control import records as r
from duplexsump.control import timers as tm

from tests.control.controller_bench import Asked, follow, made, pump, record, stand_in

MASKS = range(4)
PUMP = [0, 1]


# A step --------------------------------------------------------------------------------------------


def whole(c, **buttons):
    """Exchange every part that a step asks, and what the controller does itself; returns the notes."""
    pressed = {"reset": 0, "inspected": 0, **buttons}
    notes = stand_in(
        c, contacts={"wet": 10, "rose": 8, "fell": 4}, supply={"demanded": 7}, demand={"demand": 2},
        transmitter={"answers": {"contacts": 5, "failed": "failed?"}}, belief={"wet": 11}, buttons=pressed,
        alarms={"nothing": "nothing?"}, selectors={}, gate={"out": 3},
    )  # fmt: skip
    c._proved, c._dry = (lambda: "proved?"), (lambda: 2)
    follow(c, notes, "_reset", "_protect", "_level", "_duty", "_tell")
    return notes


def test_a_step_goes_from_contacts_to_belief_to_people_to_pumps_to_level_to_duty_to_alarms():
    c = made()
    notes = whole(c)
    inputs = record(contacts=r.LAG | r.HIGH)
    c.inspection_min = 77
    c._evaluate(inputs)
    assert notes == [
        ("transmitter", "contacts", inputs),
        ("contacts", "step", 13),
        ("supply", "step", inputs, r.HIGH),
        ("transmitter", "step", inputs, "proved?", 10),
        ("transmitter", "failed"),
        ("belief", "step", 10, 8, 4, "failed?"),
        ("buttons", "step", inputs, "nothing?"),
        ("selectors", "step", inputs, 3, 2, 11),
        ("_protect", 0, inputs), ("_protect", 1, inputs),
        ("_level", inputs), ("_duty", inputs), ("_tell", inputs),
    ]  # fmt: skip
    assert c.supply.demanded == 2, "what the level asked for in the step before"
    assert c.inspection_min == 77


def test_a4_the_supply_is_told_of_high_only():
    c = made()
    notes = whole(c)
    c.contacts.wet = r.OFF | r.LEAD | r.LAG
    c._evaluate(record())
    assert notes[2] == ("supply", "step", record(), 0)


def test_a5_a_recorded_inspection_begins_its_time_anew_and_a_reset_comes_before_the_selectors():
    c = made()
    notes = whole(c, inspected=r.CMD_INSPECTED, reset=1)
    c.inspection_min = 77
    c._evaluate(record())
    assert c.inspection_min == 0
    assert [note[0] for note in notes][6:9] == ["buttons", "_reset", "selectors"]


@pytest.mark.parametrize(("one", "other"), list(product(range(5), repeat=2)))
def test_l5_proved_running_is_either_pump_in_that_state(one, other):
    c = made()
    c.pumps = [Has(state=one), Has(state=other)]
    assert c._proved() == (pm.RUNNING in (one, other))


def test_m1_dry_and_running_pumps_are_told_as_masks_and_counts():
    c = made()
    for mask in MASKS:
        c.pumps = [Has(dry=bool(mask & 1), on=None), Has(dry=bool(mask & 2))]
        assert c._dry() == mask
        c.gate.out = mask
        assert c._running() == [0, 1, 1, 2][mask]


@pytest.mark.parametrize("out", MASKS)
def test_l6_loaded_is_a_normal_current_or_more_of_a_pump_that_is_on(out):
    c = made()
    c.gate.out = out
    for one, other in product(range(5), repeat=2):
        expected = bool((out & 1 and one >= r.CURRENT_NORMAL) or (out & 2 and other >= r.CURRENT_NORMAL))
        assert c._loaded(record(current_1=one, current_2=other)) is expected


# Reset ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("state", "held"), [
    (state, held) for state in range(5) for held in (0, pm.RETRY, pm.LOCKED)
])  # fmt: skip
@pytest.mark.parametrize("n", PUMP)
def test_r4_a_reset_ends_lockouts_and_suspicion_and_what_was_counted(n, state, held):
    c = made()
    notes = stand_in(c, belief={}, transmitter={}, demand={}, blind={}, pair={}, alarms={}, exercise={"failed": 3})
    c.pumps = [pump(notes, "pump_1", failures=1), pump(notes, "pump_2", failures=1)]
    c.pumps[n].state, c.pumps[n].held, c.pumps[n].failures = state, held, 5
    c.clock_fault = 1
    c._reset()
    out = state in (pm.RETRY, pm.LOCKED) or held != 0
    assert notes == [(f"pump_{n + 1}", "release")] * out + [
        ("belief", "reset"), ("transmitter", "reset"), ("demand", "reset"), ("blind", "reset"), ("pair", "reset"),
    ]  # fmt: skip
    assert [each.failures for each in c.pumps] == [0, 0]
    assert c.exercise.failed == 0
    assert c.clock_fault == 0


# One pump's protections ----------------------------------------------------------------------------


@pytest.mark.parametrize("n", PUMP)
def test_a_pump_is_protected_by_its_own_number(n):
    c = made()
    notes = []
    c.pumps = [pump(notes, "pump_1"), pump(notes, "pump_2")]
    inputs = record(mains=1)
    c._protect(n, inputs)
    assert notes == [(f"pump_{n + 1}", "step", n, inputs)]


@pytest.mark.parametrize("n", PUMP)
@pytest.mark.parametrize(("went", "since", "on_mains"), list(product((False, True), (-1, 0, 3000), (False, True))))
def test_s5_a_fault_just_before_a_mains_loss_is_taken_back_from_a_pump_on_the_mains(n, went, since, on_mains):
    c = made()
    notes = stand_in(c, supply={"went": went, "answers": {"on_mains": lambda k: k == n and on_mains}})
    c.pumps = [pump(notes, "pump"), pump(notes, "pump")]
    c.timers.at[tm.RECENT + n] = since
    c._protect(n, record())
    assert (("pump", "withdraw") in notes) == (went and since >= 0 and on_mains)


@pytest.mark.parametrize("n", PUMP)
@pytest.mark.parametrize("state", range(5))
@pytest.mark.parametrize("cause", [pm.NOT_PUMPING, pm.OVERLOAD, pm.RUN_LOST])
def test_r4_water_ends_a_rest_for_not_pumping_and_a_selector_that_comes_back_ends_any(n, state, cause):
    for rose, returned in product(range(16), MASKS):
        c = made()
        notes = []
        c.pumps = [pump(notes, "pump"), pump(notes, "pump")]
        c.pumps[n].state, c.pumps[n].cause = state, cause
        c.contacts.rose, c.selectors.returned = rose, returned
        c._protect(n, record())
        rises = rose & ~r.OFF and cause == pm.NOT_PUMPING
        released = state in (pm.RETRY, pm.LOCKED) and (rises or returned >> n & 1)
        assert (("pump", "release") in notes) == bool(released)
        assert len(notes) == 1 + bool(released)


# The level -----------------------------------------------------------------------------------------


def level_bench(rose=0, wet=0, demand=1):
    """A controller with every part exchanged that `_level` asks; returns it and the notes."""
    c = made()
    notes = stand_in(
        c, contacts={"wet": 9, "rose": rose, "fell": 2}, gate={"out": 2, "barred": 0}, flood={}, pair={},
        belief={"wet": wet}, demand={"demand": demand}, blind={},
    )  # fmt: skip
    follow(c, notes, "_dry_pump")
    c._barred, c._not_in_auto, c._loaded, c._dry = (lambda: 1), (lambda: 2), (lambda _inputs: "loaded?"), (lambda: 3)
    return c, notes


def test_the_level_is_judged_after_the_pumps_and_before_the_blind_run():
    c, notes = level_bench(rose=r.OFF, wet=r.OFF | r.LEAD)
    inputs = record()
    c._level(inputs)
    assert notes == [
        ("_dry_pump", 0), ("_dry_pump", 1), ("flood", "step", 3, 3), ("pair", "judge"),
        ("demand", "step", 9, r.OFF, 2, 1, inputs), ("blind", "step", 9, 1, 2),
    ]  # fmt: skip
    assert c.gate.barred == 1, "the gate does not bar a pump in HAND"
    assert (c.blind.loaded, c.blind.dry) == ("loaded?", 3)


def test_d6_lag_reached_is_told_when_it_turns_wet_and_is_believed():
    for rose, wet in product(range(16), range(16)):
        c, notes = level_bench(rose, wet, demand=2)
        c._level(record())
        reached = [note for note in notes if note[:2] == ("pair", "reached_lag")]
        assert reached == [("pair", "reached_lag", 2)] * bool(rose & wet & r.LAG)


@pytest.mark.parametrize("n", PUMP)
@pytest.mark.parametrize(("dry", "hand"), list(product((False, True), (False, True))))
@pytest.mark.parametrize(("demand", "who", "empty"), list(product((0, 1, 2), (-1, 0, 1), (False, True))))
def test_r1_a_dry_run_is_judged_for_a_pump_that_runs_for_the_level_and_an_empty_pit_ends_the_demand(
        n, demand, dry, hand, who, empty):  # fmt: skip
    c = made()
    notes = stand_in(
        c, demand={"demand": demand}, selectors={"answers": {"hand": lambda k: k == n and hand}},
        exercise={"who": who}, pair={"answers": {"dry_pump": empty}},
    )  # fmt: skip
    c.pumps = [pump(notes, "pump"), pump(notes, "pump")]
    c.pumps[n].dry = dry
    c._dry_pump(n)
    judged = demand and dry and not hand and who != n
    expected = [("pair", "dry_pump", n)] * bool(judged) + [("demand", "end", 1)] * bool(judged and empty)
    assert [note for note in notes if note[0] != "selectors"] == expected


@pytest.mark.parametrize("fed", MASKS)
@pytest.mark.parametrize("off", MASKS)
def test_i2_without_a_supply_at_off_or_with_an_open_thermal_contact_a_pump_is_barred(fed, off):
    c = made()
    c.supply.fed = fed
    c.selectors.at[:] = [r.SELECT_OFF if off >> n & 1 else r.SELECT_AUTO for n in range(2)]
    for opened in MASKS:
        for n in range(2):
            c.pumps[n].open = opened >> n & 1
        assert c._barred() == {0: 3, 1: 2, 2: 1, 3: 0}[fed] | off | opened


@pytest.mark.parametrize(("hand", "welded"), list(product(MASKS, MASKS)))
def test_r3_a_pump_in_hand_or_welded_could_not_use_a_try(hand, welded):
    c = made()
    c.selectors.at[:] = [r.SELECT_HAND if hand >> n & 1 else r.SELECT_OFF for n in range(2)]
    for n in range(2):
        c.pumps[n].welded = bool(welded >> n & 1)
    assert c._not_in_auto() == hand | welded


# Duty ----------------------------------------------------------------------------------------------


def duty_bench(**more):
    """A controller with every part exchanged that `_duty` asks; returns it and the notes."""
    parts = {
        "gate": {"out": 0, "on_battery": 0, "wet": 0, "contacts": 0, "generator": 0},
        "supply": {"on_battery": 2, "mains": 1}, "contacts": {"wet": 0, "rose": 4, "fell": 1},
        "belief": {"wet": 0}, "demand": {"demand": 0}, "transmitter": {"watching": False},
        "blind": {"reason": False, "turn": 1, "answers": {"wants": False}},
        "exercise": {"calm": None, "level_fell": None}, "pair": {"available": 3, "answers": {"step": 2}}, "history": {},
    }  # fmt: skip
    for name, values in more.items():
        parts[name] = {**parts[name], **values}
    c = made()
    notes = stand_in(c, **parts)
    c._switch = lambda want: (notes.append(("_switch", want)), setattr(c.gate, "out", c.after))
    c.after = 0
    return c, notes


def told(notes):
    return [note for note in notes if note[0] != "blind"]


@pytest.mark.parametrize("after", MASKS)
def test_who_runs_is_asked_of_exercise_and_pair_and_the_outputs_are_what_the_gate_made_of_it(after):
    c, notes = duty_bench(belief={"wet": r.OFF | r.LAG})
    c.after = after
    c._duty(record(generator=1))
    assert told(notes) == [
        ("exercise", "step", r.OFF, 3, 0), ("pair", "step", 0, -1), ("_switch", 2), ("history", "step", 4, 1, after),
    ]  # fmt: skip
    assert c.out[r.OUT_PUMP_1 : r.OUT_PUMP_2 + 1] == [[0, 0], [1, 0], [0, 1], [1, 1]][after]
    assert c.gate.on_battery == 2
    assert c.gate.generator == 1


def test_s1_the_gate_goes_by_lead_and_lag_as_believed_and_high_as_read():
    for wet, believed in product(range(16), range(16)):
        c, _notes = duty_bench(contacts={"wet": wet}, belief={"wet": believed})
        c._duty(record())
        assert c.gate.wet == wet
        assert c.gate.contacts == sum(believed & bit for bit in (r.LEAD, r.LAG)) + (wet & r.HIGH)
        assert c.gate.generator == 0


@pytest.mark.parametrize(("demand", "reason", "wants", "mains"), list(product(
    (0, 1, 2), (False, True), (False, True), (0, 1)
)))  # fmt: skip
def test_d7_an_exercise_waits_for_calm_and_the_mains_and_a_blind_run_asks_by_its_turn(demand, reason, wants, mains):
    for turn in PUMP:
        c, notes = duty_bench(demand={"demand": demand}, supply={"mains": mains},
                              blind={"reason": reason, "turn": turn, "answers": {"wants": wants}})  # fmt: skip
        c._duty(record())
        assert bool(c.exercise.calm) == (demand == 0 and not reason and not wants and mains == 1)
        assert ("pair", "step", demand, turn if wants else -1) in notes


@pytest.mark.parametrize("watching", [False, True])
def test_d7_the_level_has_fallen_when_no_movement_is_still_awaited(watching):
    c, _notes = duty_bench(transmitter={"watching": watching})
    c._duty(record())
    assert [c.exercise.level_fell] == [not watching]


def switch_bench(was, becomes, who=-1, lead=-1, turn=0, on=(True, True)):
    """A controller whose gate turns `was` into `becomes` whatever is asked; returns it and the notes."""
    c = made()
    notes = stand_in(c, gate={"out": was, "first": None}, pair={"lead": lead, "turn": turn, "ready": 2},
                     exercise={"who": who}, blind={}, flood={}, belief={"wet": 6})  # fmt: skip

    def step(want):
        notes.append(("gate", "step", want))
        c.gate.out = becomes
        return becomes

    c.gate.step = step
    c.pumps = [pump(notes, "pump_1", on[0]), pump(notes, "pump_2", on[1])]
    follow(c, notes, "_switched")
    return c, notes


@pytest.mark.parametrize(("was", "becomes"), list(product(MASKS, MASKS)))
def test_the_pumps_are_told_what_the_gate_did_then_the_blind_run_and_the_flood_tries(was, becomes):
    c, notes = switch_bench(was, becomes)
    c._switch(1)
    assert [note for note in notes if note[1:] != ("on",)] == [
        ("gate", "step", 1), ("_switched", 0, was, becomes), ("_switched", 1, was, becomes),
        *[("blind", "started")] * (becomes != 0), ("flood", "count", 6, becomes, 2),
    ]  # fmt: skip


@pytest.mark.parametrize(("lead", "turn"), list(product((-1, 0, 1), PUMP)))
def test_the_gate_starts_the_lead_first_or_whose_turn_it_is(lead, turn):
    c, _notes = switch_bench(0, 0, lead=lead, turn=turn)
    c._switch(3)
    assert c.gate.first == (turn if lead == -1 else lead)


def test_what_the_pair_and_the_exercise_want_is_asked_for_but_no_pump_that_tripped_in_this_step():
    for want, who, was, on in product(MASKS, (-1, 0, 1), MASKS, MASKS):
        c, notes = switch_bench(was, 0, who=who, on=(bool(on & 1), bool(on & 2)))
        c._switch(want)
        asked = {n for n in PUMP if want >> n & 1} | ({who} if who in PUMP else set())
        asked -= {n for n in PUMP if was >> n & 1 and not on >> n & 1}
        assert [note for note in notes if note[0] == "gate"] == [("gate", "step", sum(1 << n for n in asked))]


@pytest.mark.parametrize("n", PUMP)
def test_s5_only_the_edge_of_a_pump_s_own_output_is_told_it_and_a_trip_is_no_stop(n):
    for was, out, on, by_level, demand in product(MASKS, MASKS, (False, True), (0, 1), (0, 1, 2)):
        c = made()
        notes = stand_in(c, transmitter={}, demand={"by_level": by_level, "demand": demand})
        c.pumps = [pump(notes, "pump_1", on), pump(notes, "pump_2", on)]
        c._switched(n, was, out)
        before, after = was >> n & 1, out >> n & 1
        name = f"pump_{n + 1}"
        if before < after:
            assert notes == [(name, "started"), ("transmitter", "watch")]
        elif before > after and on:
            asked, (*stopped, drawn) = notes
            assert (asked, stopped) == ((name, "on"), [name, "stopped"])
            assert bool(drawn) == (by_level == 1 and demand == 0), "a stop while the level still asks is none by it"
        else:
            assert notes in ([], [(name, "on")])


# Alarms and outputs --------------------------------------------------------------------------------


@pytest.mark.parametrize(("silence", "reset", "test"), list(product((0, 1), (0, 1), (0, 1, False, True))))
def test_a2_alarms_are_told_then_silenced_then_reset_then_shown(monkeypatch, silence, reset, test):
    c = made()
    notes = stand_in(c, alarms={"horn": 3, "beacon": 4, "relay": 5, "nothing": 0},
                     buttons={"silence": silence, "reset": reset, "answers": {"test": test}})  # fmt: skip
    monkeypatch.setattr(controller_module, "tell_alarms", lambda *given: notes.append(("tell", *given)))
    inputs = record()
    c._tell(inputs)
    assert [note for note in notes if note[0] != "buttons"] == [
        ("tell", c, inputs), *[("alarms", "silence")] * silence, *[("alarms", "reset")] * reset,
        ("alarms", "step", 1 if test else 0),
    ]  # fmt: skip
    assert c.out[r.OUT_HORN : r.OUT_RELAY + 1] == [3, 4, 5]


@pytest.mark.parametrize(("nothing", "available"), list(product((0, 1), MASKS)))
def test_the_status_light_shines_with_no_alarm_and_both_pumps_available(nothing, available):
    c = made()
    c.alarms = Asked("alarms", [], horn=0, beacon=0, relay=1, nothing=nothing)
    c.pair.available = available
    c.buttons.silence = c.buttons.reset = False
    c.out[r.OUT_LIGHT] = 7
    c._tell(record(mains=1))
    assert c.light == c.out[r.OUT_LIGHT] == (1 if nothing and available == 3 else 0)
