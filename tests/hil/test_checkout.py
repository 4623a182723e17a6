"""The checkout of a build on a virtual board: what is sound is proved, what is wired wrong is named, it resumes."""

import contextlib
import json

import pytest
from duplexsump.control import settings as s
from duplexsump.control.records import FAULT_CONVERTER, FAULT_EXPANDER, IN_BOARD

from hil.checkout import orders, page
from hil.checkout.checkout import BRIDGED, FAILED, PROVED, SKIPPED, Checkout
from hil.checkout.person import Handy, KitClock, everything
from hil.cli import build
from hil.kits import select
from host_sim.board import signals
from host_sim.errors import InputError
from tests import chromium


@pytest.fixture(scope="module")
def kit():
    with select.open_kit(select.Choice(virtual=True, expander=True), everything()) as made:
        yield made


def test_of(kit, record, **person):
    kit.reset()
    handy = Handy(kit, "pico", True, **person)
    test = Checkout(kit.client(), "pico", True, handy, record, KitClock(kit))
    return test, handy


test_of.__test__ = False


def run(kit, record, **person):
    test, _ = test_of(kit, record, **person)
    test.run()
    return test


def verdicts(test):
    return {name: item["verdict"] for name, item in test.document["items"].items()}


@pytest.mark.long
def test_a_sound_build_is_proved_signal_by_signal_and_its_page_says_so(kit, tmp_path):
    told = []
    test = run(kit, tmp_path / "record.json", told=told.append)
    rows = [one.name for one in signals.signals("pico", True) if one.kind != signals.SERIAL]
    assert verdicts(test) == dict.fromkeys(rows, PROVED)
    assert test.passed
    text = "\n".join(told)
    assert text.index("Shock:") < text.index("proved dead?") < text.index("X1:1 float off")
    html = page.as_html({**test.document, "hardware": False})
    assert "PASSED: 29 of 29 signals proved" in html and "NO HARDWARE WAS TESTED" in html
    assert json.loads((tmp_path / "record.json").read_text())["items"]["pump 1"]["terminal"] == "X4:1"


@pytest.mark.long
def test_what_is_wired_wrong_is_named_and_the_rest_is_proved(kit, tmp_path):
    wrong = {"float lag": "open", "float off": "float lead", "float lead": "float off", "horn": "dead",
             "pump 2": "dead"}  # fmt: skip
    test = run(kit, tmp_path / "record.json", wrong=wrong)
    items = test.document["items"]
    bad = {name for name, item in items.items() if item["verdict"] != PROVED}
    assert bad == set(wrong)
    assert "open, or shorted" in items["float lag"]["words"] and "GP5" in items["float lag"]["words"]
    assert "float lead changed: swapped wires" in items["float off"]["words"]
    assert "wire, polarity or relay" in items["horn"]["words"]
    assert "wrong contactor, or none" in items["pump 2"]["words"]
    assert not test.passed and "NOT PASSED: 24 of 29" in page.as_html(test.document)
    # Mended, the same record: only what was not proved is asked again.
    told = []
    again = run(kit, tmp_path / "record.json", told=told.append)
    assert again.passed
    assert "5 of 29 signals to prove" in "\n".join(told)
    assert not any("X1:4" in text for text in told)


@pytest.mark.long
def test_stop_keeps_everything_and_skip_gives_a_reason(kit, tmp_path):
    record = tmp_path / "record.json"
    test = run(kit, record, answers={"meter current 1": "skip no clamp meter here", "meter current 2": "stop"})
    assert verdicts(test)["current 1"] == SKIPPED
    assert test.document["items"]["current 1"]["words"] == "no clamp meter here"
    assert "current 2" not in verdicts(test)
    assert json.loads(record.read_text())["items"].keys() == test.document["items"].keys()
    test = run(kit, record, answers={"meter current 1": "7.4"})
    assert verdicts(test)["current 1"] == FAILED, "too little to prove anything"
    test = run(kit, record, answers={"meter current 1": "20"})
    assert "more than 3% of 30 A apart" in test.document["items"]["current 1"]["words"]


@pytest.mark.long
def test_an_output_can_be_skipped_where_its_eyes_are_asked_for_and_nothing_stays_called(kit, tmp_path):
    answers = {"see horn": "skip no horn yet", "see pump 1": "Skip", "why pump 1": "no contactor yet",
               "see status light": "skip dark in here"}
    test = run(kit, tmp_path / "record.json", answers=answers)
    items = test.document["items"]
    assert {name for name, verdict in verdicts(test).items() if verdict != PROVED} == {"horn", "pump 1", "status light"}
    assert [items[name]["words"] for name in ("horn", "pump 1")] == ["no horn yet", "no contactor yet"]
    assert verdicts(test)["horn"] == SKIPPED
    kit.run_ms(5000)
    assert not kit.read("pump_1") and not kit.read("pump_2")


def test_one_connector_at_a_time(kit, tmp_path):
    kit.reset()
    handy = Handy(kit, "pico", True)
    test = Checkout(kit.client(), "pico", True, handy, tmp_path / "record.json", KitClock(kit), ("X3",))
    assert test.run() and not test.passed, "this run's are proved, others are left"
    assert verdicts(test) == dict.fromkeys(("mains present", "charging", "generator"), PROVED)
    with pytest.raises(InputError, match=r"X9: this check proves X1 \(pit\), X2 \(front panel\).*X6 \(serial\)"):
        Checkout(None, "pico", True, handy, tmp_path / "record.json", None, ("X9",))
    with pytest.raises(InputError, match="X6 is proved over RS-485 itself: add --line"):
        Checkout(None, "pico", True, handy, tmp_path / "record.json", None, ("X6",))
    # All of X3 is proved: the same run again has nothing to ask, not even for the pumps.
    told = []
    again = Checkout(kit.client(), "pico", True, Handy(kit, "pico", True, told=told.append), tmp_path / "record.json",
                     KitClock(kit), ("X3",))  # fmt: skip
    assert again.run() and told == ["Nothing is left to prove here."]


class Talker(Handy):
    """Types what the check does not know while it waits, then does what is asked."""

    typed = ("hello?", "done")

    def poll(self):
        self.waits = True
        word, self.typed = (self.typed[0], self.typed[1:]) if self.typed else (None, ())
        return word


def test_a_word_that_is_not_known_ends_no_wait(kit, tmp_path):
    kit.reset()
    told = []
    person = Talker(kit, "pico", True, wrong={"charging": "open"}, told=told.append)
    test = Checkout(kit.client(), "pico", True, person, tmp_path / "record.json", KitClock(kit), ("X3",))
    test.run()
    assert [text for text in told if "is not understood" in text][0].startswith('   "hello?" is not understood')
    assert verdicts(test) == {"mains present": PROVED, "charging": FAILED, "generator": PROVED}


def test_the_order_follows_what_the_contact_reads_now():
    rows = {one.name: one for one in signals.signals("pico", True)}
    names = ("float off", "float high", "selector 1 HAND")
    asked = [orders.change(rows[name], was) for name in names for was in (0, 1)]
    assert asked == ["tip the float up", "let the float hang down", "let the float hang down", "tip the float up",
                     "turn selector 1 to HAND", "turn selector 1 to AUTO"]  # fmt: skip
    contacts = [one for one in rows.values() if one.kind == signals.CONTACT]
    assert all(orders.change(one, 0) != orders.change(one, 1) for one in contacts)


def test_a_known_value_is_asked_in_the_range_that_the_board_is_set_to(kit, tmp_path):
    kit.reset()
    values = kit.client().settings()
    values[s.SENSOR_RANGE_2_MA] = 75_000
    rows = {one.name: one for one in signals.ranged(signals.signals("pico", True), values)}
    assert rows["current 2"].level == 75_000 and "(75 A)" in rows["current 2"].to
    assert rows["current 1"].level == 30_000 and "(30 A)" in rows["current 1"].to
    told = []
    test = Checkout(kit.client(), "pico", True, Handy(kit, "pico", True, told=told.append), tmp_path / "record.json",
                    KitClock(kit), ("X5",))  # fmt: skip
    test.run()
    text = " ".join(told)
    assert "10.0 A or more" in text and "n turns read n times" in text


def test_nothing_is_switched_before_the_pumps_are_said_to_be_dead(kit, tmp_path):
    test = run(kit, tmp_path / "record.json", answers={"safe": "no"})
    assert not test.document["items"]
    assert not any(edge.wire.startswith("pump") and edge.value for edge in kit.edges[-5:])


@pytest.mark.parametrize(
    "text",
    ["{", "[]", '{"kind": "hose test", "items": {}}',
     '{"kind": "build check", "items": {}, "board": "esp32", "expander": true}'],
)  # fmt: skip
def test_a_file_that_is_no_record_of_this_build_is_refused_and_not_touched(tmp_path, text):
    record = tmp_path / "record.json"
    record.write_text(text)
    with pytest.raises(InputError, match="name another"):
        Checkout(None, "pico", True, None, record)
    assert record.read_text() == text


def test_the_first_power_up_with_nothing_wired_is_what_the_guide_says():
    from host_sim.guide import assembly
    from tests.guides import subject

    words = next(test for _, test in assembly.steps(subject("pico", True)) if test.startswith("FIRST POWER-UP"))
    assert "K1 and K2 never click" in words and "K3 and K4 (horn, beacon) pull in" in words
    with select.open_kit(select.Choice(virtual=True, expander=True)) as kit:
        # Open wires: every contact open, every analog input at nothing; a bus with no contact closed.
        kit.rest = {name: 1 if name.startswith("thermal") else 0 for name in kit.rest}
        kit.reset()
        kit.run_ms(10_000)
        seen = dict(kit.seen)
        kit.run_ms(600_000)
        started = [edge for edge in kit.edges if edge.wire.startswith("pump") and edge.value]
    wanted = {"pump_1": 0, "pump_2": 0, "horn": 1, "beacon": 1, "relay": 0, "service": 0, "light": 0}
    assert seen == wanted and not started


@pytest.mark.parametrize(("faults", "words"), [
    (FAULT_EXPANDER, ["I2C expander"]), (FAULT_CONVERTER, ["converter on the I2C bus"]),
    (FAULT_EXPANDER | FAULT_CONVERTER, ["I2C expander", "converter on the I2C bus"]), (0, []),
])  # fmt: skip
def test_a_bus_that_does_not_answer_is_named_before_its_signals_fail_one_by_one(kit, tmp_path, faults, words):
    told = []
    test, _ = test_of(kit, tmp_path / "record.json", told=told.append, answers={"safe": "no"})
    kit.raw[IN_BOARD] = faults
    kit.run_ms(500)
    test.run()
    kit.raw[IN_BOARD] = 0
    said = [line for line in told if "does not answer" in line]
    assert len(said) == len(words) and all(word in line for word, line in zip(words, said, strict=True))


class Mender(Handy):
    """Finds the loose wire when asked to try again."""

    def read(self, key, prompt):
        if key.startswith("again"):
            self.told(prompt)
            self.wrong = {}
            return "yes"
        return super().read(key, prompt)


def test_what_failed_can_be_tried_again_at_once(kit, tmp_path):
    kit.reset()
    told = []
    person = Mender(kit, "pico", True, wrong={"charging": "open"}, told=told.append)
    test = Checkout(kit.client(), "pico", True, person, tmp_path / "record.json", KitClock(kit), ("X3",))
    assert test.run() and verdicts(test)["charging"] == PROVED
    said = [text for text in told if text.startswith("   charging:")]
    assert len(said) == 2 and "failed" in said[0] and "proved" in said[1]


def test_what_the_settings_leave_out_is_not_asked_for_and_its_page_says_not_built(tmp_path):
    with select.open_kit(select.Choice(virtual=True, expander=True)) as kit:
        kit.reset()
        told = []
        person = Handy(kit, "pico", True, told=told.append)
        test = Checkout(kit.client(), "pico", True, person, tmp_path / "record.json", KitClock(kit), ("X3", "X5"))
        assert test.run()
    assert "level loop" not in verdicts(test) and "charging" not in verdicts(test) and len(verdicts(test)) == 5
    assert any("level loop: not built, by the controller's settings: no level transmitter" in text for text in told)
    html = page.as_html(test.document)
    assert "5 of 27 signals proved; not built: " in html and html.count("NOT BUILT") == 2


class Line:
    """A Client over RS-485, as far as the check asks it."""

    def __init__(self, values):
        self.found = values

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    def values(self):
        return self.found


def dead():
    raise InputError("no answer in Modbus", "COM6")


def test_rs_485_is_proved_by_the_same_controller_at_both_ends(kit, tmp_path):
    kit.reset()
    here = kit.client().values()
    other = {**here, "uptime": here["uptime"] + 700}
    cases = (("same", lambda: Line(here), PROVED, "the same"), ("dead", dead, FAILED, "A and B changed over"),
             ("other", lambda: Line(other), FAILED, "another controller answers: its uptime"))  # fmt: skip
    for name, line, verdict, words in cases:
        handy = Handy(kit, "pico", True)
        test = Checkout(kit.client(), "pico", True, handy, tmp_path / f"{name}.json", KitClock(kit), ("X6",), line)
        assert test.run() == (verdict == PROVED)
        assert verdicts(test) == dict.fromkeys(("RS-485 driver", "RS-485 receiver"), verdict)
        assert words in test.document["items"]["RS-485 driver"]["words"]
        assert "where RS-485 is fitted" not in page.as_html(test.document)
    assert page.as_html({**test.document, "items": {}}).count("where RS-485 is fitted: --line and its port") == 2


def test_a_record_of_a_simulated_controller_is_not_taken_up_for_a_real_one(tmp_path):
    record = tmp_path / "record.json"
    test = Checkout(None, "pico", True, None, record, hardware=False)
    test.save()
    with pytest.raises(InputError, match="is of a simulated controller: it proves no hardware; name another record"):
        Checkout(None, "pico", True, None, record)
    assert not json.loads(record.read_text())["hardware"]


@chromium.needed
@pytest.mark.long
def test_a_full_record_prints_on_one_sheet(tmp_path):
    rows = signals.signals("pico", True)
    words = "float lead changed with it: wires that touch; lifted, open, closed, open"
    items = {one.name: {"verdict": PROVED, "words": words, "when": "2026-03-04T05:06:07+00:00"} for one in rows}
    document = {"board": "pico", "expander": True, "when": "2026-03-04T05:00:00+00:00", "firmware": "0badcafe",
                "hardware": True, "absent": {}, "items": items}  # fmt: skip
    path = tmp_path / "record.html"
    path.write_text(page.as_html(document), encoding="utf-8")
    assert "PASSED: 31 of 31" in path.read_text()
    with chromium.Browser(tmp_path) as browser:
        for hardware in (True, False):
            path.write_text(page.as_html({**document, "hardware": hardware}), encoding="utf-8")
            browser.show(path, 186 * chromium.PX_MM, "print")
            assert [chromium.pages_of(browser.print(inches)) for inches in ((8.5, 11.0), (8.27, 11.69))] == [1, 1]


class Gone(Handy):
    """Whose terminal goes away at the first question."""

    def read(self, key, prompt):
        raise EOFError


@pytest.mark.parametrize("port", ["/dev/pts/7", "/dev/ttyACM7"])
def test_an_input_that_ends_keeps_the_record_and_its_page(kit, tmp_path, monkeypatch, port):
    kit.reset()
    monkeypatch.setattr("host_sim.board.client.connect", lambda *_: contextlib.nullcontext(kit.client()))
    monkeypatch.setattr("hil.commission.terminal.Terminal", lambda: Gone(kit, "pico", True))
    record = tmp_path / "record.json"
    assert build._check("pico", True, port, False, ("ascii", 1, None), record, ["X2"]) == 1
    assert json.loads(record.read_text())["items"] == {}
    html = (tmp_path / "record.html").read_text()
    assert "NOT PASSED: 0 of 29" in html and ("NO HARDWARE" in html) == port.startswith("/dev/pts")


def test_what_was_proved_on_a_bridge_is_asked_again_until_the_relays_own_contact_is_there(kit, tmp_path, capsys):
    def go(**person):
        kit.reset()
        handy = Handy(kit, "pico", True, **person)
        test = Checkout(kit.client(), "pico", True, handy, tmp_path / "record.json", KitClock(kit), ("X3",))
        return test, handy

    test, handy = go()
    handy.bridges = ("mains present",)
    assert not test.run() and verdicts(test)["mains present"] == BRIDGED
    assert build._end(test, tmp_path / "record.json", False) == 1
    assert "proved on a bridge: mains present; the same command asks again" in capsys.readouterr().out
    assert "ON A BRIDGE" in page.as_html(test.document)
    told = []
    test, _ = go(told=told.append)
    assert test.run() and verdicts(test)["mains present"] == PROVED
    assert any("1 of 31" in text or "1 of 29" in text for text in told), "the others are not asked again"


def test_a_thermal_terminal_bridged_for_good_is_proved_as_such_and_one_that_fails_can_be_skipped(kit, tmp_path):
    kit.reset()
    answers = {"relay thermal 1": "no", "for good thermal 1": "yes", "again float off": "skip no float yet"}
    handy = Handy(kit, "pico", True, answers=answers, wrong={"float off": "open"})
    test = Checkout(kit.client(), "pico", True, handy, tmp_path / "record.json", KitClock(kit), ("X1",))
    test.run()
    items = test.document["items"]
    assert items["thermal 1"]["verdict"] == items["thermal 2"]["verdict"] == PROVED
    assert "bridged for good" in items["thermal 1"]["words"] and "for good" not in items["thermal 2"]["words"]
    assert (items["float off"]["verdict"], items["float off"]["words"]) == (SKIPPED, "no float yet")
