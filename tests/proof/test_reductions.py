"""What the searches leave out decides nothing: moves, fields, silent timers, the seam between parts."""

import re
from pathlib import Path

import pytest
from duplexsump import control
from duplexsump.control import pump as pm
from duplexsump.control import settings as s
from duplexsump.control import timers as tm

from host_sim.proof.search import coarse, contract, explorer, part_duty, part_pump
from host_sim.proof.search.part_belief import _TURNED
from host_sim.proof.search.part_duty import DutyPart
from host_sim.proof.search.part_flood import FloodPart
from host_sim.proof.search.part_level import BlindPart, DemandPart
from host_sim.proof.search.part_pair import PairPart
from host_sim.proof.search.part_pump import PumpPart
from host_sim.proof.search.part_turns import TurnsPart


def outcomes(part, state, numbers):
    return {part.step(state, part.moves[number]) for number in numbers}


def duty_may(part, state, move):
    """Moves that the abstract pump and the contract allow, told from those that `moves_at` makes."""
    phase = part._load(state)
    if move[0] != phase:
        return False
    if phase < part_duty.LEVEL:
        return True
    view, keep, wish = move[1:4]
    if isinstance(part, FloodPart):
        return (
            view == part_duty.FLOODED and not wish and not move[6] and not move[5] and (keep == 0 or part.demand.demand)
        )
    asks, out = part.blind.asks, part.controller.gate.out
    return wish in ((0, asks) if asks else (0,) if out else range(5))


def pump_may(part, state, move):
    """In the full set of moves everything may happen at any time; a try comes as the search gives it."""
    return not move[4] or (move[1] == 0 and move[3] in (part_pump.CALM, part_pump.RESET))


def demand_may(part, state, move):
    if len(state) != part.form.packer.size:
        return move[0] == 1 and part._may_answer(move, *answer_key(part, state))
    part.form.load(state)
    d = part.duty
    loaded, dry = move[5:7] if move[0] == 0 else (0, 0)
    running = d.on or d.other
    return (
        move[0] == 0
        and (not loaded or d.on)
        and (not dry or (running and part.demand.demand and not (loaded and not d.other)))
    )


def answer_key(part, state):
    asks = part.within.load(state)[2]
    d = part.duty
    return d.on and d.fresh > 0, d.other, part.demand.demand, asks


class FromSome(FloodPart):
    """Begins in a few of its states: the search goes deeper."""

    def start(self):
        return super().start()[::1499]


class EveryMove(PumpPart):
    """Leaves no move out."""

    def moves_at(self, _state):
        return range(len(self.moves))


CASES = [
    pytest.param(lambda: PumpPart("quick"), pump_may, 1200, 120, id="pump", marks=pytest.mark.long),
    pytest.param(lambda: DutyPart("quick"), duty_may, 4000, 90, id="duty"),
    pytest.param(lambda: FromSome("quick"), duty_may, 60000, 60, id="flood", marks=pytest.mark.long),
    pytest.param(lambda: DemandPart("quick"), demand_may, 4000, 150, id="demand"),
]


@pytest.mark.long
@pytest.mark.parametrize(("build", "may", "found", "looked"), CASES)
def test_a_move_that_is_left_out_does_what_one_that_is_made_does(build, may, found, looked):
    with coarse.world("quick"):
        part = build()
        result, graph = explorer.explore(part, most_states=found)
        assert result.broken is None, explorer.trace_text(part, result.broken)
        left_out = 0
        for state in graph.states[:: max(1, len(graph.states) // looked)]:
            made = set(part.moves_at(state))
            others = [i for i, move in enumerate(part.moves) if i not in made and may(part, state, move)]
            left_out += len(others)
            assert outcomes(part, state, others) <= outcomes(part, state, made), part.describe(state)
    assert left_out > looked


@pytest.mark.long
def test_the_search_of_the_pump_finds_the_same_states_with_every_move():
    with coarse.world("quick"):
        reduced = explorer.explore(PumpPart("quick", every=False))[1]
        result, every = explorer.explore(EveryMove("quick", every=False))
    assert result.exhausted
    assert set(reduced.states) == set(every.states)


@pytest.fixture(scope="module")
def duty():
    with coarse.world("quick"):
        part = DutyPart("quick")
        result, graph = explorer.explore(part)
        assert result.exhausted
        assert result.broken is None, explorer.trace_text(part, result.broken)
        whole = part.form.packer.size
        seen = set()
        for state in graph.states:
            if len(state) == whole:
                part.form.load(state)
                seen.add(shown(part.controller, part.demand.demand, bool(part.blind.asks)))
    return seen


def shown(c, demand, asks):
    return tuple((p.state, p.held) for p in c.pumps), c.gate.out, demand, asks


@pytest.mark.long
@pytest.mark.parametrize("fitted", [10, 11, 15])
def test_whatever_the_whole_pair_shows_is_among_what_the_duty_searched_apart_shows(duty, fitted):
    with coarse.world("quick"):
        part = PairPart("quick", fitted, every=False)
        result, graph = explorer.explore(part, most_states=3000)
        assert result.broken is None, result.broken
        found = set()
        for state in graph.states:
            part.form.load(state)
            c = part.controller
            found.add(shown(c, c.demand.demand, c.blind.wants()))
    assert found <= duty
    assert len(found) > 15


@pytest.mark.long
def test_fair_weather_begins_in_more_states_than_any_search_finds():
    with coarse.world("quick"):
        part = TurnsPart("quick")
        starts = len(part.start())
        result, graph = explorer.explore(part)
    assert result.exhausted
    assert result.broken is None
    assert starts > 1000
    assert len(graph.states) > starts


@pytest.mark.parametrize("build", [
    lambda: BlindPart("quick"), lambda: BlindPart("quick", s.SENSE_NOTHING), lambda: TurnsPart("quick"),
])  # fmt: skip
def test_start_states_are_the_same_after_a_search(build):
    with coarse.world("quick"):
        part = build()
        before = part.start()
        explorer.explore(part, most_states=500)
        assert part.start() == before


SILENT = {*part_duty.SILENT, *part_pump._SILENT, *_TURNED}


def test_nobody_asks_whether_a_silent_timer_rang():
    text = "\n".join(path.read_text() for path in sorted(Path(control.__file__).parent.glob("*.py")))
    asked = set(re.findall(r"rang\[tm\.(\w+)", text)) | set(re.findall(r"on_delay\(\s*tm\.(\w+)", text))
    assert {"RETRY", "DRAW", "FLOOD_TRY", "BLIND_RUN", "SEQUENCE", "LONG_RUN"} <= asked, (
        "the pattern must find what is asked"
    )
    names = {i: name for name, i in vars(tm).items() if name.isupper() and isinstance(i, int)}
    base = {names.get(i) or names.get(i - 1) or names.get(i - 2) for i in SILENT}
    assert None not in base
    assert not base & asked


def test_the_contract_refuses_what_it_should():
    assert contract.level_breach((1, 0), (1, 0), 2, 0) is None
    assert "became" in contract.level_breach((1, 0), (0, 0), 2, 0)
    assert "became" in contract.level_breach((0, 0), (1, 0), 1, 0)
    assert "beside a demand" in contract.level_breach((1, 0), (1, 1), 2, 0)
    assert "while pumps" in contract.level_breach((0, 0), (0, 1), 0, 2)
    assert "mid-run" in contract.level_breach((0, 1), (0, 2), 0, 1)
    assert contract.duty_breach((0, 0), 1, 1, 1) is None
    assert "beyond" in contract.duty_breach((0, 0), 1, 1, 0)
    assert "unasked" in contract.duty_breach((0, 0), 0, 1, 1)
    assert "both" in contract.duty_breach((0, 1), 1, 3, 0)
    assert contract.duty_breach((0, 3), 1, 3, 0) is None, "such a run takes both"
    assert contract.flood_breach(0, [pm.BOOT_TRIAL, 0], True) is None
    assert contract.flood_breach(0, [0, pm.FLOOD_TRIAL], True)
    assert contract.flood_breach(1, [0, 0], True)


@pytest.mark.parametrize("first", [0, 1])
def test_the_move_says_which_pump_leads_in_the_duty(first):
    with coarse.world("quick"):
        part = DutyPart("quick")
        state = part.start()[0]
        for _ in range(2):  # the hold after power-up ends
            for phase in (0, 1):
                state, _breach = part.step(state, (phase, 0))
            state, breach = part.step(state, (part_duty.LEVEL, 4, 0, 0, first, 0, 0))
            assert breach is None
        assert part.controller.pair.lead == first
