"""The bench's vocabulary on a virtual board, and what a measured value is worth."""

import pytest

from hil.bench.bench import Bench
from hil.bench.motor_current import LOADS, MotorCurrent, milliamps
from hil.bench.verdict import Failed, judge, worst
from hil.kits.base import Missing
from hil.kits.virtual import VirtualKit, bench_settings
from host_sim.errors import InputError
from tests.micropython.places import micropython


@pytest.fixture(scope="module")
def shared():
    micropython()
    with VirtualKit() as made:
        yield made


@pytest.fixture
def bench(shared):
    made = Bench(shared)
    made.reset()
    yield made
    made.leave()


@pytest.mark.parametrize(
    ("value", "low", "high", "margin", "verdict"),
    [
        (5.0, 4.0, 6.0, 0.5, "pass"),
        (4.0, 4.0, 6.0, 0.5, "marginal"),
        (4.4, 4.0, 6.0, 0.5, "marginal"),
        (4.5, 4.0, 6.0, 0.5, "pass"),
        (5.6, 4.0, 6.0, 0.5, "marginal"),
        (6.0, 4.0, 6.0, 0.0, "pass"),
        (3.999, 4.0, 6.0, 0.5, "fail"),
        (6.001, 4.0, 6.0, 0.5, "fail"),
        (1000.0, 4.0, None, 0.5, "pass"),
        (-1000.0, None, 6.0, 0.5, "pass"),
        (5.9, None, 6.0, 0.5, "marginal"),
        (1.0, None, None, 9.0, "pass"),
    ],
)
def test_a_value_near_a_limit_is_marginal(value, low, high, margin, verdict):
    assert judge(value, low, high, margin) == verdict


def test_limits_that_cross_are_refused():
    with pytest.raises(ValueError, match="must not cross"):
        judge(1, 2, 1, 0)
    with pytest.raises(ValueError, match="margin of -1"):
        judge(1, 0, 2, -1)
    assert worst(["pass", "marginal", "pass"]) == "marginal"
    assert worst(["marginal", "fail"]) == "fail"
    assert worst([]) == "pass"


def test_each_load_lies_in_its_own_band():
    from duplexsump.control.bands import Bands
    from duplexsump.control.records import CURRENT_NAMES, IN_CURRENT_1, N_INPUTS

    for load in LOADS:
        settings = bench_settings()
        raw, inputs = [0] * N_INPUTS, [0] * N_INPUTS
        raw[IN_CURRENT_1] = milliamps(settings, load)
        Bands(settings).convert(raw, inputs, 0, 0)
        assert CURRENT_NAMES[inputs[IN_CURRENT_1]] == load
    with pytest.raises(ValueError, match='load "heavy"'):
        milliamps(bench_settings(), "heavy")


def test_a_pump_draws_while_its_relay_is_on_and_a_welded_one_always(bench):
    bench.draw_normally()
    bench.ready()
    bench.water("off", "lead")
    on_ms = bench.when("pump_1", 1, 5.0)
    assert bench.read("current_1") > 0
    assert bench.read("current_2") == 0
    assert [edge.ms for edge in bench.kit.edges if edge.wire == "current_1"][-1] == on_ms, "at the same instant"
    bench.water()
    bench.when("pump_1", 0, 60.0)
    assert bench.read("current_1") == 0
    bench.draws(1, "normal", welded=True)
    assert bench.read("current_1") > 0
    bench.when_alarm("pump_1_will_not_stop", bench.setting_s("start_proof") + 1.0)
    assert isinstance(bench.draws_of[1], MotorCurrent)


def test_what_was_seen_instead_is_said(bench):
    bench.draw_normally()
    bench.ready()
    with pytest.raises(Failed, match=r"pump_1 did not turn on within 3 s: outputs on: relay, service, light"):
        bench.when("pump_1", 1, 3.0)
    bench.water("off", "lead")
    seen = r"pump_1 turned on after 1\.\d s, before 5 s: outputs on: pump_1, relay, service, light"
    with pytest.raises(Failed, match=seen):
        bench.stays("pump_1", 0, 5.0)
    with pytest.raises(Failed, match=r"pump_1 is on"):
        bench.stays("pump_1", 0, 5.0)
    with pytest.raises(Failed, match=r'alarm "high_water" is normal after 2 s, .* expected; alarms: none'):
        bench.when_alarm("high_water", 2.0)
    with pytest.raises(Failed, match="none of pump_2, horn turned on within 1 s"):
        bench.when_any(("pump_2", "horn"), 1, 1.0)


def test_an_edge_is_found_though_it_lies_in_the_past(bench):
    bench.draw_normally()
    bench.ready()
    bench.water("off", "lead")
    bench.wait(10.0)
    on_ms = bench.when("pump_1", 1, 1.0)
    assert on_ms - bench.mark_ms < 2000, "the edge behind the last stimulus, not now"
    assert bench.when("pump_1", 1, 1.0, since_ms=bench.mark_ms) == on_ms
    assert bench.edges("pump_1", bench.mark_ms) == [(on_ms, 1)]
    bench.float("off", wet=True)
    assert bench.when("pump_1", 1, 1.0) == bench.now_ms(), "on before this stimulus: it stands so now"


def test_settings_are_changed_for_one_procedure_only(bench):
    before = bench.setting("debounce")
    bench.water("high")
    assert bench.read("high") == 0
    bench.settings(debounce=500, normally_closed=0)
    assert bench.setting("debounce") == 500
    assert bench.client.settings() == bench.values
    assert bench.read("high") == 1, "the float is still wet, which is another circuit now"
    with pytest.raises(InputError, match="the board refuses the settings, nothing is changed: debounce = 1"):
        bench.settings(debounce=1)
    with pytest.raises(InputError, match="unknown setting 'debounse'"):
        bench.settings(debounse=500)
    bench.reset()
    assert bench.setting("debounce") == before
    assert bench.read("high") == 1


@pytest.mark.long
def test_settings_of_a_real_board_are_changed_only_when_allowed_and_put_back(shared, monkeypatch):
    monkeypatch.setattr(VirtualKit, "may_change_settings", False)
    monkeypatch.setattr(VirtualKit, "forgets", False)
    bench = Bench(shared)
    bench.reset()
    # From here on a restart keeps the flash, as a real board's does.
    monkeypatch.setattr(VirtualKit, "cold_start", lambda kit: (kit.power(False), kit.power(True)))
    bench.settings(debounce=bench.setting("debounce"))
    with pytest.raises(Missing, match="debounce = 1000, 500 needed; --allow-settings"):
        bench.settings(debounce=500)
    bench.leave()
    shared.power(True)
    bench = Bench(shared, allow_settings=True)
    bench.reset()
    original = bench.client.settings()
    bench.settings(debounce=500)
    bench.power(False)  # as a procedure leaves it that breaks off in the dark
    bench.restart()
    assert bench.client.settings() == original == bench.values
    bench.settings(debounce=500)
    bench.hang()
    bench.restart()
    assert bench.client.settings() == original
    bench.settings(debounce=500)
    bench.leave()
    assert shared.read("relay") == 0, "without power"
    shared.power(True)
    shared.run_ms(1000)
    assert shared.client().settings() == original


def test_words_that_mean_nothing_are_refused(bench):
    for wrong, words in (
        (lambda: bench.water("lead", "top"), 'no float "top": off, lead, lag, high'),
        (lambda: bench.selector(1, "on"), 'selector "on": auto, off, hand'),
        (lambda: bench.transmitter(), "either level_mm or ma"),
        (lambda: bench.transmitter(level_mm=1, ma=4), "either level_mm or ma"),
        (lambda: bench.alarm("flood"), 'no alarm "flood"'),
        (lambda: bench.value("flow"), 'no register "flow"'),
    ):
        with pytest.raises(InputError, match=words):
            wrong()


def test_a_button_without_a_wire_is_pressed_over_the_link(bench, monkeypatch):
    bench.ready()
    bench.float("high")
    bench.when_alarm("high_water", 3.0)
    monkeypatch.setattr(bench.kit, "wires", bench.kit.wires - {"silence"})
    bench.press("silence")
    assert bench.alarm("high_water") == "acknowledged"
    with pytest.raises(Missing, match='no wire "silence"'):
        bench.press("silence", for_s=3.0)


def test_the_transmitter_speaks_mm_and_ma(bench):
    bench.settings(transmitter=1)
    bench.transmitter(level_mm=250)
    bench.wait(0.3)
    assert bench.value("loop") == 8000
    assert bench.value("level") == 250
    bench.transmitter(ma=21.5)
    bench.wait(3.0)
    assert bench.value("transmitter") == 2
    assert bench.alarm("transmitter_failed") == "unacknowledged"
