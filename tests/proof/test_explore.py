"""The exploration: the parts are searched, broken rules are found, and the search itself cannot pass for nothing."""

import pytest
from duplexsump.control import blind, flood
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.records import CLOCK, STATISTIC

from host_sim.proof.search import abstract_pump, canaries, coarse, explorer, search_plan
from host_sim.proof.search.part_contacts import ContactsPart
from host_sim.proof.search.part_duty import DutyPart
from host_sim.proof.search.part_flood import FloodPart
from host_sim.proof.search.part_gate import POWER_UP, GatePart
from host_sim.proof.search.part_pair import _TIMERS, PairPart

# The duty is searched in test_reductions.py, which needs all that it finds.
ENDING = [one for one in search_plan.planned(True) if one.most_states is None and one.part != "duty"]
WHOLE_PAIR = [one for one in search_plan.planned(True) if one.part == "pair"]


def each(searches):
    """Return pytest's parameters for searches; the large ones of which a like one stays are long."""
    late = [
        (one.part in ("gate", "turns") and one.world != "quick") or (one.part == "demand" and one.options[0][1])
        for one in searches
    ]
    return [pytest.param(one, id=one.name, marks=[pytest.mark.long] if long else [])
            for one, long in zip(searches, late, strict=True)]  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize("search", each(ENDING))
def test_each_part_is_exhausted_and_breaks_nothing(search):
    result, trace = search_plan.run(search, every=False)
    assert result.broken is None, f"{trace}\n{result.broken}"
    assert result.exhausted
    assert result.transitions > result.states > 20
    assert all(ticks >= 0 for ticks in result.longest.values()), result.longest


def test_every_part_is_among_the_searches_of_ci_or_stands_in_the_full_run():
    whole = search_plan.planned(False)
    assert {search.part for search in whole} == set(search_plan.PARTS)
    assert set(search_plan.PARTS) - {search.part for search in ENDING} == {"duty", "flood", "pair"}
    assert {search.part for search in whole if search.most_states is not None} == {"pair"}


@pytest.mark.parametrize("most_states", [1000, pytest.param(None, id="plan", marks=pytest.mark.long)])
@pytest.mark.parametrize("search", WHOLE_PAIR, ids=lambda search: search.name)
def test_the_whole_pair_breaks_nothing_as_far_as_it_is_searched(search, most_states):
    result, trace = search_plan.run(search, every=False, most_states=most_states)
    assert result.broken is None, f"{trace}\n{result.broken}"
    assert result.states >= (most_states or search.most_states)
    assert not result.exhausted, "say exhausted only when the frontier is empty"


@pytest.mark.parametrize("canary", [
    pytest.param(one, id=f"{one.invariant} {one.rule}", marks=[pytest.mark.long] * one.rule.endswith("by the duty"))
    for one in canaries.CANARIES
])  # fmt: skip
def test_canary_a_broken_rule_is_found(canary):
    result = canaries.hunt(canary)
    assert result.broken is not None, f"not found in {result.states} states, depth {result.depth}"
    assert result.broken.invariant == canary.invariant, result.broken


def test_there_is_a_canary_for_every_invariant_that_a_part_claims():
    wanted = {"I1", "I2", "I3", "I4", "I5", "I6", "I7", "I8", "I9", "I11", "I12", "I13"}
    assert wanted <= {canary.invariant for canary in canaries.CANARIES}


def test_a_counter_example_replays_to_the_same_breach():
    canary = canaries.CANARIES[0]
    with canary.search.open():
        part = canary.search.build(False)
        patches = canary.break_it()
        for patch in patches:
            patch.start()
        try:
            result, _graph = explorer.explore(part, canary.search.world)
            told = explorer.trace_text(part, result.broken)
        finally:
            for patch in patches:
                patch.stop()
        healthy = list(explorer.replay(part, result.broken.start, result.broken.moves))
    assert told.count(result.broken.text) == 2  # in the head and on its tick
    assert all(breach is None for _tick, _words, _state, breach in healthy), "the mended rule must pass the same moves"


@pytest.mark.parametrize("world", coarse.NAMES)
def test_a_coarse_world_keeps_the_order_of_the_timers(world):
    assert coarse.breaches_of_order(world) == []
    coarse.values(world)


def test_most_pairs_of_different_timers_are_apart_in_some_world():
    merged, pairs = 0, 0
    for a, seconds_a in coarse.DEFAULTS_S.items():
        for b, seconds_b in coarse.DEFAULTS_S.items():
            if seconds_a < seconds_b:
                pairs += 1
                merged += all(coarse.ticks(w, a) == coarse.ticks(w, b) for w in coarse.NAMES)
    assert merged < pairs / 6, (merged, pairs)


def test_a_coarse_world_leaves_nothing_behind():
    before = (blind.RESTS_MS, flood.STEPS_MS, s.check)
    with coarse.world("wide"):
        assert before[0] != blind.RESTS_MS
    assert (blind.RESTS_MS, flood.STEPS_MS, s.check) == before


def test_the_canonical_form_drops_clocks_and_statistics_and_loads_what_it_saved():
    with coarse.world("quick"):
        part = PairPart("quick", 11, every=False)
        dropped = {row[0] for owner in part.form.values.values() if hasattr(owner, "FIELDS") for row in owner.FIELDS
                   if row[1] in (CLOCK, STATISTIC)}  # fmt: skip
        assert not dropped & {name.split("[")[0] for name in part.form.names}
        state = part.start()[0]
        for move in part.moves[40:60]:
            state, _breach = part.step(state, move)
        seen = part.form.load(state)
        part.timers.now = part.form.base_ms
        assert part.form.save_within(seen, over=False) == state
        part.timers.expire(part.form.now_ms)
        assert part.form.save(seen) != state, "a tick later less time is left"
        assert part.form.now_ms == (part.form.base_ms + coarse.TICK_MS) & 0x3FFFFFFF


def test_nothing_leaks_from_one_branch_into_the_next():
    with coarse.world("quick"):
        part = PairPart("quick", 15, every=False)
        state = part.start()[0]
        for number in range(0, 200, 7):
            state, _breach = part.step(state, part.moves[number % len(part.moves)])
        alone = [part.step(state, move)[0] for move in part.moves]
        again = [part.step(state, move)[0] for move in reversed(part.moves)][::-1]
    assert alone == again


def test_a_state_that_moves_at_has_taken_is_stepped_from_like_any_other():
    with coarse.world("quick"):
        for part in (DutyPart("quick"), FloodPart("quick")):
            state = part.start()[0]
            for _ in range(9):
                moves = [part.moves[number] for number in part.moves_at(state)]
                after = [part.step(state, move) for move in moves]
                again = [part.step(state, move) for move in moves]
                assert after == again
                part.moves_at(state)
                assert part.step(after[-1][0], part.moves[part.moves_at(after[-1][0])[0]])[1] is None
                state = after[-1][0]


def test_every_step_of_a_search_crosses_the_wrap_of_the_clock():
    part = ContactsPart((0,), 3, 10)
    assert part.form.now_ms < part.form.base_ms


def test_a_gate_that_may_wait_for_ever_is_found_by_its_loop():
    with coarse.world("quick"):
        part = GatePart("quick", every=False)
        part.gate.rested = lambda n: False
        graph = explorer.explore(part)[1]
        moves = [m for m in part.moves if m is not POWER_UP and m[0] == 1 and not m[1]]
        place = part.form.names.index("out")
        assert explorer.longest_wait(part, graph, moves, lambda st: not st[place] & 1)[0] is None


def test_the_abstract_pump_does_not_allow_everything():
    allowed = abstract_pump.allowed()
    views = {before for before, _after in allowed} | {after for _before, after in allowed}
    assert len(allowed) < len(views) ** 2 * 2 / 3
    locked_to_running = ((4, 0, 0), (2, 0, 0))
    assert locked_to_running not in allowed


def test_exhausted_is_not_said_at_a_limit():
    with coarse.world("quick"):
        result, _graph = explorer.explore(GatePart("quick", every=False), most_states=10)
    assert not result.exhausted
    assert result.states >= 10


@pytest.mark.long
def test_the_timers_of_the_pair_that_are_left_out_are_named():
    # A timer that is armed by a part of the search must be in its form, or be known to decide nothing there.
    with coarse.world("quick"):
        part = PairPart("quick", 15, every=False)
        graph = explorer.explore(part, most_states=3000)[1]
        armed = set()
        for state in graph.states[:: max(1, len(graph.states) // 300)]:
            for move in part.moves[::37]:
                part.step(state, move)
                armed |= {i for i in range(tm.N_TIMERS) if part.timers.at[i] >= 0}
    # D5's three tell an alarm, D7's count waits longer than any search, S7's closing rest is the choice OVER.
    alarms = {tm.BOTH, tm.LAG_LONG, tm.LEAD_LONG}
    told = alarms | {tm.RETRY, tm.RETRY + 1, tm.OVER_HOUR, tm.OVER_HOUR + 1, tm.RECENT, tm.RECENT + 1}
    assert armed <= _TIMERS | told, {tm.NAMES[i] for i in armed - _TIMERS - told}
