"""J3 in a simulated pit: what the controller's registers say of inflow and pump rate is what flows."""

import pytest

from host_sim.run.closed_loop import Night
from host_sim.run.controllers import Duplex
from host_sim.site.load import read_site
from tests.plant_sites import CONTACTS, DISCHARGE, GPM, PIT, PUMP, SCENARIO

ML_MIN = 60e6  # of a m3/s


def after(gpm, contacts=CONTACTS, hours=2):
    """Return (history, totals) of a pit with a constant inflow."""
    inflow = f'[[inflow]]\nkind = "constant"\nrate = "{gpm} gpm"\n'
    text = PIT + contacts + PUMP + DISCHARGE + inflow + SCENARIO.replace("20 min", f"{hours} h")
    site = read_site('name = "registers (invented)"\n' + text)
    work = Night(site, site.seed, Duplex(site), [])
    trace = work.run(False, None)
    return work.control.controller.history, trace.totals


@pytest.mark.parametrize("gpm", [4, 10, 18])
def test_j3_the_inflow_register_is_the_inflow(gpm):
    history, _ = after(gpm)
    assert history.inflow_ml_min == pytest.approx(gpm * GPM * ML_MIN, rel=0.03)


def test_j3_the_pump_rate_register_is_what_the_pumps_moved_in_their_run_time():
    history, totals = after(10)
    moved_m3 = 10 * GPM * 7200  # what came in, give or take one draw-down of the pit
    rate = moved_m3 / sum(history.run_s) * ML_MIN
    assert sum(totals.starts) > 20
    for n in range(2):
        assert history.rate_ml_min[n] == pytest.approx(rate, rel=0.05)


def test_j3_floats_that_differ_by_more_or_less_between_wet_and_dry_share_the_error():
    wide = CONTACTS.replace('wet_at = "14 in", dry_at = "13 in"', 'wet_at = "14 in", dry_at = "12 in"')
    history, _ = after(10, wide)
    assert history.inflow_ml_min == pytest.approx(10 * GPM * ML_MIN, rel=0.10)
