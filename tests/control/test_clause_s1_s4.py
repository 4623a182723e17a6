"""S1 to S4: rest, spacing, shortest run and power-up.  Each test is one claim of the narrative, in numbers."""

import pytest

from tests.control.clause_bench import locked_out, near, pump_1_only
from tests.rig import Rig, ready

# S1 ------------------------------------------------------------------------------------------------


def test_s1_min_off_after_a_stop():
    rig = pump_1_only()
    rig.set(selector_1="hand").run(20)
    rig.set(selector_1="auto")
    stop = rig.stops(1)[-1]
    rig.set(selector_1="hand").run(100)
    assert rig.starts(1)[-1] == near(stop + 60)


@pytest.mark.parametrize(("wet", "rest"), [
    (("off", "lead"), 20), (("off", "lead", "lag"), 10), (("lag",), 10), (("off", "lead", "lag", "high"), 10),
    (("high",), 10),
])
def test_s1_the_rest_shrinks_as_the_water_rises(wet, rest):
    rig = pump_1_only()
    rig.set(off=1).run(3).set(lead=1).run(20)
    rig.set(lead=0).run(3).set(off=0).run(1)
    stop = rig.stops(1)[-1]
    rig.fill(*wet, gap_s=2.2).run(70)
    assert rig.starts(1, since=stop)[0] == near(stop + rest)


def test_s1_a_high_that_is_not_believed_still_shortens_the_rest():
    rig = ready()
    rig.set(high=1).run(180)
    assert rig.suspects() == {"high"}
    rig.run_until(lambda rig: rig.pumps_on() == (0, 0) and rig.t > 300, 600)  # L6's rest of 5 min has begun
    rig.run(70).set(selector_2="off", selector_1="hand").run(20)
    rig.set(selector_1="off")
    stop = rig.t
    rig.run(1).set(selector_1="hand").run(30)
    assert rig.starts(1)[-1] == near(stop + 10)


def test_s1_the_rests_are_settings():
    rig = pump_1_only(min_off=120_000, lag_min_off=45_000, flood_min_off=15_000)
    rig.set(off=1).run(60).set(lead=1).run(20)
    rig.set(lead=0).run(3).set(off=0).run(1)
    stop = rig.stops(1)[-1]
    rig.fill("off", "lead").run(70)
    assert rig.starts(1)[-1] == near(stop + 45)


# S2 ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("generator", "spacing"), [(0, 3.0), (1, 10.0)])
def test_s2_starts_keep_their_spacing(generator, spacing):
    rig = ready().set(generator=generator)
    rig.fill("off", "lead").run(30)
    rig.drain("lead", "off").run(70)
    at = rig.t
    rig.set(off=1).run(3).set(lead=1).run(1).set(high=1).run(30)
    (first, _), (second, _) = [entry for entry in rig.all_starts() if entry[0] > at]
    assert second - first == near(spacing)


# S3 ------------------------------------------------------------------------------------------------


def test_s3_a_pump_runs_at_least_min_run():
    rig = ready(min_run=8000)
    rig.fill("off").set(lead=1).run(1.2).set(lead=0).run(2.2).set(off=0).run(20)
    (start, stop), = rig.runs(1)
    assert stop - start == near(8.0)


def test_s3_selector_off_ends_a_run_at_once():
    rig = ready()
    rig.fill("off").set(lead=1).run(2)
    rig.set(selector_1="off")
    assert rig.pumps_on()[0] == 0


# S4 ------------------------------------------------------------------------------------------------


def boot_with(*wet, **overrides):
    rig = Rig(boot=False, **overrides)
    rig.apply(dict.fromkeys(wet, 1))
    rig.power_up()
    return rig


def test_s4_outputs_stay_off_for_boot_hold():
    rig = boot_with("off", "lead", "lag", "high").run(30)
    assert rig.all_starts()[0][0] == near(10.0)


def test_s4_both_pumps_count_as_just_stopped():
    rig = boot_with("off", "lead").run(60)
    assert rig.all_starts()[0][0] == near(20.0)  # lead wet, no pump running: lag_min_off
    hand = boot_with().set(selector_1="hand").run(100)
    assert hand.starts(1)[0] == near(60.0)


@pytest.mark.parametrize("contact", ["lead", "lag", "high"])
def test_s4_the_hold_is_the_same_however_often_the_power_comes_back(contact):
    rig = boot_with("off", contact, lag_min_off=5000, flood_min_off=4000)
    for _ in range(4):
        rig.run(45).power_cut()
        up = rig.t
        rig.run(15)
        assert [t for t, _ in rig.all_starts() if t >= up][0] - up == near(10)


def test_s4_a_locked_out_pump_gets_one_try_after_power_up():
    rig = locked_out()
    rig.run(20).power_cut()
    up = rig.t
    rig.run(4 * 3600)
    assert len(rig.starts(1, since=up)) == 1
