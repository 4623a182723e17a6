"""A page that shows a board: what it reports is drawn, what it cannot know is null, and nothing is done at it."""

import json
import os
from dataclasses import replace

import pytest
from duplexsump.control import alarm_table, alarms
from duplexsump.control import settings as s
from duplexsump.control.records import CONTACT_NAMES
from duplexsump.station import registers as r

from hil.remote.living import SILENT_S, Watched
from hil.remote.living_engine import BoardEngine
from host_sim.errors import InputError
from host_sim.site.load import load_site, packaged

DEMO = load_site(packaged("demo"))


class Board:
    """Stands for a `Client`: registers that a test sets, and a link that can be cut."""

    def __init__(self, settings):
        self.held, self.cut, self.asked = list(settings), False, 0
        self.now = dict.fromkeys((row[0] for row in r.WORD_ROWS), 0)
        self.bits = dict.fromkeys((row[0] for row in r.BIT_ROWS), 0) | {"mains": 1, "active": 0, "standing": 0}
        self.alarm_states = [0] * alarm_table.COUNT

    def _answers(self):
        self.asked += 1
        if self.cut:
            raise InputError("no answer in Modbus", "the port")

    def identify(self):
        self._answers()

    def words(self, at, count):
        self._answers()
        assert (at, count) == (r.ALARM_STATES_AT, alarm_table.COUNT)
        return list(self.alarm_states)

    def values(self):
        self._answers()
        return dict(self.now)

    def states(self):
        self._answers()
        return dict(self.bits)

    def settings(self):
        self._answers()
        return list(self.held)

    def close(self):
        pass


class Rig:
    """A page before a board, on a clock of the test's own."""

    def __init__(self, site=DEMO, **settings):
        held = list(site.settings if site else s.defaults())
        for name, value in settings.items():
            held[getattr(s, name)] = value
        self.board, self.at_s = Board(held), 1000.0
        self.watched = Watched("COM7", opener=lambda: self.board, clock=lambda: self.at_s)
        self.engine = BoardEngine(self.watched, site, clock=lambda: self.at_s)

    def wet(self, *names, suspect=()):
        word = sum(1 << CONTACT_NAMES.index(name) for name in names)
        doubt = sum(1 << CONTACT_NAMES.index(name) for name in suspect)
        self.board.bits |= {"wet": word, "believed": word & ~doubt, "suspect": doubt}

    def look(self, seconds=1.0):
        self.at_s += seconds
        self.watched.once()
        return json.loads(json.dumps(self.engine.look(50.0)))

    def pair(self):
        return self.look()["state"]["pair"]


def test_the_water_stands_between_two_contacts_and_where_is_not_known():
    rig = Rig()
    rig.wet("off", "lead")
    rig.board.bits["outputs"] = 0b0110001
    pair = rig.pair()
    contacts = dict(zip(CONTACT_NAMES, DEMO.contacts, strict=True))
    assert pair["level_m"] is None and pair["inflow_m3s"] is None
    assert pair["between"] == [contacts["lead"].dry_m, contacts["lag"].wet_m]
    assert pair["pumps"] == [1, 0] and "between lead and lag" in pair["told"]
    assert {name: one["is"] for name, one in pair["contacts"].items()} == dict.fromkeys(CONTACT_NAMES)
    assert {name: one["reads"] for name, one in pair["contacts"].items()} == dict(
        zip(CONTACT_NAMES, (1, 1, 0, 0), strict=True))  # fmt: skip
    assert pair["decided"] == [] and "not known" in pair["unknown_why"]
    assert rig.look()["state"]["single"] is None


def test_a_suspect_contact_bounds_nothing():
    rig = Rig()
    rig.wet("off", "lag", suspect=("lag",))
    pair = rig.pair()
    contacts = dict(zip(CONTACT_NAMES, DEMO.contacts, strict=True))
    assert pair["between"] == [contacts["off"].dry_m, contacts["lead"].wet_m]
    rig.wet("off", "lead", "lag", suspect=CONTACT_NAMES)
    assert rig.pair()["between"] == [None, None]


def test_a_transmitter_tells_the_level_and_a_failed_one_does_not():
    rig = Rig(TRANSMITTER=1)
    rig.board.now["level"] = 432
    assert rig.pair()["level_m"] == 0.432
    rig.board.now["transmitter"] = 1
    assert rig.pair()["level_m"] is None


def test_a_current_is_told_only_where_it_is_sensed():
    rig = Rig(SENSING=s.SENSE_CURRENT)
    rig.board.now |= {"current_1": 7900}
    assert rig.pair()["amps"] == [7.9, 0.0]
    assert Rig(SENSING=s.SENSE_FEEDBACK).pair()["amps"] == [None, None]


def test_a_board_that_falls_silent_becomes_unknown_and_comes_back():
    rig = Rig()
    rig.wet("off")
    assert not rig.pair()["dead"]
    rig.board.cut = True
    assert not rig.look(1.0)["state"]["pair"]["dead"]
    pair = rig.look(SILENT_S)["state"]["pair"]
    assert pair["dead"] and "no answer for 6 s" in pair["told"] and "all is unknown" in pair["told"]
    assert set(pair["outputs"].values()) == {None} and pair["contacts"] == {}
    rig.board.cut = False
    assert not rig.pair()["dead"]


def test_a_board_that_was_never_heard_is_unknown_and_the_page_opens_all_the_same():
    rig = Rig()
    rig.board.cut = True
    assert rig.engine.hello()["about"]["kind"] == "board"
    assert "no answer in Modbus" in rig.pair()["told"]


def test_alarms_come_with_what_to_do_and_the_story_tells_what_changed():
    rig = Rig()
    rig.wet("off")
    first = rig.look()["story"]["lines"]
    assert [line[1] for line in first] == ["the board answers", "off contact wet"]
    rig.board.alarm_states[alarm_table.HIGH_WATER] = alarms.UNACKNOWLEDGED
    rig.wet("off", "lead", "lag", "high")
    message = rig.look()
    alarm = message["state"]["pair"]["alarms"][0]
    assert alarm["name"] == "high_water" and alarm["standing"] == "active, unacknowledged" and len(alarm["do"]) > 10
    told = {line[1] for line in message["story"]["lines"]}
    assert "high contact wet" in told and "high alarm: high water (active, unacknowledged)" in told
    assert rig.look()["story"]["lines"] == []


@pytest.mark.parametrize("message", [{"do": "silence"}, {"do": "mains", "value": "off"}, {"speed": 60}, {"save": True},
                                     {"take": {}}, {"prove": "first"}, None, 7, [], {"system": "cubits"}])  # fmt: skip
def test_nothing_is_done_at_a_board(message):
    rig = Rig()
    rig.look()
    asked = rig.board.asked
    assert [set(answer) for answer in rig.engine.hear(message)] == [{"error"}]
    assert rig.board.asked == asked


def test_without_a_site_file_it_is_said_that_nothing_is_to_scale():
    rig = Rig(None)
    rig.wet("off")
    assert "not drawn to scale" in rig.engine.hello()["about"]["name"]
    assert len(rig.pair()["between"]) == 2


def test_two_pages_share_one_reading_and_one_port():
    rig = Rig()
    rig.look()
    asked = rig.board.asked
    other = BoardEngine(rig.watched, DEMO, clock=lambda: rig.at_s)
    for _ in range(20):
        assert not other.look(50.0)["state"]["pair"]["dead"]
    assert rig.board.asked == asked


@pytest.mark.long
@pytest.mark.skipif(os.name != "posix", reason="no pty on this system")
def test_a_virtual_board_is_shown_as_it_is_at_its_port_and_through_a_gateway(tmp_path):
    from hil.remote import demo
    from hil.remote.gateway import port, server
    from host_sim.board.virtual import VirtualBoard

    site = replace(DEMO, faults=[], actions=[])
    with VirtualBoard(site, tmp_path / "flash.img", 1) as board:
        demo.put_settings(board, site)
        held = port.Port(board.port)
        gateway = server.Server(server.listen("127.0.0.1:0"), held)
        gateway.start()
        try:
            for name in ("socket://{}:{}".format(*gateway.address[:2]), board.port):
                watched = Watched(name)
                watched.once()
                assert watched.error == ""
                pair = BoardEngine(watched, site).look(50.0)["state"]["pair"]
                watched.close()
                held.close()
                assert not pair["dead"] and pair["mains"] == 1 and pair["level_m"] is None
                assert set(pair["contacts"]) == set(CONTACT_NAMES) and pair["between"][1] > 0
        finally:
            gateway.close()
            held.close()
