"""The fuse in a battery pump's lead is pulled and put back with the pump stopped: under load it sparks."""

from unittest.mock import MagicMock

import pytest
from duplexsump.control import settings as s

from hil.commission import supply


def acts(kind):
    """Return what the step has done for pump 2 on a supply, in order: the keys, and each pair of selectors."""
    told, context = [], MagicMock()
    context.board.setting.side_effect = lambda name: {"sensing": s.SENSE_CURRENT, "supply_2": kind}[name]
    context.board.values = {"pump_2_cause": 1}
    context.do.side_effect = lambda key, text: told.append((key, text))
    context.selectors.side_effect = lambda *places: told.append(("selectors", places)) or True
    context.until.return_value = True
    supply._trip(1)(context)
    return told


def test_a_battery_pump_is_stopped_before_its_fuse_is_pulled_and_before_it_goes_back():
    told = acts(s.BATTERY)
    keys = [key for key, _ in told]
    for act in ("trip_2", "untrip_2"):
        assert told[keys.index(act) - 1] == ("selectors", ("auto", "off"))
    said = dict(told)["trip_2"]
    assert "selector at OFF" in said and "fresh air" in said
    # In between it is asked to run, or the controller would have nothing to name.
    between = told[keys.index("trip_2") + 1:keys.index("untrip_2")]  # fmt: skip
    assert ("selectors", ("auto", "hand")) in between


@pytest.mark.parametrize("kind", [s.MAINS, s.EITHER])
def test_a_pump_with_a_plug_or_a_breaker_is_cut_off_while_it_runs(kind):
    told = acts(kind)
    place = [key for key, _ in told].index("trip_2")
    assert told[place - 1] == ("selectors", ("auto", "hand"))
