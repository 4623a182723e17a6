"""The hose test through a real terminal: a scripted installer, wrong answers, Ctrl-C, kill -9, and the record."""

import html
import json

import pytest

from hil.commission import simulated
from hil.commission.dialogue import state_path
from hil.record.items import ITEMS, KEYS, TITLES
from host_sim.plant.fault_state import AS_IS, WET
from tests.hil.served_pit import Installer, ServedPit, Session
from tests.micropython.places import micropython

pytestmark = pytest.mark.long  # a whole hose test at a terminal

ANSWERS = (
    ("within call", ["maybe", "?", "yes"]),
    ("What has the weather", ["", "wet for a week"]),
    ("water table stand", ["back", "2 ft below the floor"]),
    ("locked out", ["no", "yes"]),
    ("wake you", ["no"]),
    ("turn freely", ["yes"]),
    ("powered again", ["yes", ""]),
    ("supply of pump 1 while", ["8.2 gpm", "2000 V", "118"]),
    ("supply while both", ["231 V"]),
    ("stand still", ["yes"]),
    ("Why is it not tested", ["", "its cord is too short"]),
    ("all tight", ["yes"]),
    ("steady stream", ["skip ice on the ladder"]),
    ("tripped by itself", ["no"]),
    ("every union dry", ["yes"]),
    ("Cover on the pit, and", ["yes"]),
    ("What else", ["nothing"]),
    ("Any other remarks", ["a grate at the outlet"]),
    ("owner been shown", ["yes"]),
    ("next check due", ["soon", "2001-01-01", "2999-05-25"]),
    ("Your name", ["N. N., an invented firm"]),
    ("License or reg", ["none"]),
    ("Name of the owner", ["M. M."]),
    ("Did it stay dead", ["yes"]),
    ("brings its thermal contact out", ["none"]),
)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Return (what was said in each session, exit codes, JSON, page) of one hose test, three times interrupted."""
    micropython()
    folder = tmp_path_factory.mktemp("hose")
    record = folder / "record.json"
    arguments = ("--record", record, "--site", simulated.SITE)
    said, codes = [], []
    with ServedPit() as served:
        arguments = ("--port", served.port, *arguments)
        _first(Session(*arguments, cwd=folder), served, said, codes)
        kept = json.loads(state_path(record).read_text(encoding="utf-8"))
        assert list(kept["done"]) == ["safety", "weather"]
        _second(Session(*arguments, cwd=folder), served, said)
        assert len(json.loads(state_path(record).read_text(encoding="utf-8"))["done"]) == 13
        _third(Session(*arguments, cwd=folder), served, said, codes)
        again = Session(*arguments, cwd=folder)
        codes.append(again.end())
        said.append(again.text)
    assert not state_path(record).exists()
    page = record.with_suffix(".html").read_text(encoding="utf-8")
    return said, codes, json.loads(record.read_text(encoding="utf-8")), page


def _first(session, served, said, codes):
    # Wrong answers, why, back; Ctrl-C at the third question.
    installer = Installer(session, served, ANSWERS)
    installer.until("3 of 45")
    session.prompt()
    session.type("back")
    installer.until("3 of 45")
    session.prompt()
    session.interrupt()
    codes.append(session.end())
    said.append(session.text)


def _second(session, served, said):
    # Goes on; lifts the wrong float and takes the step again; killed while pump 1 draws the pit down.
    answers = [(pattern, lines[-1:]) for pattern, lines in ANSWERS]
    mine = [("Resume with them", ["perhaps", "yes"]), ("locked out", ["no", "yes"]), ("powered again", ["yes", ""])]
    installer = Installer(session, served, [*mine, *answers[:3], *answers[4:6], *answers[7:]])
    installer.until("-> Lift the `off` float")
    served.act(served.person.float, "lag", WET)
    session.expect("are their wires swapped")
    served.act(served.person.float, "lag", AS_IS)
    session.type("back")
    installer.until("Waiting for two draw-downs by pump 1")
    session.kill()
    said.append(session.text)


def _third(session, served, said, codes):
    # Goes on; wrong units, a step skipped, ten minutes cut short, a selector that the board reads at OFF.
    installer = Installer(session, served, [("Resume with them", ["yes"]), *ANSWERS[5:]])
    installer.until("Pump 2 alone")
    installer.until("-> Turn the selector of pump 1 to OFF")
    session.type("skip")
    installer.until("10 min on battery")
    session.type("skip no time for it")
    installer.until("tripped by itself")
    served.act(served.person.does, "selector_2_off")
    session.prompt()
    session.type("no")
    installer.until("-> Turn the selector of pump 2 to AUTO; the controller reads OFF")
    session.type("it is at AUTO")
    session.expect("this is read from the controller")
    session.type("fault")
    codes.append(installer.until("what is never said"))
    said.append(session.text)


def test_wrong_answers_are_told_and_asked_again(whole):
    said, _, _, _ = whole
    first, second, third, _ = said
    assert '"maybe": answer yes or no.' in first
    assert "Two of these kill at once" in first
    assert "Please answer" in first
    assert first.count("2 of 45.  Weather") == 2  # back
    assert '"perhaps": answer yes or no.' in second
    assert '"yes": press Enter when done' in " ".join(second.split())
    flat = " ".join(third.split())
    assert '"8.2 gpm" is in gpm' in flat
    assert "2000 V: at most 1000 V" in flat
    assert "The record lists every untested item with its reason" in flat
    assert '"soon" is not a date' in flat and "2001-01-01 is in the past" in flat


def test_interrupted_it_keeps_everything_and_goes_on(whole):
    said, codes, _, _ = whole
    assert codes == [1, 1, 2]  # Ctrl-C; a fault was entered; the record is there already
    assert "2 steps are saved" in " ".join(said[0].split())
    assert "2 steps of a hose test" in said[1] and "13 steps of a hose test" in said[2]
    assert "\n3 of 45" in said[1] and "\n2 of 45" not in said[1]
    assert "\n14 of 45" in said[2] and "\n13 of 45" not in said[2]
    assert "a record is never overwritten" in said[3]


def test_the_record_holds_every_item(whole):
    _, _, record, _ = whole
    items = {item["key"]: item for item in record["items"]}
    assert tuple(items) == KEYS
    for key, item in items.items():
        assert item["shown"] or item.get("why"), key
    measured = {key: items[key]["value"] for key in ("rate_1", "rate_both", "amps_1", "volts_1", "refill_1")}
    sized = simulated_promise()
    assert measured["rate_1"] == pytest.approx(sized.rates_m3s[0], rel=0.15)
    assert measured["rate_both"] == pytest.approx(sized.rates_m3s[2], rel=0.25)
    assert measured["amps_1"] == pytest.approx(7.8, abs=0.2)
    assert measured["volts_1"] == 118.0
    assert items["volts_both"]["verdict"] == "fail"  # 231 V on a 115 V plate
    assert items["horn"]["verdict"] == "fail"
    assert items["weather"]["shown"] == "wet for a week"
    assert items["trip_1"]["shown"] == "pump 1 fault: run lost" and items["trip_1"]["verdict"] == "pass"
    assert "pump 2 on battery" in items["power_cut"]["shown"]
    assert items["next_check"]["shown"] == "2999-05-25"


def simulated_promise():
    from hil.commission import expected_values

    return expected_values.read(simulated.SITE, None)


def test_what_was_not_tested_says_why(whole):
    _, _, record, _ = whole
    items = {item["key"]: item for item in record["items"]}
    assert items["rate_2"]["verdict"] == items["amps_2"]["verdict"] == "not tested"
    assert items["rate_2"]["why"] == "its cord is too short"
    assert items["check_1"]["why"] == "not run: its cord is too short"
    assert items["battery_10_min"]["why"] == "no time for it"
    assert items["outlet"]["why"] == "ice on the ladder"
    assert {entry["why"] for entry in record["untested"]} >= {"its cord is too short", "ice on the ladder"}
    assert len(record["breaks"]) == 2


def test_a_selector_cannot_be_talked_into_auto(whole):
    _, _, record, _ = whole
    item = next(item for item in record["items"] if item["key"] == "left_auto")
    assert item["verdict"] == "fail" and item["shown"] == "AUTO and OFF" and item["by"] == "board"
    assert record["verdict"] == "fail"


def test_the_page_holds_every_item_and_needs_nothing_else(whole):
    _, _, record, page = whole
    for key, _, title in ITEMS:
        assert title in page, key
    for item in record["items"]:
        shown = item["shown"] or item["why"]
        assert shown[:60] in html.unescape(page), item["key"]
    assert TITLES["left_settings"] in page and record["board"]["settings"] in page
    assert "@page" in page and "break-before: page" in page
    for outside in ("http", "src=", "url(", "<script", "@import"):
        assert outside not in page
