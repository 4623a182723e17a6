"""The runner: what a procedure comes to, and what is kept when a board goes away."""

from types import ModuleType

import pytest

from hil.acceptance import procedure, runner
from hil.bench import latency
from hil.kits.base import Vanished
from hil.kits.virtual import VirtualKit
from host_sim.errors import InputError
from tests.micropython.places import micropython


def made(name, work, needs=(), **more):
    """Return a procedure whose `run` is a function."""
    module = ModuleType(f"hil.procedures.{name}")
    module.PURPOSE, module.CLAUSES, module.NEEDS, module.run = "A trial.", ("D1",), needs, work
    for key, value in more.items():
        setattr(module, key, value)
    return procedure.describe(module)


@pytest.fixture(scope="module")
def shared():
    micropython()
    with VirtualKit() as kit:
        yield kit


@pytest.fixture
def kit(shared, monkeypatch):
    monkeypatch.setattr(shared, "close", lambda: shared.dropped.append(shared.read("pump_1")))
    shared.dropped = []
    return shared


def passes(bench):
    bench.measure("five", 5.0, "s", 4.0, 6.0, 0.5)
    bench.check("true", True, "it is")
    bench.note("a remark")


def marginal(bench):
    bench.measure("near", 4.1, "s", 4.0, 6.0, 0.5)


def fails(bench):
    passes(bench)
    bench.check("false", False, "it is not")


def wrong_relay(bench):
    bench.check("before", True)
    bench.when("horn", 1, 1.0)


def nothing(bench):
    bench.wait(1.0)


def runs_on(bench):
    bench.ready()
    bench.water("off", "lead")
    bench.when("pump_1", 1, 5.0)
    bench.check("on", True)


@pytest.mark.long
def test_verdicts_and_what_the_record_holds(kit):
    trials = [
        made("passes", passes),
        made("marginal", marginal),
        made("fails", fails),
        made("wrong_relay", wrong_relay),
        made("nothing", nothing),
        made("bad_word", lambda bench: bench.water("top")),
        made("runs_on", runs_on),
    ]
    said = []
    record = runner.run(kit, trials, said.append)
    found = {entry["name"]: entry for entry in record["procedures"]}
    assert {name: entry["verdict"] for name, entry in found.items()} == {
        "passes": "pass",
        "marginal": "marginal",
        "fails": "fail",
        "wrong_relay": "fail",
        "nothing": "fail",
        "bad_word": "fail",
        "runs_on": "pass",
    }
    assert found["nothing"]["why"] == "nothing was measured or checked"
    assert "horn did not turn on within 1 s" in found["wrong_relay"]["why"]
    assert [check["name"] for check in found["wrong_relay"]["checks"]] == ["before"]
    assert 'no float "top"' in found["bad_word"]["why"]
    assert found["passes"]["notes"] == ["a remark"]
    assert found["passes"]["measurements"][0] == {
        "name": "five", "value": 5.0, "unit": "s", "low": 4.0, "high": 6.0, "margin": 0.5, "verdict": "pass",
    }  # fmt: skip
    assert found["runs_on"]["seconds_bench"] > 60
    assert record["complete"] and record["kind"] == "acceptance"
    assert record["kit"]["place"] == "virtual" and len(record["kit"]["firmware"]) == 8
    assert len(record["kit"]["settings_values"]) == len(kit.settings)
    assert "pump_1" in record["log"]
    assert kit.dropped == [0], "a procedure that left a pump running: its output dropped at the end"
    assert runner.worst(record) == "fail"
    assert any(line.startswith("fails: A trial.") for line in said)


def test_what_the_kit_lacks_is_skipped_by_name(kit, monkeypatch):
    monkeypatch.setattr(kit, "wires", kit.wires - {"level"})
    monkeypatch.setattr(kit, "may_change_settings", False)
    record = runner.run(kit, [made("a", passes, ("level",)), made("b", lambda bench: bench.settings(debounce=500))])
    first, second = record["procedures"]
    assert (first["verdict"], first["why"]) == ("skipped", 'there is no wire "level" on this board (virtual)')
    assert first["measurements"] == []
    assert second["verdict"] == "skipped" and "--allow-settings" in second["why"]
    assert runner.worst(record) == "skipped"


def test_a_board_that_goes_away_breaks_off_and_what_was_recorded_is_kept(kit):
    def vanishes(bench):
        bench.measure("five", 5.0, "s", 4.0, 6.0, 0.5)
        raise Vanished("the port went away", "/dev/board")

    record = runner.run(kit, [made("first", passes), made("gone", vanishes), made("never", passes)])
    assert [entry["name"] for entry in record["procedures"]] == ["first", "gone"]
    assert record["procedures"][1]["verdict"] == "interrupted"
    assert record["procedures"][1]["measurements"][0]["value"] == 5.0
    assert (record["complete"], record["why_incomplete"]) == (False, "the port went away")
    assert runner.worst(record) == "fail"
    assert kit.dropped == [0]


def test_a_board_that_falls_silent_breaks_off(kit, monkeypatch):
    def silent(bench):
        bench.check("before", True)
        kit.board.power(False)
        monkeypatch.setattr(kit, "cold_start", lambda: None)
        bench.alarms()

    monkeypatch.setattr("hil.kits.virtual.ANSWER_MS", 2000)
    record = runner.run(kit, [made("silent", silent), made("never", passes)])
    assert [entry["verdict"] for entry in record["procedures"]] == ["interrupted"]
    assert "no answer in Modbus" in record["why_incomplete"]


def test_ctrl_c_keeps_the_record_and_drops_the_outputs(kit):
    def stopped(bench):
        runs_on(bench)
        raise KeyboardInterrupt

    record = runner.run(kit, [made("first", passes), made("stopped", stopped)])
    assert [entry["name"] for entry in record["procedures"]] == ["first"]
    assert (record["complete"], record["why_incomplete"]) == (False, "stopped by the operator")
    assert kit.dropped == [0]


def test_wires_that_are_not_proved_stop_everything_before_it_begins(kit, monkeypatch):
    def prove(say, coils_only):
        raise InputError("lead and lag are swapped", "wiring")

    monkeypatch.setattr(kit, "prove", prove)
    record = runner.run(kit, [made("first", passes)])
    assert record["procedures"] == []
    assert (record["complete"], record["why_incomplete"]) == (False, "lead and lag are swapped")
    assert kit.dropped == [0]


@pytest.mark.long
def test_latency_lies_within_a_tick_over_all_phases(kit):
    record = runner.run(kit, [], latency=latency.measure)
    found = record["latency"]
    assert found["samples"] == latency.PHASES == len(set(found["values_ms"]))
    assert min(found["values_ms"]) >= 0 and found["worst_ms"] <= 100
    assert 30 <= found["median_ms"] <= 70


def test_a_latency_that_cannot_be_measured_is_said_to_be_so(kit, monkeypatch):
    monkeypatch.setattr(kit, "_put", lambda name, value: None)
    record = runner.run(kit, [], latency=latency.measure)
    assert record["latency"] is None
    assert "none of pump_1, pump_2 turned on within 120 s" in record["latency_why"]
    assert record["complete"], "the procedures are not to blame"


def test_a_procedure_that_does_not_say_what_it_is_is_refused():
    for change, words in (
        ({"PURPOSE": " "}, "PURPOSE is missing"),
        ({"CLAUSES": ()}, "CLAUSES"),
        ({"CLAUSES": ("d1",)}, "CLAUSES"),
        ({"NEEDS": ("leed",)}, 'NEEDS has "leed"'),
        ({"run": None}, "run"),
    ):
        with pytest.raises(InputError, match=words):
            made("trial", passes, **change)
    with pytest.raises(InputError, match='no procedure "flod"; the procedures are: '):
        procedure.load(["flod"])
    assert [one.name for one in procedure.load(["lockout", "alarm_test"])] == ["alarm_test", "lockout"]
