"""A real board without a rig: forces over the link, the jumper made, no pump able to start by surprise."""

import pytest

from hil.acceptance import procedure, runner
from hil.bench.bench import Bench
from hil.kits.base import Missing
from hil.kits.real_forced import ForcesKit
from host_sim.board.client import Client
from host_sim.errors import InputError
from tests.hil.loom import Loom
from tests.hil.rig_loom import SLACK_MS, SPEED, Hands, give_settings, wait_for
from tests.micropython.places import micropython

pytestmark = pytest.mark.long  # boards in real time, their clocks eight times as fast

# What a person has set by hand at the panel; a rig plays that person's hands.
HEALTHY = {"high": 1, "mains": 1, "charger": 1, "thermal_1": 1, "thermal_2": 1}


@pytest.fixture(scope="module")
def panel(tmp_path_factory):
    micropython()
    with Loom(tmp_path_factory.mktemp("loom"), speed=SPEED) as loom:
        give_settings(loom, force_timeout=600000)
        hands = Hands(loom)
        loom.hands = hands
        yield loom
        hands.close()


@pytest.fixture
def loom(panel):
    """The panel with both selectors at OFF and the jumper made."""
    panel_set(panel, jumper=1, selector_1_off=1, selector_2_off=1)
    return panel


def panel_set(loom, **contacts):
    """Put the panel as a person would, and wait until the controller has read it."""
    wanted = dict.fromkeys(("jumper", "selector_1_off", "selector_2_off", "selector_1_hand"), 0)
    loom.hands.close_contacts({**wanted, **HEALTHY, **contacts})

    def read():
        with Client(loom.port) as client:
            states, values = client.states(), client.values()
            return (states["jumper"], values["selector_1"]) == (contacts.get("jumper", 0),
                                                                contacts.get("selector_1_off", 0))

    wait_for(read)


def test_without_the_jumper_nothing_is_forced(loom):
    panel_set(loom, selector_1_off=1, selector_2_off=1)
    with pytest.raises(InputError, match="insert the test jumper: without it the controller accepts no forced inputs"):
        ForcesKit(loom.port)


def test_a_pump_that_could_start_is_refused_unless_its_cord_is_unplugged(loom):
    panel_set(loom, jumper=1, selector_2_off=1)
    with pytest.raises(InputError, match=r"selector 1 at AUTO, selector 2 at OFF.*--cords-unplugged"):
        ForcesKit(loom.port)
    with ForcesKit(loom.port, cords_unplugged=True) as kit:
        assert "both pumps unplugged (confirmed by the operator)" in kit.describe()["wiring"]
        kit.need("pump_1")
        with pytest.raises(Missing, match="the selector of pump 2 is at OFF: the pump does not start"):
            kit.need("pump_2")


def test_the_record_says_that_nothing_was_seen_at_the_pins_and_what_was_left_out(loom):
    with ForcesKit(loom.port) as kit:
        kit.timing_ms = SLACK_MS
        record = runner.run(kit, procedure.load(("lag_start", "dead_controller", "overload")))
    assert record["complete"], record["why_incomplete"]
    assert record["kit"]["place"] == "real with forces"
    assert "both selectors at OFF; relays read over the link, not at the pins" in record["kit"]["wiring"]
    assert {entry["verdict"] for entry in record["procedures"]} == {"skipped"}
    assert all(entry["why"] for entry in record["procedures"])


def test_alarms_are_tried_with_both_selectors_off_and_forces_are_lifted_in_the_end(loom):
    with ForcesKit(loom.port) as kit:
        bench = Bench(kit)
        bench.reset()
        bench.press("silence")
        assert bench.alarm("high_water") == "normal"
        bench.water("high")
        bench.when_alarm("high_water", 60)
        assert kit.run_until(lambda: kit.read("horn"), 60000)
        bench.press("silence")
        assert kit.run_until(lambda: not kit.read("horn"), 60000)
        assert bench.alarm("inputs_forced") != "normal"
        edges = [(edge.wire, edge.value) for edge in kit.edges if edge.wire == "horn"]
        assert edges[-2:] == [("horn", 1), ("horn", 0)]
        assert not loom.outputs & 3
    with Client(loom.port) as client:
        assert client.bits(16, 9, 1) == [0] * 9, "a force was left standing"


def test_with_the_cords_unplugged_a_forced_float_starts_a_pump_and_a_forced_current_proves_it(loom):
    panel_set(loom, jumper=1)
    with ForcesKit(loom.port, cords_unplugged=True) as kit:
        bench = Bench(kit)
        bench.reset()
        bench.draw_normally()
        bench.float("off")
        bench.wait(4)
        bench.float("lead")
        assert kit.run_until(lambda: kit.read("pump_1") or kit.read("pump_2"), 120000)
        wait_for(lambda: loom.outputs & 3)
        pump = 1 if kit.read("pump_1") else 2
        assert kit.run_until(lambda: bench.value(f"pump_{pump}_state") == 2, 60000), "the start was not proved"
        bench.water()
        assert kit.run_until(lambda: not kit.read(f"pump_{pump}"), 60000)


def test_what_a_force_cannot_say_is_refused(loom):
    with ForcesKit(loom.port) as kit:
        for name, value, words in (("current_1", 2000, "forced currents are 0"), ("moisture_1", 1, "no wire"),
                                   ("battery", 12000, "no wire"), ("silence", 1, "no wire")):
            with pytest.raises(Missing, match=words):
                kit.drive(name, value)
        for need in ("current", "power", "hang", "pump_1", "selector_1"):
            with pytest.raises(Missing):
                kit.need(need)
        kit.need("high")
        kit.need("forces")


def test_a_real_high_float_cancels_the_forces(loom):
    with ForcesKit(loom.port) as kit:
        kit.drive("lead", 1)
        assert kit.run_until(lambda: kit.client().states()["wet"] & 2, 60000)
        loom.hands.close_contact("high", 0)
        assert kit.run_until(lambda: not kit.client().states()["wet"] & 2, 60000)
        assert kit.client().states()["wet"] & 8
    panel_set(loom, jumper=1, selector_1_off=1, selector_2_off=1)


def test_a_cable_pulled_under_forces_is_told(tmp_path):
    from hil.kits.base import Vanished

    with Loom(tmp_path, speed=SPEED) as loom:
        give_settings(loom)
        loom.hands = Hands(loom)
        panel_set(loom, jumper=1, selector_1_off=1, selector_2_off=1)
        with ForcesKit(loom.port) as kit:
            before = kit.now_ms()
            loom.vanish(loom.controller)
            with pytest.raises(Vanished, match="the controller: "):
                kit.run_ms(1000)
            assert kit.now_ms() >= before, "the time of the record is still known"
            with pytest.raises(Vanished):
                kit.read("horn")
        loom.hands.close()
