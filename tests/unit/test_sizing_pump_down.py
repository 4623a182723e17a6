"""A pump-down test: which pump ran, a fall that no pump can make, a difference too small to tell."""

import pytest

from host_sim.errors import InputError
from host_sim.sizing.limits import GPM
from host_sim.sizing.model import size
from host_sim.sizing.remarks.raised import raised
from host_sim.sizing.say import Say
from tests.sizing_sites import sound

WEAK = [["0 gpm", "18 ft"], ["20 gpm", "10 ft"], ["30 gpm", "0 ft"]]


def unequal(**test):
    plain = {"kind": "pump-down test", "falls": "5 in", "in": "60 s", "from": "20 in", "weather": "wettest"}
    return sound(pump2__supply="battery", pump2__volts="12 V", pump2__curve=WEAK, sizing__evidence=[{**plain, **test}])


def measured_gpm(**test):
    return size(unequal(**test)).design.estimates[0].measured_m3s / GPM


def test_the_pump_that_ran_decides_and_where_nobody_said_the_stronger_one_is_assumed():
    strong, weak, both = (measured_gpm(ran=ran) for ran in ("pump 1", "pump 2", "both"))
    assert weak < strong < both
    result = size(unequal())
    assert result.design.estimates[0].measured_m3s / GPM == pytest.approx(strong)
    told = {item.key: item.taken for item in result.inputs.assumptions}
    assert told["sizing.evidence[1].ran"] == "the stronger"
    assert not any(item.key.endswith(".ran") for item in size(unequal(ran="pump 1")).inputs.assumptions)


def test_a_fall_that_no_pump_can_make_is_refused_with_what_is_possible():
    with pytest.raises(InputError) as caught:
        size(unequal(falls="20 in", **{"in": "20 s"}))
    said = "; ".join(caught.value.problems)
    assert "takes 184" in said and "the pump moves" in said and "ran = pump 1" in said


def test_a_small_difference_of_two_large_figures_is_remarked_with_its_bounds_and_a_fix():
    # Pump 2 moves some 20 gpm; in a pit 30 in wide 6 in in 60 s are 18 gpm of it.
    result = size(unequal(ran="pump 2", falls="6 in"))
    item = next(i for i in raised(result, Say("us")) if i.remark.name == "small_difference")
    assert " to " in item.reason and item.cures and all(cure.measures for cure in item.cures)
    assert not any(i.remark.name == "small_difference" for i in raised(size(unequal(ran="both")), Say("us"), False))
