"""Hand mutants: rewritten lines of the core are read with care, and really are in the function when switched on."""

import pytest

from host_sim.errors import InputError
from host_sim.proof.mutants import hand_mutants
from host_sim.proof.mutants.mutations import Source

ROW = """
[[hand_mutant]]
module = "{module}"
function = "{function}"
line = "{line}"
becomes = "self.failures = 7"
what = "invented"
"""
GOOD = {"module": "pump", "function": "Pump.release", "line": "self.failures = failures"}


def test_every_hand_mutant_that_is_kept_changes_its_function():
    found = hand_mutants.packaged()
    assert len(found) >= 10
    assert len({mutant.module for mutant in found}) >= 8
    for mutant in found:
        core = Source(mutant.module)
        assert core.code(mutant) != core.compiled(mutant.function), mutant
        assert core.compiled(mutant.function) == core.compiled(mutant.function)


def test_a_hand_mutant_switched_on_is_what_runs_until_it_is_switched_off():
    from duplexsump.control.pump import LOCKED, Pump
    from duplexsump.control.settings import defaults
    from duplexsump.control.timers import Timers

    (mutant,) = hand_mutants.read(ROW.format(**GOOD))
    pump = Pump(0, defaults(), Timers())
    switch_off = Source("pump").switch_on(mutant)
    try:
        pump.state = LOCKED
        pump.release()
        assert pump.failures == 7
    finally:
        switch_off()
    pump.state = LOCKED
    pump.release()
    assert pump.failures == 0
    assert str(mutant).startswith("pump.py:") and "invented" in str(mutant)


@pytest.mark.parametrize(("change", "said"), [
    ({"module": "pumps"}, 'module "pumps": there are ticks, timers'),
    ({"function": "Pump.relase"}, "pump has no function Pump.relase"),
    ({"line": "self.failures = 1"}, "stands there 0 times, not once"),
])  # fmt: skip
def test_a_row_that_names_nothing_is_refused_by_what_is_wrong_with_it(change, said):
    with pytest.raises(InputError, match=said):
        hand_mutants.read(ROW.format(**{**GOOD, **change}))


def test_a_row_that_lacks_something_is_refused():
    with pytest.raises(InputError, match="a hand mutant lacks becomes, line"):
        hand_mutants.read('[[hand_mutant]]\nmodule = "pump"\nfunction = "Pump.release"\nwhat = "invented"\n')
