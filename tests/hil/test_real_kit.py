"""A kit of a real board: the controller's firmware and the rig's, each on MicroPython, a loom of wires between them.

Nothing here asks how long the wall clock took; the kit is told that this machine
may be slow (`SLACK_MS`).
"""

import statistics

import pytest

from hil.acceptance import procedure, runner
from hil.acceptance.procedure import Procedure
from hil.bench.bench import Bench
from hil.kits import wires
from hil.kits.base import Missing, Vanished
from hil.kits.rig_selftest import WiringError
from hil.procedures import _steps
from hil.rig.lib.sumprig import wires as w
from tests.hil.loom import Loom
from tests.hil.rig_loom import GAP_S, SLACK_MS, SPEED, give_settings, kit_on, wait_for
from tests.micropython.places import micropython

pytestmark = pytest.mark.long  # boards in real time, their clocks eight times as fast


@pytest.fixture(scope="module")
def strung(tmp_path_factory):
    micropython()
    with Loom(tmp_path_factory.mktemp("loom"), speed=SPEED) as loom:
        give_settings(loom)
        yield loom


@pytest.fixture
def loom(strung):
    strung.mend()
    yield strung
    strung.mend()


def quiet(words):
    """Say nothing."""


def unproved(*_):
    """Stand for the self-test in a test that is not about it."""
    return []


def test_a_wiring_that_is_wrong_starts_no_procedure(loom):
    loom.swap("lead", "lag")
    with kit_on(loom) as kit:
        record = runner.run(kit, procedure.load(("lag_start",)))
    assert (record["complete"], record["procedures"]) == (False, [])
    assert record["why_incomplete"] == "'lead' and 'lag' are swapped"


def test_every_wire_is_proved_where_the_wiring_is_right(loom):
    said = []
    with kit_on(loom) as kit:
        rows = kit.prove(said.append, coils_only=True)
        proved = {row["wire"] for row in rows if row["verdict"] == "proved"}
        assert proved == {"power", "battery", *w.COILS[:15], "current_1", "current_2", *w.RELAYS}
        assert {row["wire"]: row["words"] for row in rows if row["wire"] not in proved} == dict.fromkeys(
            ("generator", "moisture_1", "moisture_2", "service", "light"), "the rig has no wire for it")
        assert said[-1] == "24 wires proved; not: generator, moisture_1, moisture_2, service, light"
        assert kit.wires == set(wires.WIRES) - {"level", "generator", "moisture_1", "moisture_2", "service", "light"}
    wait_for(lambda: loom.coils == 0 and loom.analog == (0, 0, 0, 0))


def test_all_that_is_wrong_is_named_at_once(loom):
    loom.swap("lead", "lag")
    loom.swap("selector_1_hand", "thermal_2")
    loom.cut("off")
    loom.ground("jumper")
    loom.bridge("silence", "reset")
    loom.swap("current_1", "current_2")
    with kit_on(loom) as kit, pytest.raises(WiringError) as caught:
        kit.prove(quiet)
    assert caught.value.problems == [
        "'off' is open: it was switched and no reading changed at the controller",
        "'lead' and 'lag' are swapped",
        "'selector_1_hand' and 'thermal_2' are swapped",
        "'silence', 'reset' are shorted together: they change together",
        "'jumper' is shorted to ground, or a contact still closes it (a jumper, a float)",
        "'current_1' and 'current_2' are swapped",
    ]
    assert not loom.outputs & 3, "a pump was switched while wires were tried"
    wait_for(lambda: loom.coils == 0)


def test_wrong_wires_of_the_relays_are_named(loom):
    loom.swap("horn", "beacon")
    loom.swap("pump_1", "pump_2")
    loom.cut("relay")
    with kit_on(loom) as kit, pytest.raises(WiringError) as caught:
        kit.prove(quiet, coils_only=True)
    assert caught.value.problems == [
        "'pump_1' and 'pump_2' are swapped",
        "'horn' and 'beacon' are swapped",
        "'relay' is open: the controller switches it and the rig reads nothing",
    ]
    wait_for(lambda: loom.coils == 0 and not loom.outputs & 3)


def test_pumps_are_only_switched_where_somebody_has_confirmed_that_no_motor_hangs_on_them(loom):
    with kit_on(loom) as kit:
        rows = {row["wire"]: row for row in kit.prove(quiet)}
        assert not [edge for edge in kit.edges if edge.wire.startswith("pump")]
    assert (rows["pump_1"]["verdict"], rows["relay"]["verdict"]) == ("not proved", "proved")
    assert "not confirmed (--coils-only)" in rows["pump_2"]["words"]


def test_a_supply_that_is_not_cut_is_named(loom):
    loom.power_fitted = False
    try:
        with kit_on(loom) as kit, pytest.raises(WiringError, match="relay in its supply should cut it: open wire"):
            kit.prove(quiet)
        with kit_on(loom, power_by="run") as kit:
            kit.power(False)
            with pytest.raises(Exception, match="has no power"):
                kit.client()
            assert not kit.answers()
            kit.reset()
            assert kit.client().values()["reset_cause"] == 0
    finally:
        loom.power_fitted = True


def test_procedures_run_as_on_any_other_board(loom, monkeypatch):
    monkeypatch.setattr(_steps, "GAP_S", GAP_S)
    names = ("alarm_test", "lag_start", "dead_controller")
    with kit_on(loom) as kit:
        record = runner.run(kit, procedure.load(names), allow_settings=True)
    assert record["complete"], record["why_incomplete"]
    verdicts = {entry["name"]: (entry["verdict"], entry["why"]) for entry in record["procedures"]}
    assert verdicts == dict.fromkeys(names, ("pass", ""))
    assert {row["verdict"] for row in record["wiring"]} == {"proved", "not proved", "not connected"}
    assert all(entry["measurements"] or entry["checks"] for entry in record["procedures"])
    assert record["kit"]["place"] == "real with a rig"
    assert "times at the pins" in record["kit"]["wiring"]
    assert "power off" in record["log"]
    wait_for(lambda: loom.coils == 0 and not loom.outputs & 3)


def test_a_procedure_that_needs_what_a_real_board_has_not_is_skipped_by_name(loom):
    with kit_on(loom) as kit:
        kit.prove = unproved
        record = runner.run(kit, procedure.load(("watchdog_reset", "moisture")))
    assert [entry["verdict"] for entry in record["procedures"]] == ["skipped", "skipped"]
    assert [entry["why"] for entry in record["procedures"]] == [
        'a real with a rig board cannot do "hang"',
        'there is no wire "moisture_1" on this board (real with a rig)',
    ]


def test_a_current_beyond_the_inputs_full_scale_is_refused(loom):
    with kit_on(loom) as kit:
        kit.drive("current_1", 30000)
        assert loom.analog[0] == 3300
        with pytest.raises(Missing, match="is 30000 mA"):
            kit.drive("current_1", 30001)
        kit.drive("battery", 12800)
        kit.drive("current_1", 1)
        wait_for(lambda: loom.raw()[9] in range(12780, 12821) and loom.raw()[2] > 10000)


def broken(name, act):
    """Return a procedure that does `act(bench)` after a check that held."""

    class Module:
        @staticmethod
        def run(bench):
            bench.check("so far so good", True)
            act(bench)

    return Procedure(name, "Breaks off.", ("D1",), ("lead",), False, 0, "", Module)


@pytest.mark.parametrize("which", ["controller", "rig"])
def test_a_cable_pulled_in_mid_procedure_leaves_a_partial_record_and_no_output(tmp_path, which):
    micropython()

    def pull(bench):
        bench.water("off", "lead")
        loom.vanish(getattr(loom, which))
        bench.wait(1)
        bench.value("starts_1")

    with Loom(tmp_path, speed=SPEED) as loom:
        with kit_on(loom) as kit:
            kit.prove = unproved
            record = runner.run(kit, [broken("first", lambda bench: None), broken("second", pull),
                                      broken("third", lambda bench: None)])
        assert loom.rig.gone or wait_for(lambda: loom.coils == 0)
        assert not loom.outputs & 3
    assert [entry["verdict"] for entry in record["procedures"]] == ["pass", "interrupted"]
    assert record["procedures"][1]["checks"], "what was recorded until then is kept"
    assert record["complete"] is False
    assert record["why_incomplete"].startswith(f"the {which}: ")


def test_a_controller_that_hangs_is_told_apart_from_a_port_that_is_gone(loom):
    from tests.hil.loom import freeze

    with kit_on(loom) as kit:
        client = kit.client()
        client.patience_s = 0.1
        freeze(loom.controller)
        with pytest.raises(Vanished, match="the controller: no answer in Modbus"):
            client.values()
    with loom.lock:
        loom.controller.process.kill()
    wait_for(lambda: loom.controller.causes[-1] == 1)


def test_from_contact_to_relay_over_the_rig(loom, capsys):
    # A selector turned to OFF takes its pump off in the controller's next step (M1, I2): no debounce stands between.
    with kit_on(loom) as kit:
        late = selector_to_relay(Bench(kit), 3)
    with capsys.disabled():
        print(f"\ncontact to relay over the rig, the boards' clocks {SPEED} times as fast as the wall's: "
              f"median {statistics.median(late):g} ms, worst {max(late)} ms of {len(late)}")
    assert min(late) >= 0
    assert statistics.median(late) < SLACK_MS


def selector_to_relay(bench, rounds):
    """Return the times in ms from the selector's contact to the pump relay, two a round, at the rig's pins."""
    kit, late = bench.kit, []
    bench.reset()
    bench.draw_normally()
    for phase in range(rounds):
        for pump in (1, 2):
            bench.selector(pump, "hand")
        for pump in (1, 2):
            bench.when(f"pump_{pump}", 1, 120)
            kit.run_ms(1 + 37 * (2 * phase + pump) % 100)
            bench.selector(pump, "off")
            turned_ms = next(edge.ms for edge in reversed(kit.edges) if edge.wire == f"selector_{pump}")
            late.append(bench.when(f"pump_{pump}", 0, 60, since_ms=turned_ms) - turned_ms)
    return late
