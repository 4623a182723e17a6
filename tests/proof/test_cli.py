"""The commands of the proof: what they print, and how they refuse."""

import json

import pytest
from typer.testing import CliRunner

from host_sim.cli import app
from host_sim.errors import InputError
from host_sim.proof.search import canaries, explorer, show


def call(*words):
    return CliRunner().invoke(app.app, list(words))


@pytest.mark.parametrize(("words", "said"), [
    (("explore", "--part", "pumps"), 'part "pumps": there are contacts, belief, demand, blind, gate, pump'),
    (("explore", "--coarse", "fine"), 'coarse world "fine": there are narrow, quick, wide'),
    (("explore", "--replay", "gate"), "NAME/START/MOVE.MOVE.MOVE"),
    (("explore", "--replay", "gates:quick/0/1.2"), "NAME/START/MOVE.MOVE.MOVE"),
    (("explore", "--replay", "gate:quick/0/999999"), "NAME/START/MOVE.MOVE.MOVE"),
    (("mutants", "--module", "pumps"), 'module "pumps": there are'),
    (("campaign", "--workers", "0"), "--workers 0: 1 or more is wanted"),
])  # fmt: skip
def test_an_input_that_cannot_be_used_says_what_can(words, said):
    result = call(*words)
    assert isinstance(result.exception, InputError)
    assert said in str(result.exception)


@pytest.mark.long
def test_explore_prints_a_row_for_each_search_and_says_exhausted():
    result = call("explore", "--quick", "--part", "gate", "--coarse", "quick", "--workers", "1")
    assert result.exit_code == 0, result.output
    assert "exhausted" in result.output
    assert "pump 1, asked for and not barred, starts" in result.output
    assert "1 of 1 searches exhausted" in result.output


@pytest.mark.long
def test_explore_prints_the_limit_of_states_at_which_a_search_stopped():
    result = call("explore", "--quick", "--part", "pair", "--workers", "1", "--states", "300")
    assert result.exit_code == 0, result.output
    assert "Stopped at 300 states: pair:quick:11." in result.output
    assert "0 of 1 searches exhausted" in result.output


def test_explore_does_not_say_exhausted_at_a_limit_and_speaks_json():
    result = call("explore", "--quick", "--part", "pump", "--workers", "1", "--states", "300", "--json")
    record = json.loads(result.output)[0]
    assert record["exhausted"] is False
    assert record["states"] >= 300
    assert record["transitions"] > record["states"]


def test_a_replay_is_told_tick_by_tick():
    result = call("explore", "--replay", "quick/gate:quick/0/0.0.0")
    assert result.exit_code == 0
    assert [line.split()[1] for line in result.output.splitlines() if line.startswith("  tick")] == list("0123")


def test_a_counter_example_prints_the_line_that_replays_it():
    canary = canaries.CANARIES[0]
    found = canaries.hunt(canary).broken
    line = show.reference(canary.search, explorer.Result("gate", "quick", broken=found), every=False)
    assert line.startswith("quick/gate:quick/0/")
    assert found.text not in show._replayed(line), "the mended rule passes the same moves"


def test_one_night_of_the_campaign_is_printed_with_its_site_file():
    result = call("campaign", "--seed", "1", "--only", "6")
    assert result.exit_code == 0
    assert "[pit]" in result.output
    assert "# broken: \n" in result.output
