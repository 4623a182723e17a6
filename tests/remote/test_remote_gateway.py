"""The gateway's core on a clock of its own: what is told of a board that changes, hangs, comes back."""

import gc
import tracemalloc

import pytest
from duplexsump.control import alarm_table as at
from duplexsump.control import alarms
from duplexsump.control import settings as s
from duplexsump.station import registers as r
from remote_rig import Clock, FakeClient, FakeLink

from hil.remote import topics
from hil.remote.daily import text
from hil.remote.daily.look import daily_look
from hil.remote.floor import Estimator
from hil.remote.gateway.book import Book
from hil.remote.gateway.gatekeeper import Desk, judge
from hil.remote.gateway.gateway import Gateway
from hil.remote.gateway.journal_keeper import JournalKeeper
from hil.remote.gateway.outbox import Outbox
from hil.remote.gateway.page import Page
from hil.remote.gateway.port import Port
from hil.remote.gateway.publisher import Publisher
from host_sim.board.client import RefusedError
from host_sim.site.load import load_site, packaged


class Rig:
    """A gateway on a fake board and a fake broker; `run(seconds)` makes a pass a second."""

    def __init__(self, folder, look=None):
        self.clock, self.link = Clock(), FakeLink()
        self.site = load_site(packaged("demo"))
        self.client = FakeClient(self.site.settings)
        self.folder, self.look = folder, look
        self.start()

    def start(self):
        self.book, self.outbox = Book(self.folder / "book"), Outbox(self.folder / "outbox")
        for base in (self.book.base, self.outbox.base):
            base.execute("pragma synchronous=off")
        port = Port("p", opener=lambda: self.client)
        floor = Estimator(self.site, self.book)
        self.gateway = Gateway(port, self.book, self.outbox, floor, JournalKeeper(), self.clock, self.look)
        self.publisher = Publisher(self.link, "home", self.outbox, self.clock())

    def run(self, seconds):
        for _ in range(seconds):
            self.clock.now += 1.0
            self.gateway.once()
            self.publisher.pump(self.gateway.states, self.clock())

    def log(self, kind):
        return [body for body in self.link.bodies("home", "log") if body["kind"] == kind]


@pytest.fixture
def rig(tmp_path):
    return Rig(tmp_path)


def raised(rig, place, state=alarms.UNACKNOWLEDGED):
    rig.client.alarm_states[place] = state


def test_an_alarm_is_told_once_with_its_date_and_again_when_it_clears(rig):
    rig.run(5)
    raised(rig, at.HIGH_WATER)
    rig.run(30)
    began = rig.clock.now - 29
    raised(rig, at.HIGH_WATER, alarms.ACKNOWLEDGED)
    rig.run(3)
    raised(rig, at.HIGH_WATER, alarms.NORMAL)
    rig.run(3)
    assert [(body["name"], body["event"]) for body in rig.log("alarm")] == [
        ("high_water", "raised"), ("high_water", "acknowledged"), ("high_water", "cleared")]  # fmt: skip
    told = [body["alarms"] for body in rig.link.bodies("home", "alarms")]
    assert [len(alarms_) for alarms_ in told] == [0, 1, 1, 0]
    assert told[1][0]["since"] == began and told[1][0]["priority"] == "high" and told[1][0]["call"] == "flood"
    (row,) = rig.book.alarms(0, rig.clock.now + 1)
    assert row == (began, "high_water", "high", rig.clock.now - 2, rig.clock.now - 5)


def test_a_restart_of_the_gateway_tells_no_alarm_twice_and_keeps_its_date(rig):
    raised(rig, at.HIGH_WATER)
    rig.run(3)
    since = rig.link.bodies("home", "alarms")[-1]["alarms"][0]["since"]
    rig.start()
    rig.run(3)
    assert len(rig.log("alarm")) == 1
    assert rig.link.bodies("home", "alarms")[-1]["alarms"][0]["since"] == since


def test_a_board_that_hangs_is_told_within_seconds_and_so_is_its_return(rig):
    rig.run(5)
    rig.client.silent = True
    rig.run(4)
    assert not rig.log("alarm")  # one lost answer is no silence
    rig.run(3)
    assert [(b["name"], b["event"]) for b in rig.log("alarm")] == [("board_silent", "raised")]
    assert rig.link.bodies("home", "board")[-1]["up"] == 0
    rig.client.silent = False
    rig.run(2)
    assert [b["event"] for b in rig.log("alarm")] == ["raised", "cleared"]
    assert rig.link.bodies("home", "board")[-1]["up"] == 1


def test_a_reboot_is_an_event(rig):
    rig.client.values_["uptime"] = 500
    rig.run(3)
    rig.client.values_.update(uptime=0, reset_cause=1)
    rig.run(3)
    assert [(b["name"], b["why"]) for b in rig.log("event")] == [("power-up", "watchdog reset")]


def test_nothing_told_without_a_broker_is_lost_and_states_are_told_anew(rig):
    rig.run(2)
    rig.link.connected = False
    raised(rig, at.HIGH_WATER)
    rig.run(300)
    raised(rig, at.HIGH_WATER, alarms.NORMAL)
    rig.run(300)
    before = len(rig.link.sent)
    rig.link.connected, rig.link.connects = True, 2
    rig.run(3)
    told = {topics.split(topic)[1] for topic, _, _ in rig.link.sent[before:]}
    assert {"gateway", "board", "state", "alarms", "floor"} <= told
    assert [b["event"] for b in rig.log("alarm")] == ["raised", "cleared"]
    statuses = [b["at"] for b in rig.log("status")]
    assert len(statuses) == len(set(statuses)) >= 10
    ids = [(b["id"], b["n"]) for b in rig.link.bodies("home", "log")]
    assert len(ids) == len(set(ids)) and ids == sorted(ids)


def test_an_unchanged_pit_costs_a_beat_and_a_status_a_minute(rig):
    rig.run(120)
    before = len(rig.link.sent)
    rig.run(600)
    told = [topics.split(topic)[1] for topic, _, _ in rig.link.sent[before:]]
    assert told.count("gateway") == 10 and told.count("log") == 10 and len(told) == 20


def test_the_board_gets_its_time_and_only_when_it_is_off(rig):
    rig.run(5)
    clocks = [row for row in rig.client.written if row[0] == r.CLOCK_AT]
    assert len(clocks) == 1 and clocks[0][1][0] << 16 | clocks[0][1][1] == int(rig.clock.now - 4)
    rig.gateway.set_clock = False
    rig.client.values_["clock"] = 7
    rig.run(5)
    assert rig.client.values_["clock"] == 7


def test_a_link_that_may_only_read_is_no_silence(rig, monkeypatch):
    def refuse(_at, _values):
        raise RefusedError(1, "the board")

    monkeypatch.setattr(rig.client, "write_words", refuse)
    rig.run(20)
    assert rig.gateway.up is True and not rig.log("alarm")


def test_runs_and_the_battery_under_load_are_kept(rig):
    rig.run(2)
    rig.client.states_["outputs"] = 2  # pump 2, which the demo's battery carries
    rig.client.values_["battery"] = 11840
    rig.run(30)
    rig.client.states_["outputs"] = 0
    rig.client.values_["battery"] = 12950
    rig.run(2)
    (run,) = rig.book.runs(0, rig.clock.now)
    assert run[1] == 2 and run[2] - run[0] == 30.0 and run[4] == 110000 * 30 // 60
    assert rig.link.bodies("home", "battery")[-1]["loaded_mv"] == 11800


def daily_of(rig):
    return daily_look(rig.gateway, rig.clock.now)


@pytest.mark.long
def test_all_is_well_only_if_every_line_is(rig):
    rig.client.values_.update(run_1=0, starts_1=0)
    for _ in range(1440):
        rig.client.values_["run_1"] += 3
        rig.clock.now += 59.0
        rig.run(1)
        rig.client.values_["clock"] = int(rig.clock.now)
    rig.gateway.floor.rise = 380.0
    rig.run(2)
    look = daily_of(rig)
    well = {line["name"]: line["well"] for line in look["lines"]}
    assert look["well"] == all(well.values())
    water = next(line for line in look["lines"] if line["name"] == "water pumped")
    assert water["value"] == pytest.approx(1440 * 3 / 60 * 120000, rel=0.01)
    rig.client.values_["wear_1"] = 26
    rig.run(1)
    assert not daily_of(rig)["well"] and "pump 1 wear" in text.message(daily_of(rig), "home")[0]


def named(rig):
    return {line["name"]: line for line in daily_of(rig)["lines"]}


def test_before_a_pump_rate_is_known_the_look_does_not_say_that_no_water_was_pumped(rig):
    rig.client.values_.update(rate_1=0, rate_2=0)
    rig.run(180)
    lines = named(rig)
    assert lines["water pumped"]["value"] is None and "inflow" not in lines
    assert "no pump rate has been measured yet" in text.message(daily_of(rig), "home")[1]


def test_wear_says_where_it_was_and_a_pit_without_water_asks_for_a_pour_test(rig):
    rig.client.values_["wear_1"] = 4
    rig.run(70)
    rig.client.states_["wet"] = 0
    rig.client.values_["wear_1"] = 9
    limit = rig.site.settings[s.POUR_DAYS]
    for day in (10, limit + 2):
        rig.clock.now += (day - (10 if day > 10 else 0)) * 86400.0
        rig.run(2)
        line = named(rig)["days without water"]
        assert (line["value"], line["well"]) == (day, day < limit)
        if day == 10:
            assert text.value(named(rig)["pump 1 wear"]) == "9 % (4 % 10 days ago)"


def test_a_controller_that_does_not_answer_is_a_line_of_the_look(rig):
    rig.run(70)
    rig.client.silent = True
    rig.run(20)
    assert text.value(named(rig)["controller"]) == "does not answer" and not daily_of(rig)["well"]


def test_the_page_does_not_show_an_old_reading_as_now(tmp_path):
    rig = Rig(tmp_path)
    rig.run(5)
    page = Page("127.0.0.1:0", "home", rig.gateway, (), None)
    assert "<h2>Now</h2>" in page.html(rig.clock.now)
    rig.client.silent = True
    rig.run(20)
    html = page.html(rig.clock.now)
    page.server.server_close()
    assert "<h2>Now</h2>" not in html and "<h2>The pit when last read, " in html and "not watched" in html


def test_a_day_that_was_not_watched_is_not_well(rig):
    rig.run(120)
    look = daily_of(rig)
    assert not look["well"] and any(line["name"] == "record of the day" for line in look["lines"])


def test_the_daily_look_goes_out_once_a_day(tmp_path):
    rig = Rig(tmp_path, daily_look)
    for _ in range(3 * 24):
        rig.clock.now += 3599.0
        rig.run(1)
    days = rig.link.bodies("home", "daily")
    assert len(days) in (3, 4) and all("lines" in body["look"] for body in days)


# What others may do through the gateway.

WRITES = {
    "silence": bytes([15, 0, 0, 0, 1, 1, 1]), "inspect": bytes([15, 0, 2, 0, 1, 1, 1]),
    "clock": bytes([16, 0, r.CLOCK_AT, 0, 2, 4, 0x6A, 0, 0, 0]),
}  # fmt: skip


@pytest.mark.parametrize("what", WRITES)
def test_only_what_was_allowed_by_name_passes(what):
    client = FakeClient()
    for allowed in ((), tuple(name for name in WRITES if name != what)):
        assert Desk(Port("p", opener=lambda: client), allowed).answer(WRITES[what])[0] & 0x80
    assert not client.written
    did = []
    assert not Desk(Port("p", opener=lambda: client), (what,), did.append).answer(WRITES[what])[0] & 0x80
    assert client.written == [WRITES[what]] and did == [what]


def test_nothing_moves_a_pump_whatever_was_allowed():
    everything = frozenset(WRITES)
    free = set(WRITES.values())
    for at_ in range(48):  # every coil: reset, test, forces; alone or several at once
        for count in (1, 2, 9):
            pdu = bytes([15, 0, at_, 0, count, (count + 7) // 8, *[255] * ((count + 7) // 8)])
            assert pdu in free or judge(pdu, everything) == "refuse" or (at_ in (0, 2) and count == 1 and pdu[6] & 1)
    for at_ in [*range(2 * s.N_SETTINGS), r.COMMIT_AT, r.MAINTENANCE_AT, r.RESET_AT]:
        for count in (1, 2):
            pdu = bytes([16, 0, at_, 0, count, 2 * count, *[0] * (2 * count)])
            assert judge(pdu, everything) == "refuse"
    for function in {*range(256)} - {1, 2, 3, 4, 15, 16}:
        assert judge(bytes([function, 0, 0, 0, 1]), everything) == "refuse"


def test_two_clients_do_not_move_each_others_journal_window():
    client = FakeClient()
    port = Port("p", opener=lambda: client)
    first, second = Desk(port), Desk(port)
    window = bytes([16, 0, r.WINDOW_AT, 0, 4, 8])
    first.answer(window + bytes([0, 0, 0, 5, 0, 0, 0, 0]))
    second.answer(window + bytes([0, 0, 0, 9, 0, 0, 0, 240]))
    assert not client.written  # kept at the gateway until it is read
    read = bytes([4, r.WINDOW_HEAD_AT >> 8, r.WINDOW_HEAD_AT & 255, 0, 5])
    first.answer(read)
    assert client.written[-2][6:] == bytes([0, 0, 0, 5, 0, 0, 0, 0])
    second.answer(read)
    assert client.written[-2][6:] == bytes([0, 0, 0, 9, 0, 0, 0, 240])


@pytest.mark.long
def test_memory_is_flat_over_a_year(tmp_path):
    rig = Rig(tmp_path, daily_look)
    sizes = []
    tracemalloc.start()
    try:
        for day in range(366):
            for part in range(12):
                rig.clock.now += 7199.0
                turn = 12 * day + part
                values = rig.client.values_
                values.update(clock=int(rig.clock.now), uptime=day * 1440 + 120 * part, run_1=values["run_1"] + 20,
                              inflow=8000 + part)  # fmt: skip
                rig.client.states_["outputs"] = part & 1
                raised(rig, turn % at.COUNT, turn % 6)
                rig.run(1)
            rig.link.sent.clear()
            if day in (60, 365):
                gc.collect()
                sizes.append(tracemalloc.get_traced_memory()[0])
    finally:
        tracemalloc.stop()
    assert sizes[1] - sizes[0] < 300_000, sizes
    assert rig.outbox.count < 100 and len(rig.gateway.floor.pumped) < 1000
    assert len(rig.book.minutes(0, rig.clock.now + 1)) <= 42 * 12
