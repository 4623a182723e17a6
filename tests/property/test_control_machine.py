"""The controller as a state machine that hypothesis drives: any rule at any time, the invariants after each."""

from hypothesis import settings as how
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from tests.judge.watch import watch
from tests.property.examples import in_proportion
from tests.property.machine_monitors import Invariants
from tests.property.machine_script import KINDS, WATER, act
from tests.rig import Rig

PUMPS = st.sampled_from((1, 2))


class DuplexPit(RuleBasedStateMachine):
    """A rig whose inputs move one at a time, as people, water and faults move them."""

    @initialize(
        sensing=st.sampled_from((0, 1, 2)),
        duty=st.sampled_from((0, 1, 2)),
        fitted=st.sampled_from((15, 14, 11)),
        supplies=st.sampled_from(((0, 0), (0, 1), (2, 2), (1, 2))),
        retries=st.integers(1, 3),
    )
    def build(self, sensing, duty, fitted, supplies, retries):
        fitted |= 1 if sensing != 2 else 0  # without off and without a current the settings are refused
        self.rig = Rig(sensing=sensing, duty=duty, fitted=fitted, supply_1=supplies[0], supply_2=supplies[1],
                       retries=retries, boot=False)
        self.watched = Invariants(self.rig)
        self.judges = watch(self.rig)
        self.rig.power_up()

    def turn(self, kind, value):
        """One change of an input, seen at the next tick."""
        self.rig.at(self.rig.t + 0.1, lambda rig: act(rig, kind, value))
        self.rig.run(0.1)

    @rule(step=st.integers(0, 4), seconds=st.sampled_from((0.5, 1.0, 3.0, 10.0)))
    def water(self, step, seconds):
        self.turn("water", WATER[step])
        self.rig.run(seconds)

    @rule(word=st.integers(0, 15))
    def contacts(self, word):
        self.turn("contacts", word)

    @rule(seconds=st.sampled_from((0.1, 1.0, 5.0, 21.0, 60.0, 130.0, 610.0, 3700.0)))
    def wait(self, seconds):
        self.rig.run(seconds)

    @rule(n=PUMPS, where=st.sampled_from(KINDS["selector_1"]))
    def selector(self, n, where):
        self.turn(f"selector_{n}", where)

    @rule(n=PUMPS, band=st.sampled_from(KINDS["load_1"]))
    def load(self, n, band):
        self.turn(f"load_{n}", band)

    @rule(n=PUMPS, band=st.sampled_from(KINDS["weld_1"]))
    def weld(self, n, band):
        self.turn(f"weld_{n}", band)

    @rule(n=PUMPS, opened=st.integers(0, 1))
    def thermal(self, n, opened):
        self.turn(f"thermal_{n}", opened)

    @rule(present=st.integers(0, 1), band=st.sampled_from(KINDS["battery"]))
    def supply(self, present, band):
        self.turn("mains", present)
        self.turn("battery", band)

    @rule(button=st.sampled_from(("silence", "reset")))
    def press(self, button):
        self.turn(button, 1)
        self.turn(button, 0)

    @rule(dark=st.sampled_from((0.5, 5.0)))
    def cut_power(self, dark):
        self.rig.script.clear()
        self.rig.power_cut(dark)

    @invariant()
    def nothing_is_wrong(self):
        if hasattr(self, "rig"):
            self.watched.check()
            self.judges.check()


TestDuplexPit = DuplexPit.TestCase
TestDuplexPit.settings = how(max_examples=in_proportion(25), stateful_step_count=30)
