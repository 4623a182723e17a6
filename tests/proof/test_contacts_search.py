"""One contact through every pattern of ten ticks, for each of the four: the quick judge of `contacts.py`."""

import pytest
from duplexsump.control.contacts import Chatter
from duplexsump.control.ticks import NEVER

from host_sim.proof.search import explorer
from host_sim.proof.search.part_contacts import ContactsPart
from tests.rig import Rig


@pytest.mark.parametrize("i", range(4))
def test_l1_one_contact_in_every_state_it_can_reach(i):
    result, _graph = explorer.explore(ContactsPart((i,), 3, 10))
    assert result.broken is None, result.broken
    assert result.exhausted
    assert result.states == 4177  # 2 readings x what ten ticks can hold: a search gone blind would find fewer


def test_l1_debounce_of_all_four_in_every_state_they_can_reach():
    result, _graph = explorer.explore(ContactsPart((0, 1, 2, 3), 2, 10, chatter=False))
    assert result.broken is None, result.broken
    assert result.exhausted
    assert result.states == 6**4


def test_a_new_chatter_limit_has_seen_nothing():
    chatter = Chatter(None)
    assert (chatter.seen, chatter.mask) == (0, 0)
    assert chatter.changes == [NEVER] * 20
    assert chatter.steady == [NEVER] * 4


@pytest.mark.parametrize("name", ["off", "lead", "lag", "high"])
def test_i10_a_chattering_contact_gives_the_same_snapshots_stepped_by_due_instants_or_every_tick(name):
    def night(ticking):
        rig = Rig(ticking=ticking)
        for k in range(100):  # longer than the minute after which it is told
            rig.at(80.0 + 0.7 * k + (0.2 if k % 3 else 0.0), **{name: k % 2 == 0})
        seen = []
        for _ in range(20):
            rig.run(10.0)
            seen.append(rig.c.snapshot())
        assert rig.raised("chattering")
        return seen

    assert night(ticking=False) == night(ticking=True)


def test_l1_a_power_up_forgets_what_chattered_in_the_life_before():
    rig = Rig()
    for k in range(10):
        rig.at(80.0 + 0.5 * k, lead=k % 2 == 0)
    rig.run(86.0)
    assert rig.c.chatter.mask
    rig.c.chatter.begin(0)
    assert rig.c.chatter.mask == 0
    assert rig.c.chatter.seen == 0
    assert set(rig.c.chatter.changes) == {NEVER}
    assert set(rig.c.chatter.steady) == {NEVER}
