"""The hose test on simulated pits: what it measures is what the physics give, and what is wrong with a pit is found."""

import io
import json
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from hil.acceptance import hose_test, procedure
from hil.cli import accept, commission
from hil.commission import expected_values, simulated
from hil.commission.dialogue import STEPS, HoseTest
from hil.commission.pit_person import PitPerson
from hil.commission.simulated import LoopClock
from hil.commission.watch import Board
from hil.kits.virtual import VirtualKit
from hil.record.items import KEYS
from hil.rehearsal.pit_in_loop import PitInLoop
from host_sim.plant.fault_state import AS_IS
from host_sim.report.prompt import StoppedError
from host_sim.site.load import load_site, read_site
from host_sim.sizing import site_out
from host_sim.sizing.model import size
from host_sim.sizing.say import Say
from tests.micropython.places import micropython
from tests.sizing_sites import sound

pytestmark = pytest.mark.long  # whole hose tests, simulated

TEXT = simulated.SITE.read_text(encoding="utf-8")
NOTHING_SENSED = TEXT.replace('sensing = "current"', 'sensing = "nothing"')
ON_MAINS = TEXT.replace('controller = "battery"', 'controller = "mains"')


def some_steps(folder, keys, text=TEXT, answers=None, spoil=None, person_kind=PitPerson):
    """Carry some steps out on a pit; return (items, the person).  `spoil(person)` breaks something first."""
    micropython()
    site = read_site(text)
    path = Path(folder) / "site.toml"
    path.write_text(text, encoding="utf-8")
    with VirtualKit(settings=site.settings) as kit:
        kit.reset()
        loop = PitInLoop(kit, site)
        person = person_kind(loop.pit, answers=answers, jumper=lambda made: kit.drive("jumper", int(made)))
        board = Board(kit.client, LoopClock(loop))
        board.open()
        test = HoseTest(board, person, expected_values.read(path, board.settings), Say("us"), Path(folder) / "r.json")
        test.steps = tuple(step for step in STEPS if step.key in keys)
        if spoil:
            spoil(person)
            loop.run_ms(200)
        test.run()
    return test.items(), person


@pytest.fixture(scope="module")
def whole():
    """Return the document of the whole hose test on the invented pit."""
    micropython()
    with VirtualKit(settings=simulated.site().settings) as kit:
        kit.reset()
        return simulated.run(kit)


def test_every_item_is_there_and_what_a_pit_can_show_is_tested(whole):
    items = {item["key"]: item for item in whole["items"]}
    assert tuple(items) == KEYS
    untested = {key for key, item in items.items() if item["verdict"] == "not tested"}
    assert untested == {"horn", "volts_1", "volts_both", "leaks", "left_cover", "instructed", "next_check", "installer",
                        "license", "owner"}  # fmt: skip
    assert all("simulated pit" in items[key]["why"] for key in untested)
    assert whole["verdict"] == "pass" and "simulated" in whole["no_hardware"]


def test_what_is_measured_is_what_the_physics_give(whole):
    items = {item["key"]: item for item in whole["items"]}
    sized = expected_values.read(simulated.SITE, None)
    for place, key in enumerate(("rate_1", "rate_2", "rate_both")):
        assert items[key]["value"] == pytest.approx(sized.rates_m3s[place], rel=0.02), key
    assert items["amps_1"]["value"] == pytest.approx(8.0, rel=0.05)
    assert items["amps_2"]["value"] == pytest.approx(20.0, rel=0.05)  # through a sensor scaled by 0.4
    assert items["refill_1"]["verdict"] == items["refill_both"]["verdict"] == "pass"
    assert 10.5 < items["volts_2"]["value"] < items["battery_10_min"]["value"] < items["battery_start"]["value"]
    assert "cut while pump 1 ran" in items["power_cut"]["shown"]
    assert "pump 2 on battery" in items["power_cut"]["shown"]
    assert "; mains-lost alarm;" in items["power_cut"]["shown"] and items["power_cut"]["verdict"] == "pass"
    # The battery pump is stopped before its fuse is pulled, and then does not start.
    for n, cause in ((1, "run lost"), (2, "failed to start")):
        assert items[f"trip_{n}"]["shown"] == f"pump {n} fault: {cause}"


def test_one_command_leaves_a_record_that_holds_every_item(whole, tmp_path, monkeypatch):
    # The command as it is, but with one procedure instead of all, and the hose test that was run above.
    monkeypatch.setattr(simulated, "run", lambda kit, the_site: whole)
    every = procedure.load()
    monkeypatch.setattr(procedure, "load", lambda only=(): [one for one in every if one.name == "moisture"])
    app = typer.Typer()
    accept.add_to(app)
    done = CliRunner().invoke(app, ["accept", "--virtual", "--out", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    made = json.loads((tmp_path / "out" / "record.json").read_text(encoding="utf-8"))
    assert [item["key"] for item in made["hose_test"]["items"]] == list(KEYS)
    assert [entry["name"] for entry in made["procedures"]] == ["moisture"]
    assert made["board"]["firmware"] != made["board"]["settings"] and made["latency"]["samples"] > 0
    assert {"horn heard in the bedroom, doors shut"} <= {
        entry["what"] for entry in made["untested"]
    }


def test_where_no_hose_test_can_be_done_the_record_says_why(monkeypatch):
    assert hose_test.hose_test(wanted=False, why_not="left out") == (None, "left out")
    assert "lockstep" in hose_test.hose_test()[1]
    monkeypatch.setattr("sys.stdin", io.StringIO())
    assert hose_test.hose_test(port="/dev/no-such-port")[1].startswith("nobody was at the terminal")
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    assert "there is no such port" in hose_test.hose_test(port="/dev/no-such-port")[1]


def test_a_worn_pump_is_found(tmp_path):
    items, _ = some_steps(tmp_path, ("pump_1",), spoil=lambda person: person.pump(0, worn=0.25))
    assert items["rate_1"]["verdict"] == "fail" and "% of the sizing" in items["rate_1"]["note"]
    assert items["refill_1"]["verdict"] == "pass"


def test_a_missing_check_valve_is_found_by_the_refill_and_by_who_looks(tmp_path):
    items, _ = some_steps(tmp_path, ("idle_2", "pump_2"), spoil=lambda person: person.pump(1, check="missing"))
    assert items["check_2"]["verdict"] == "fail"
    assert items["refill_2"]["verdict"] == "fail"
    assert items["rate_2"]["verdict"] == "pass"  # alone it pumps as well as ever


class FireHose(PitPerson):
    """Brings more than one pump moves; when told to shut the hose, gives the step up."""

    def __init__(self, pit, **more):
        super().__init__(pit, 0.006, **more)
        self.gives_up = False

    def does(self, key):
        super().does(key)
        self.gives_up = self.gives_up or key == "hose_off"

    def poll(self):
        super().poll()
        return "fault" if self.gives_up else None


def test_a_hose_that_floods_the_pit_is_told_to_be_shut(tmp_path):
    items, person = some_steps(tmp_path, ("pump_1",), person_kind=FireHose)
    assert any("the water is at `high`.  Shut the hose now." in text for text in person.heard)
    assert items["rate_1"]["verdict"] == "fail" and "recorded as a fault" in items["rate_1"]["shown"]


class CrossedWires(PitPerson):
    """Whoever lifts `lead` at this pit moves the contact that is wired to `lag`, and the other way round."""

    def float(self, name, state):
        super().float({"lead": "lag", "lag": "lead"}.get(name, name), state)
        if state != AS_IS:
            self.answers["late"] = "fault"


def test_two_floats_with_crossed_wires_are_named(tmp_path):
    keys = ("float_off", "float_lead", "float_lag")
    items, person = some_steps(tmp_path, keys, person_kind=CrossedWires)
    assert items["float_off"]["verdict"] == "pass"
    assert items["float_lead"]["verdict"] == items["float_lag"]["verdict"] == "fail"
    assert "lag turned wet instead" in items["float_lead"]["shown"]
    assert any("`lag` change, not `lead`: are their wires swapped?" in text for text in person.heard)


def test_a_board_that_senses_no_current_asks_for_the_clamp_and_cannot_name_a_trip(tmp_path):
    answers = {"clamp_1": "7.9 A", "clamp_2": "26 A", "clamp_both_1": "7.5 A", "clamp_both_2": "19 A"}
    items, _ = some_steps(tmp_path, ("pump_1", "clamp_1", "clamp_2", "trip_1"), NOTHING_SENSED, answers)
    assert (items["amps_1"]["value"], items["amps_1"]["verdict"], items["amps_1"]["by"]) == (7.9, "pass", "person")
    assert (items["amps_2"]["value"], items["amps_2"]["verdict"]) == (26.0, "fail")  # 130 % of the plate
    assert items["trip_1"]["verdict"] == "noted" and "cannot name" in items["trip_1"]["note"]
    assert items["rate_1"]["verdict"] == "pass"


def test_a_controller_that_dies_with_the_mains_comes_back_by_itself(tmp_path):
    text = ON_MAINS.replace('supply = "battery"\nrated_current = "20 A"\nvolts = "12 V"', 'rated_current = "20 A"')
    items, _ = some_steps(tmp_path, ("battery_start", "power_cut"), text)
    assert items["power_cut"]["verdict"] == "pass"
    assert "controller lost power; restarted at power-up" in items["power_cut"]["shown"]
    assert items["battery_10_min"]["why"]


class Away(PitPerson):
    """Leaves when a question is asked."""

    def read(self, key, prompt):
        if key == "left_valves":
            return "stop"
        return super().read(key, prompt)


def test_stop_keeps_what_is_done_and_the_jumper_is_looked_for_by_the_board(tmp_path):
    with pytest.raises(StoppedError):
        some_steps(tmp_path, ("left_jumper", "left_valves"), person_kind=Away)
    items, person = some_steps(tmp_path, ("left_jumper", "left_forces"), spoil=lambda person: person.jumper(True))
    assert items["left_jumper"]["verdict"] == "pass" and items["left_jumper"]["shown"] == "out"
    assert any("Remove the test jumper" in text for text in person.heard)


def test_the_command_shows_a_hose_test_without_hardware_and_leaves_no_signature(whole, tmp_path, monkeypatch):
    def told(kit, screen, units, the_site):
        screen.say("1 of 44.  Cautions")
        return dict(whole)

    monkeypatch.setattr(simulated, "run", told)
    app = typer.Typer()
    commission.add_to(app)
    given = ["--virtual", "--record", str(tmp_path / "r.json"), "--place", "12 Nowhere Rd"]
    done = CliRunner().invoke(app, given)
    assert done.exit_code == 0, done.output
    said = " ".join(done.output.split())  # that it was done is said after it was
    assert 0 <= said.index("1 of 44. Cautions") < said.index("A simulated person did this hose test")
    assert "simulated person" in simulated.INTRO[0]
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert "NO HARDWARE" in page.upper() and "12 Nowhere Rd" in page and "date, signature" not in page
    assert CliRunner().invoke(app, given).exit_code != 0  # a record is never overwritten


@pytest.mark.parametrize("sensing", ["current", "nothing"])
def test_the_hose_test_of_a_sized_site_ends(tmp_path, sensing):
    # It went on for ever, at a question that the simulated person had no answer to.
    micropython()
    path = tmp_path / "site.toml"
    path.write_text(site_out.text(size(sound(controller__sensing=sensing))), encoding="utf-8")
    site = load_site(path)
    with VirtualKit(settings=site.settings) as kit:
        kit.reset()
        made = simulated.run(kit, the_site=site)
    failed = [item["key"] for item in made["items"] if item["verdict"] == "fail"]
    assert not failed and made["verdict"] == "pass"

