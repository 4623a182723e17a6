"""The guide's figures: what follows from data plates, what the drawn circuits make of a signal, and their sources."""

import math
import re
from dataclasses import replace

import pytest

from host_sim.errors import InputError
from host_sim.guide import figures, trials, words
from tests.guides import bare, demo, drawings, html_of, lines, subject

pytest.importorskip("schemdraw")


# Worked by hand: 8 A takes a conductor for 10 A, at most 250 % = 20 A; 20 A in direct current 25 to 30 A.
def test_the_power_side_follows_from_the_data_plates():
    one, two = figures.motors(demo())
    assert (one.direct, one.rated_a, one.locked_a, one.category) == (False, 8, 40, "AC-3")
    assert (one.breaker_a, one.awg, one.contactor_a) == (20, 12, 12)
    assert (two.direct, two.rated_a, two.locked_a, two.category) == (True, 20, 100, "DC-3")
    assert (two.breaker_a, two.awg, two.contactor_a) == (30, 10, 25)
    for motor in (one, two):
        makes = 4 if motor.direct else 10
        assert motor.contactor_a * makes >= motor.locked_a and motor.contactor_a >= motor.conductor_a
        assert motor.sensor.range_a >= motor.sensor.locked_a, "a locked rotor lies within the range"


def rectified_v(sensor, amps):
    """What the drawn circuit makes of a sine, by its parts: burden, both halves up, mean, last amplifier on 3.3 V."""
    drawn = figures.rectifier(sensor)
    n = 20_000
    wave = [abs(math.sin(2 * math.pi * k / n)) for k in range(n)]
    mean = 2**0.5 * amps / sensor.ratio * sensor.burden_ohm * sum(wave) / n
    return min(3.3, mean * (1 + drawn.feedback_kohm / figures.GROUND_KOHM))


def test_the_drawn_rectifier_makes_of_the_range_3v3_and_of_half_of_it_half():
    sensor = figures.motors(demo())[0].sensor
    assert rectified_v(sensor, sensor.range_a / 2) == pytest.approx(1.65, rel=0.01)
    assert rectified_v(sensor, 0.98 * sensor.range_a) == pytest.approx(0.98 * 3.3, rel=0.01)
    assert rectified_v(sensor, 3 * sensor.range_a) == 3.3, "it ends at its supply"
    text = drawings("pico", True)["circuits C, L, B, S: measuring and serial"]
    assert f"{figures.rectifier(sensor).feedback_kohm:g} kohm 1 %" in text


# The E96 series holds 2.67 and 3.16 (IEC 60063).
@pytest.mark.parametrize(("gain", "kohm"), [(3.7024, 26.7), (1.32, 3.16), (44.0, 432.0)])
def test_an_amplifiers_resistor_is_the_nearest_of_its_series(gain, kohm):
    found = figures.amplifier(gain)
    assert found.feedback_kohm == pytest.approx(kohm)
    assert 1 + found.feedback_kohm / figures.GROUND_KOHM == pytest.approx(gain, rel=0.01)


def test_figures_of_the_circuits():
    # (12 - 1.2) / 2200 = 4.909 mA; 3.3 / 3300 = 1 mA; 11 kohm x 100 nF = 1.1 ms.
    assert figures.field_ma() == pytest.approx(4.909, abs=0.001)
    assert figures.field_ma(figures.LONGEST_M) >= 2.0, "IEC 61131-2: 2 mA while on, at the end of the longest cable"
    assert figures.panel_ma() == pytest.approx(1.0)
    assert figures.filter_ms(figures.PULL_OHM) == pytest.approx(1.1)
    # 100 Ah / 1.25, half of it, at the current at rest: no more than is stored.
    kept = figures.reserve(demo())
    assert kept.shared and kept.hours == pytest.approx(100 / 1.25 * 0.5 / kept.rest_a, rel=1e-6)
    assert 0.15 < kept.rest_a < 0.25


def test_a_motor_beyond_the_tables_is_refused_in_words():
    pump = demo().pumps[0]
    with pytest.raises(InputError, match="an electrician sizes it"):
        figures.motor(1, replace(pump, motor=replace(pump.motor, rated_a=80.0)), 200_000)


def test_every_figure_and_rule_bears_its_source():
    for row in (*words.ALLOWED, *words.POWER, *words.LOW, *words.ENCLOSURE):
        assert row[-1].strip(), row
    for what, value, worked, source in figures.rows(subject("pico", True, name="loop")):
        assert value and worked and source, what
    text = html_of("pico", True)
    for words_ in ("Shock:", "Drowning:", "Battery gas:", "Flood:", "Generator exhaust:", "Licensed electrician",
                   "NFPA 70 (NEC) 430.102(B)", "IEC 60947-4-1", "common practice, no source",
                   "19200 baud, even parity"):  # fmt: skip
        assert words_ in text, words_
    assert "NAMUR NE 43" in html_of("pico", True, name="loop")


# NFPA 70 430.52 as quoted: 250 % of full load, or the next standard size.  10 A: 12.5 to 25 A, 16 A: 20 to 40 A, of
# which 20 A can be had with GFCI receptacle and plug; 17 A at 230 V: 21.25 to 42.5 A.
@pytest.mark.parametrize(("rated", "volts", "breaker", "awg", "guard"), [
    (4.0, 115.0, 15, 14, "GFCI receptacle, 15 A"), (10.0, 115.0, 20, 12, "GFCI receptacle, 20 A"),
    (16.0, 115.0, 20, 12, "GFCI receptacle, 20 A"), (17.0, 230.0, 40, 8, "two-pole breaker CB1 with GFCI, 40 A"),
    (8.0, 230.0, 20, 12, "two-pole breaker CB1 with GFCI, 20 A"), (17.0, 115.0, 40, 8, "breaker CB1 with GFCI, 40 A"),
])  # fmt: skip
def test_breaker_and_ground_fault_device_are_such_as_can_be_had(rated, volts, breaker, awg, guard):
    pump = demo().pumps[0]
    one = figures.motor(1, replace(pump, motor=replace(pump.motor, rated_a=rated, volts=volts)), 200_000)
    assert (one.breaker_a, one.awg) == (breaker, awg) and figures.guard(one).startswith(guard)
    assert breaker in figures.BREAKERS_A and one.conductor_a <= breaker
    assert one.plugs == (breaker <= 20) and one.two_poles == (volts > 200)


def test_a_charger_has_a_fuse_of_its_own_size():
    # 125 % of the demo's 10 A: 12.5, the next size 15; of 20 % of 7 Ah: 1.75, the least size 5.
    assert subject("pico", True).charger_fuse_a == 15 and subject("pico", True, name="lines").charger_fuse_a == 5


def test_the_known_values_reach_a_third_of_the_range_with_the_loads_named():
    # Demo: 30 A AC takes 12 A as 1.2 A tenfold; 75 A DC takes 26.25 A, six turns of 5 A.
    demo_, both = subject("pico", True), subject("pico", True, name="lines")
    assert trials.load_a(demo_.motors[:1]) == 1.2 and trials.turns(demo_.motors[1].sensor) == 6
    assert trials.load_a(both.motors) == 3.0, "40 % of 75 A, tenfold"
    for what in (demo_, both):
        said = " ".join(trials.ways(what))
        for one in what.motors:
            reached = [float(amps) for amps in re.findall(r"([\d.]+) A(?=$| DC| Loop| Battery)", said)]
            assert max(reached) >= one.sensor.range_a / 3
    # 24 V through 1.8 kohm and the shunt of 150 ohm: 12.3 mA.
    assert "12.3 mA" in " ".join(trials.ways(both)) and not any("Loop" in way for way in trials.ways(demo_))
    assert trials.gear(subject("pico", True, name="bare")) .startswith("multimeter; soldering iron; bucket of water; ")
    assert not any(word in trials.gear(subject("pico", True, name="bare")) for word in ("clamp", "lamp", "kohm"))


def test_two_motors_are_read_from_the_site_and_none_is_sensed_where_it_says_so():
    assert all(one.sensor is None for one in figures.motors(bare()))
    assert [one.volts for one in figures.motors(lines())] == [115.0, 230.0]
