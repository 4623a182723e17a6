"""The sizing's tables against the published ones: motor starts, cable ampacity, fuses, wire, battery gas, cold."""

from math import pi

import pytest

from host_sim.sizing import battery, limits, pipes


# Source: NEMA MG 10-2001, table 2-3, designs A and B: most starts per hour (A) and least rest in s (C), by poles.
@pytest.mark.parametrize(
    ("hp", "starts", "rests"),
    [(1.0, (15, 30, 34), (75, 38, 33)), (1.5, (12.9, 25.7, 29.1), (76, 38, 34)), (2.0, (11.5, 23, 26.1), (77, 39, 35))],
)
def test_starts_of_three_phase_motors(hp, starts, rests):
    found = [limits.NEMA_STARTS[hp, poles] for poles in (2, 4, 6)]
    assert found == list(zip(starts, rests, strict=True))
    # What is taken for a small single-phase motor of unknown plate is below all of them.
    assert limits.limit("starts") < min(most for most, _ in limits.NEMA_STARTS.values())


# Source: NEC (NFPA 70) 2023, Table 310.16, copper, 60 C column, from memory (sizes 10 to 2 also seen as quoted from an
# earlier edition's Table 310-16): not more than three current-carrying conductors, 30 C around.
@pytest.mark.parametrize(
    ("gauge", "amps"), [(14, 15), (12, 20), (10, 30), (8, 40), (6, 55), (4, 70), (2, 95), (0, 125)]
)
def test_ampacity_of_copper(gauge, amps):
    assert limits.AMPACITY[gauge] == amps
    assert "310.16" in limits.AMPACITY_SOURCE and "310.17" not in limits.AMPACITY_SOURCE


# Source: NEC (NFPA 70) 2023, 240.6(A), from memory: the standard ratings up to 200 A.
def test_standard_ratings_of_fuses():
    standard = "15 20 25 30 35 40 45 50 60 70 80 90 100 110 125 150 175 200"
    assert [f"{size:g}" for size in limits.FUSES_A] == standard.split()


# Source: ASTM B258: the areas of American wire gauges in mm2.
@pytest.mark.parametrize(("gauge", "mm2"), [(14, 2.081), (10, 5.261), (6, 13.30), (2, 33.63), (0, 53.49)])
def test_wire_areas(gauge, mm2):
    assert limits.awg_area_m2(gauge) * 1e6 == pytest.approx(mm2, rel=1e-3)


# Source: IEC 62485-2:2010, 7.2 (as quoted in the trade): Q = 0.05 n Igas C / 1000 in m3/h; Igas on boost charge, its
# table 1, 20 mA/Ah vented, 8 mA/Ah valve-regulated.
@pytest.mark.parametrize(
    ("amp_hours", "cells", "chemistry", "m3_h"),
    [(100, 6, "flooded", 0.60), (100, 6, "AGM", 0.24), (200, 12, "flooded", 2.40), (100, 6, "lithium", 0.0)],
)
def test_fresh_air_of_a_charging_battery(amp_hours, cells, chemistry, m3_h):
    assert battery.gas_m3s(amp_hours * 3600.0, chemistry, cells) * 3600.0 == pytest.approx(m3_h, abs=1e-9)


# Source: Faraday's law: 1 Ah sets 3600/96485/2 mol of hydrogen free, 22.414 L a mol at 0 C; kept below 4 %, five times.
def test_the_rule_s_factor_is_faraday_s():
    litres = 3600.0 / 96485.0 / 2.0 * 22.414
    assert litres == pytest.approx(0.42, abs=0.005)
    dilution = (100.0 - 4.0) / 4.0
    assert dilution * litres * 1e-3 * 5.0 == pytest.approx(0.05, rel=0.01)


# Source: IEC 62485-2:2010, 7.3 (as quoted in the trade): A = 28 Q, in cm2 and m3/h, air at 0.1 m/s.
def test_free_area_of_the_vents():
    assert battery.vent_m2(0.6 / 3600.0) * 1e4 == pytest.approx(28 * 0.6)
    assert pytest.approx(28, rel=0.01) == 1.0 / 3600.0 / 0.1 * 1e4


# Source: IEEE 485-2020, table 1, from memory: a lead-acid cell at 45 F (7.2 C) is sized 1.25 times, at 77 F once.
def test_a_cold_battery_holds_less():
    assert limits.COLD["unheated"] == pytest.approx(1.0 / 1.25)
    assert limits.COLD["heated"] == 1.0
    assert limits.COLD["freezing"] < 1.0 / 1.52  # at 25 F, the lowest that the table has
    assert limits.limit("ageing") == 1.25


# Source: Ohm's law with the resistivity of annealed copper, IEC 60028: 1000 ft of 10 AWG is 0.9989 ohm at 20 C (ASTM
# B258).
def test_the_drop_of_a_cable():
    assert battery.drop_v(10.0, 304.8 / 2.0, 10) == pytest.approx(9.989, rel=2e-3)
    assert limits.RESISTIVITY * 304.8 / (pi / 4 * 2.588e-3**2) == pytest.approx(0.9989, rel=3e-3)


# Source: ASTM D1785, X1: rated pressure 2 S t / (D - t) of PVC 1120, S 2000 psi, to 10 psi; least walls of schedule 40
# and 80, and outside diameters, from its tables 1 and 2.
@pytest.mark.parametrize(
    ("nominal", "outside", "wall_40", "wall_80"),
    [(1.0, 1.315, 0.133, 0.179), (1.25, 1.660, 0.140, 0.191), (1.5, 1.900, 0.145, 0.200), (2.0, 2.375, 0.154, 0.218),
     (2.5, 2.875, 0.203, 0.276), (3.0, 3.500, 0.216, 0.300), (4.0, 4.500, 0.237, 0.337)],
)  # fmt: skip
def test_rated_pressure_and_bore_of_pvc_pipe(nominal, outside, wall_40, wall_80):
    for schedule, wall in ((40, wall_40), (80, wall_80)):
        held, holds, source = pipes.rated(f"PVC schedule {schedule}", nominal)
        assert held / limits.PSI == pytest.approx(2 * 2000 * wall / (outside - wall), abs=7)
        assert holds == "at 73 F" and source == "ASTM D1785"
    assert pipes.bore_m(nominal, "PVC schedule 80") / limits.INCH == pytest.approx(outside - 2 * wall_80, abs=1e-3)


# Source: Copper Tube Handbook, table 3c, type M, annealed, 100 F: 2 S t / (D - 0.8 t) with S 6000 psi, least wall and
# largest outside diameter of ASTM B88, table 1 (from memory).
@pytest.mark.parametrize(
    ("nominal", "psi", "outside", "wall"),
    [(1.25, 338, 1.375, 0.042), (1.5, 331, 1.625, 0.049), (2.0, 299, 2.125, 0.058), (3.0, 253, 3.125, 0.072)],
)
def test_rated_pressure_of_copper_tube(nominal, psi, outside, wall):
    assert pipes.rated("copper", nominal)[0] / limits.PSI == pytest.approx(psi)
    assert psi == pytest.approx(2 * 6000 * wall / (outside - 0.8 * wall), rel=0.12)


# Source: the steel pipe data that HVAC handbooks print for ASTM A53 grade B, schedule 40: working pressure of threaded
# joints to 2 in, of welded ones above, psig.
@pytest.mark.parametrize(("nominal", "psi"), [(1.0, 226), (1.25, 229), (1.5, 231), (2.0, 230), (3.0, 482)])
def test_rated_pressure_of_steel_pipe(nominal, psi):
    assert pipes.rated("galvanized steel", nominal)[0] / limits.PSI == pytest.approx(psi)


# Source: ASTM D2239, X1: 2 S / (SIDR + 1), S 800 psi, from memory.
def test_polyethylene_is_bought_by_its_ratio():
    for sidr, psi in pipes.POLYETHYLENE_PSI.items():
        assert psi == pytest.approx(2 * 800 / (sidr + 1), rel=0.03)
    assert pipes.polyethylene(81 * limits.PSI) == (15.0, 100 * limits.PSI)
    assert pipes.polyethylene(201 * limits.PSI) is None and pipes.rated("polyethylene pressure", 1.5) is None
