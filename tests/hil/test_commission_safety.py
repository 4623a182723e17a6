"""Before every step of the hose test that touches water, a float or a pump: pumps proved dead, or it is said that they
will start.  What the simulated pumps could do at that moment is looked up in the pit, not taken from the words.
"""

import re

import pytest

from hil.commission import expected_values, simulated
from hil.commission.dialogue import STEPS, HoseTest
from hil.commission.pit_person import PitPerson
from hil.commission.pump_power import PROVED_DEAD, WILL_START
from hil.commission.simulated import LoopClock
from hil.commission.step import PUMPS_DEAD, PUMPS_LIVE
from hil.commission.watch import Board
from hil.kits.virtual import VirtualKit
from hil.record.items import ITEMS
from hil.rehearsal.pit_in_loop import PitInLoop
from host_sim.plant.fault_state import AS_IS
from host_sim.report.prompt import StoppedError
from host_sim.sizing.say import Say
from tests.micropython.places import micropython

HANDS_IN = re.compile(r"lift_|lower_|let_go_|valve_")
AT_LIVE_PUMPS = re.compile(
    r"hose_on|meters|look|stand_by_switch|cut|restore|trip_|untrip_|jumper_out|check_|volts_|leaks|outlet|left_"
)
STEP = re.compile(r"\d+ of \d+\.  (.*)")


class Watched(PitPerson):
    """Keeps at each act and question: (step, key, both pumps unplugged, texts said since the step began).

    `skips` are titles of steps of which everything is skipped, `leaves` a
    question at which it stops, `forgets` how often it says that it has unplugged
    the pumps and has not.
    """

    def __init__(self, pit, jumper, skips=(), leaves="", forgets=0):
        super().__init__(pit, jumper=jumper)
        self.skips, self.leaves, self.forgets = skips, leaves, forgets
        self.step, self.said, self.acts = "", [], []
        self.answers["go_on"] = "yes"

    def say(self, text):
        found = STEP.fullmatch(text)
        if found:
            self.step, self.said = found[1], []
        self.said.append(text)
        super().say(text)

    def unplugged(self):
        return all(pump.breaker_open for pump in self.pit.plant.fault_state.pumps)

    def _note(self, key):
        self.acts.append((self.step, key, self.unplugged(), list(self.said)))

    def does(self, key):
        self._note(key)
        if key == "unplug" and self.forgets:
            self.forgets -= 1
            return
        if self.step not in self.skips:
            super().does(key)

    def read(self, key, prompt):
        if key == self.leaves:
            return "stop"
        if self.step in self.skips:
            return "skip not today"
        self._note(key)
        return super().read(key, prompt)

    def poll(self):
        super().poll()
        return "skip not today" if self.step in self.skips else None


class Pit:
    """One virtual board in one pit, for several hose tests one after another."""

    def __init__(self, folder):
        micropython()
        self.folder, self.site = folder, simulated.site()

    def __enter__(self):
        self.kit = VirtualKit(settings=self.site.settings)
        self.kit.reset()
        self.loop = PitInLoop(self.kit, self.site)
        return self

    def __exit__(self, *_):
        self.kit.close()

    def go_through(self, keys, kind=Watched, **person):
        """Carry some steps out, going on with what was kept; return the person, of a `kind` of Watched."""
        who = kind(self.loop.pit, lambda made: self.kit.drive("jumper", int(made)), **person)
        board = Board(self.kit.client, LoopClock(self.loop))
        board.open()
        expected = expected_values.read(self.site.path, board.settings)
        test = HoseTest(board, who, expected, Say("us"), self.folder / "r.json")
        test.steps = tuple(step for step in STEPS if step.key in keys)
        test.recall()
        try:
            test.run()
        except StoppedError:
            who.say("stopped")
        who.items = test.items()
        return who


def must_be_safe(person):
    """Hold every act and question of a person to what was said, and to what the pumps could do."""
    touched = 0
    for step, key, unplugged, said in person.acts:
        if HANDS_IN.match(key):
            touched += 1
            assert unplugged, f"{step}: {key} with a pump plugged in, after {said}"
            assert any(PROVED_DEAD in text for text in said), f"{step}: {key} after {said}"
        elif AT_LIVE_PUMPS.match(key):
            touched += 1
            assert any(WILL_START in text for text in said), f"{step}: {key} after {said}"
    assert touched, "nothing was touched: nothing was shown"


def test_every_step_says_what_the_pumps_must_be():
    sections = {key: section for key, section, _ in ITEMS}
    for step in STEPS:
        section = sections[step.items[0]]
        if section == "floats":
            assert step.pumps == PUMPS_DEAD, step.key
        elif section in ("pump_1", "pump_2", "both", "supply") or step.key in (
            "left_auto", "left_valves", "left_jumper", "left_forces", "left_alarms", "left_cover",
        ):  # fmt: skip
            assert step.pumps == PUMPS_LIVE, step.key
        else:
            assert step.pumps == "", step.key


FLOATS = ("The off float by hand", "The lead float by hand", "The lag float by hand", "The high float by hand")
HORN, SILENCE = "The horn in the bedroom", "The silence button"


@pytest.mark.long
@pytest.mark.parametrize(
    ("keys", "skips"),
    [
        (("horn", "silence", "valve_1"), (HORN,)),
        (("float_off", "float_lead", "float_lag", "float_high", "horn", "silence", "valve_2"), (*FLOATS, HORN)),
        (("float_lead", "valve_1", "valve_2", "pump_1", "left_auto", "left_valves"), ("Isolation valve 1",)),
        (("pump_1", "idle_2", "leaks", "outlet", "left_auto", "left_cover"), ("Pump 1 alone",)),
    ],
)
def test_whoever_skips_is_not_let_near_a_pump_that_may_start(tmp_path, keys, skips):
    with Pit(tmp_path) as pit:
        person = pit.go_through(keys, skips=skips)
    must_be_safe(person)


@pytest.mark.long
def test_whoever_stops_and_goes_on_must_prove_the_pumps_dead_anew(tmp_path):
    keys = ("float_high", "horn", "silence", "valve_1")
    with Pit(tmp_path) as pit:
        first = pit.go_through(keys, leaves="horn")
        assert first.unplugged() and first.heard[-1] == "stopped"
        must_be_safe(first)
        first.does("plug")  # somebody needs the pumps overnight
        second = pit.go_through(keys, skips=(HORN,))
    assert [step for step, *_ in second.acts if step == SILENCE], "the silence button was not reached"
    must_be_safe(second)


@pytest.mark.long
def test_a_float_left_tied_up_is_let_go_before_the_pumps_are_plugged_in(tmp_path):
    with Pit(tmp_path) as pit:
        person = pit.go_through(("float_high", "silence", "pump_1"), skips=(SILENCE,))
        assert pit.loop.pit.plant.fault_state.contacts == [AS_IS] * 4
    must_be_safe(person)
    keys = [key for _, key, _, _ in person.acts]
    assert keys.index("let_go_high") < keys.index("plug")


@pytest.mark.long
def test_a_pump_that_runs_in_the_proof_is_not_taken_for_dead(tmp_path):
    with Pit(tmp_path) as pit:
        person = pit.go_through(("float_lead", "valve_1"), forgets=1)
    assert any("pump 1 RUNS" in text for text in person.heard)
    assert [key for _, key, _, _ in person.acts].count("unplug") == 2
    must_be_safe(person)


@pytest.mark.long
def test_the_hose_is_shut_before_the_pumps_are_made_dead(tmp_path):
    with Pit(tmp_path) as pit:
        first = pit.go_through(("pump_1", "clamp_1", "valve_1"), skips=("Isolation valve 1",))
        must_be_safe(first)
        second = pit.go_through(("pump_1", "clamp_1", "horn"))
    keys = [key for _, key, _, _ in second.acts]
    assert keys.index("hose_off") < keys.index("unplug")
    must_be_safe(second)


class AtTheBreaker(Watched):
    """Cuts pumps off by their breakers, on which the relays of the thermal contacts hang too."""

    def does(self, key):
        super().does(key)
        if key in ("unplug", "plug"):
            for n in (0, 1):
                self.pump(n, thermal_open=key == "unplug")


class Plugged(Watched):
    """Pulls plugs; the relays of the thermal contacts hang on the breakers, and drop with them."""

    answers_thermal = "both"

    def __init__(self, *given, **more):
        super().__init__(*given, **more)
        self.answers["thermal"] = self.answers_thermal


class Bridged(Plugged):
    """Has forgotten the bridge at X1:6."""

    def does(self, key):
        if key != "drop_2":
            super().does(key)

    def poll(self):
        super().poll()
        return "fault" if "of pump 2 to read open" in self.said[-1] else None


class Tripped(Watched):
    """Trips a pump's own breaker: its relay KT drops with it, and the input reads hot."""

    def does(self, key):
        super().does(key)
        if key.startswith(("trip_", "untrip_")):
            self.pump(int(key[-1]) - 1, thermal_open=key.startswith("trip_"))


@pytest.mark.long
def test_a_wait_for_a_pump_whose_thermal_contact_is_open_says_so_and_ends(tmp_path):
    with Pit(tmp_path) as pit:
        person = pit.go_through(("valve_1",), kind=AtTheBreaker)
    said = [text for text in person.heard if "reads the thermal contact of pump 1 open" in text]
    assert len(said) == 1 and "breaker, GFCI or fuse is off" in said[0]
    assert not any("No result yet" in text for text in person.heard)
    must_be_safe(person)


@pytest.mark.long
def test_each_thermal_contact_that_a_motor_brings_out_is_read_and_a_forgotten_bridge_is_found(tmp_path):
    for kind, verdict, words in ((Plugged, "pass", "pump 1 read hot, and cool again; pump 2 read hot, and cool again"),
                                 (Bridged, "fail", "pump 1 read hot, and cool again; pump 2 never read hot"),
                                 (Watched, "noted", "none brought out: both terminals bridged")):  # fmt: skip
        with Pit(tmp_path / kind.__name__) as pit:
            pit.folder.mkdir()
            person = pit.go_through(("thermal",), kind=kind)
        item = person.items["thermal"]
        assert (item["verdict"], item["shown"]) == (verdict, words)
        assert all(unplugged for _, key, unplugged, _ in person.acts if key.startswith(("drop_", "undrop_")))


@pytest.mark.long
def test_heat_that_comes_and_goes_with_a_pumps_own_breaker_is_its_loss_of_power(tmp_path):
    with Pit(tmp_path) as pit:
        person = pit.go_through(("trip_1",), kind=Tripped)
    item = person.items["trip_1"]
    assert item["verdict"] == "pass" and "thermal contact open" in item["shown"] and "relay KT" in item["note"]
