"""Boards that are silent, foreign or vanish, and kept answers that cannot be used: clear words, nothing lost."""

import inspect
import os
import threading
import tty

import pytest

from hil.commission import carry_out, simulated
from hil.commission.dialogue import STEPS, HoseTest, state_path
from hil.commission.expected_values import ExpectedValues
from host_sim.board.client import Client
from host_sim.errors import InputError
from host_sim.report import prompt as asking
from host_sim.sizing.say import Say
from tests.hil.served_pit import Installer, ServedPit, Session
from tests.micropython.places import micropython


class Deaf:
    """A person who is never asked."""

    in_place = False

    def __init__(self, answers=()):
        self.answers, self.heard = list(answers), []

    def say(self, text):
        self.heard.append(text)

    def waiting(self, text):
        self.heard.append(text)

    def does(self, key):
        self.heard.append(key)

    def read(self, key, prompt):
        assert self.answers, f"asked {key}"
        return self.answers.pop(0)

    def poll(self):
        return None


def with_patience(function, patience_s):
    """Return the defaults of a function whose `patience_s` defaults to another number."""
    optional = [p for p in inspect.signature(function).parameters.values() if p.default is not p.empty]
    return tuple(patience_s if p.name == "patience_s" else p.default for p in optional)


class Line:
    """A pty whose far end answers each frame with `answer(frame)`."""

    def __init__(self, answer):
        self.master, self.slave = os.openpty()
        tty.setraw(self.master)
        tty.setraw(self.slave)
        self.port = os.ttyname(self.slave)
        threading.Thread(target=self._serve, args=(answer,), daemon=True).start()

    def _serve(self, answer):
        try:
            while data := os.read(self.master, 1024):
                os.write(self.master, answer(data))
        except OSError:
            return


def impatient(monkeypatch):
    monkeypatch.setattr(Client.__init__, "__defaults__", with_patience(Client.__init__, 0.1))


def test_a_silent_port_is_told_and_nobody_is_asked(tmp_path, monkeypatch):
    impatient(monkeypatch)
    silent = Line(lambda frame: b"")
    with pytest.raises(InputError, match="no answer in Modbus: is the controller running, and is this its port"):
        carry_out.run(silent.port, None, tmp_path / "r.json", person=Deaf())
    assert list(tmp_path.iterdir()) == []


def test_another_device_is_told(tmp_path, monkeypatch):
    impatient(monkeypatch)
    # Two registers, both 1, from unit 1: LRC of 01 04 04 00 01 00 01 is F5.
    other = Line(lambda frame: b":01040400010001F5\r\n")
    with pytest.raises(InputError, match="a Modbus device answers, but not a controller of ours"):
        carry_out.run(other.port, None, tmp_path / "r.json", person=Deaf())


def test_no_port_and_no_place_for_the_record(tmp_path):
    with pytest.raises(InputError, match="there is no such port"):
        carry_out.run("/dev/no-such-port", None, tmp_path / "r.json", person=Deaf())
    with pytest.raises(InputError, match=r"ends with \.json"):
        carry_out.run("/dev/no-such-port", None, tmp_path / "r.txt", person=Deaf())


@pytest.mark.long
def test_a_port_that_vanishes_keeps_the_answers_and_leaves_with_2(tmp_path):
    micropython()
    record = tmp_path / "r.json"
    with ServedPit() as served:
        session = Session("--port", served.port, "--record", record, "--site", simulated.SITE, cwd=tmp_path)
        answers = [("within call", ["yes"]), ("weather", ["skip nobody knows"]), ("water table", ["not known"])]
        Installer(session, served, answers).until("-> Turn the selector of pump 1 to OFF")
        served.unplug()
        code = session.end()
    assert code == 2
    said = " ".join(session.text.split())
    assert "Interrupted. 4 steps are saved" in said and "Before you leave the pit" in said
    assert "the port went away" in said and "Traceback" not in said
    kept = asking.recall(state_path(record), "test")
    assert kept["done"]["weather"]["weather"]["why"] == "nobody knows"


# What is kept.


class FakeBoard:
    """A board that only says what it is."""

    values, settings = {"firmware": 0x1234}, [1, 2]


def a_test(folder, answers=(), board=FakeBoard):
    return HoseTest(board(), Deaf(answers), ExpectedValues("nothing"), Say("us"), folder / "r.json")


WET = {"weather": {"verdict": "noted", "shown": "wet"}}
GOOD = {"format": "sumpbench hose test, unfinished", "version": 1, "begun": "2031-05-25 10:00", "board": {},
        "done": {"weather": WET}, "figures": {}, "breaks": []}  # fmt: skip


@pytest.mark.parametrize("spoilt", [
    "", "nonsense", "[]", "{}",
    {**GOOD, "version": 2},
    {**GOOD, "format": "another"},
    {**GOOD, "done": {"no such step": {}}},
    {**GOOD, "done": {"weather": []}},
    {**GOOD, "done": {"weather": {"no such item": {"verdict": "pass"}}}},
    {**GOOD, "done": {"weather": {"weather": {"verdict": "splendid"}}}},
    {**GOOD, "done": {"weather": {"weather": "wet"}}},
    {**GOOD, "breaks": "none"},
])  # fmt: skip
def test_kept_answers_that_cannot_be_used_are_refused_and_not_touched(tmp_path, spoilt):
    import json

    path = state_path(tmp_path / "r.json")
    text = spoilt if isinstance(spoilt, str) else json.dumps(spoilt)
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=path.name):
        a_test(tmp_path).recall()
    assert path.read_text(encoding="utf-8") == text
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


def test_good_answers_are_gone_on_with_and_another_board_is_told(tmp_path):
    asking.keep(state_path(tmp_path / "r.json"), {**GOOD, "board": {"firmware": "00009999"}})
    test = a_test(tmp_path, ["yes"])
    test.recall()
    assert test.done == GOOD["done"] and test.begun == GOOD["begun"]
    assert test.items()["weather"]["shown"] == "wet"
    assert any("firmware changed since: 00009999 before, 00001234 now" in text for text in test.person.heard)
    assert "firmware was 00009999, now 00001234" in test.breaks[0]


def test_back_and_skip_before_the_first_step_ask_again(tmp_path):
    asking.keep(state_path(tmp_path / "r.json"), GOOD)
    test = a_test(tmp_path, ["back", "skip no idea", "yes"])
    test.recall()
    assert test.done == GOOD["done"]
    assert test.person.heard.count("   No step has begun yet: answer yes or no, or stop.") == 2


def test_no_puts_the_answers_aside_instead_of_losing_them(tmp_path):
    path = state_path(tmp_path / "r.json")
    asking.keep(path, GOOD)
    test = a_test(tmp_path, ["no"])
    test.recall()
    assert test.done == {} and not path.exists()
    aside = path.with_name(path.name + ".aside-1")
    assert asking.recall(aside, "test") == GOOD


def test_a_crash_while_keeping_leaves_the_answers_before(tmp_path, monkeypatch):
    path = state_path(tmp_path / "r.json")
    asking.keep(path, GOOD)
    monkeypatch.setattr(os, "fsync", lambda descriptor: (_ for _ in ()).throw(OSError("no space left")))
    with pytest.raises(OSError, match="no space"):
        asking.keep(path, {**GOOD, "begun": "later"})
    assert asking.recall(path, "test") == GOOD


def test_every_item_is_filled_by_some_step():
    from hil.record.items import KEYS

    filled = {item for step in STEPS for item in step.items}
    assert filled == set(KEYS)
    assert all(step.why and step.title for step in STEPS)


@pytest.mark.parametrize("units", ["us", "si"])
def test_the_example_of_every_question_is_a_good_answer(units):
    from hil.commission import questions
    from hil.commission.step_context import read_date

    class Speaks:
        show = Say(units)

    for key in questions._BY_KEY:
        one = questions.question(Speaks, key, 1 if "{" in key else None, how="Is it off?")
        assert one.why and one.ask and "{" not in one.ask + one.key
        if one.example:
            assert asking.parse(one, one.example, {"date": read_date}) is not None, key
    volts = questions.question(Speaks, "volts_{n}", 2)
    assert asking.parse(volts, "240 V") == "240 V" and asking.parse(volts, "0.24 kV") == "0.24 kV"
    assert asking.parse(volts, "118") == "118 V"
    bucket = questions.question(Speaks, "bucket_{n}", "rate_1")
    assert asking.parse(bucket, "12 gpm") == "12 gpm" and asking.parse(bucket, "0.8 L/s") == "0.8 L/s"
