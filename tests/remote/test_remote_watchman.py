"""The watchman's rules on a clock of its own: who is told what, and when; silence; escalation; quiet hours."""

import json
import threading
import time

import pytest
from duplexsump.control import alarm_table as at
from hypothesis import given
from hypothesis import strategies as st
from remote_rig import Clock, FakeLink, wait_for

from hil.remote import reading, topics
from hil.remote.watchman import config as settings
from hil.remote.watchman.delivery import RETRY_S, Delivery
from hil.remote.watchman.watchman import Watchman
from host_sim.errors import InputError

OWNER = {"who": "owner", "url": "json://127.0.0.1:1/", "priorities": ["high", "medium", "low"], "quiet": "22:00-07:00",
         "daily": True}  # fmt: skip
NEIGHBOR = {"who": "neighbor", "url": "json://127.0.0.1:1/", "after": "15 min", "priorities": ["high"]}
SILENCE = {"gateway": "3 min", "board": "30 s", "daily": "26 h", "settle": "5 min"}


class Message:
    def __init__(self, topic, payload):
        self.topic, self.payload = topic, payload


class Night:
    """One pit, a watchman, and what went out: `told` holds (minute, who, title)."""

    def __init__(self, folder, people=(OWNER, NEIGHBOR), hour=12):
        self.clock, self.link = Clock(1_800_000_000.0), FakeLink()
        self.began = self.clock.now
        self.hour = hour
        self.folder = folder
        self.config = settings.read({"pits": ["home"], "silence": SILENCE, "tell": list(people)})
        self.gateway_talks = True
        self.alarms = {}
        self.start()

    def start(self):
        self.delivery = Delivery(self.folder / "w.sqlite", self.config.people, None, self.clock)
        local = lambda now: time.gmtime((now - self.began) + 3600 * self.hour)  # noqa: E731
        self.watchman = Watchman(self.config, self.link, self.delivery, self.clock, local)

    def say(self, name, **fields):
        self.link.heard.append(Message(topics.topic("home", name), topics.pack(self.clock.now, **fields)))

    def alarm(self, place, on=True, acknowledged=False):
        """Have the board raise or clear an alarm."""
        self.alarms.pop(place, None)
        if on:
            self.alarms[place] = reading.alarm(place, 2 if acknowledged else 1, self.clock.now)
        self.say("alarms", alarms=[self.alarms[key] for key in sorted(self.alarms)])

    def run(self, minutes):
        for step in range(round(minutes * 6)):
            self.clock.now += 10.0
            if self.gateway_talks and step % 6 == 0:
                self.say("gateway", up=1, since=self.began)
            self.watchman.once()

    @property
    def told(self):
        return [(round((row[0] - self.began) / 60), row[1], row[3]) for row in self.delivery.told()]


@pytest.fixture
def night(tmp_path):
    return Night(tmp_path)


def test_one_message_an_episode_and_an_all_clear(night):
    night.run(1)
    night.alarm(at.HIGH_WATER)
    night.run(10)
    night.alarm(at.HIGH_WATER, on=False)
    night.run(10)
    assert night.told == [
        (1, "owner", "HIGH: pit home: high water"),
        (16, "owner", "ALL CLEAR: pit home"),
    ]


def test_an_alarm_that_flutters_is_one_episode(night):
    for _ in range(10):
        night.alarm(at.HIGH_WATER)
        night.run(1)
        night.alarm(at.HIGH_WATER, on=False)
        night.run(1)
    night.run(10)
    titles = [title for _, who, title in night.told if who == "owner"]
    assert titles == ["HIGH: pit home: high water", "ALL CLEAR: pit home"]
    assert [who for _, who, _ in night.told].count("neighbor") == 2  # it came and went for a quarter of an hour


def test_the_neighbor_is_called_only_if_nobody_acknowledges(night, tmp_path):
    night.alarm(at.HIGH_WATER)
    night.run(20)
    assert [who for _, who, _ in night.told] == ["owner", "neighbor"]
    assert "nobody has acknowledged it for 15 min" in night.told[1][2]
    other = Night(tmp_path / "other")
    other.alarm(at.HIGH_WATER)
    other.run(5)
    other.alarm(at.HIGH_WATER, acknowledged=True)  # somebody pressed silence at the pit
    other.run(60)
    assert [who for _, who, _ in other.told] == ["owner"]


def test_acknowledging_by_command_stops_the_calls_until_something_worse_comes(night):
    night.alarm(at.UNAVAILABLE)
    night.run(1)
    with night.delivery.base:
        night.delivery.base.execute("insert into acknowledged values('home', 'Pat', 0)")
    night.run(40)
    assert [who for _, who, _ in night.told] == ["owner"]
    night.alarm(at.HIGH_WATER)
    night.run(20)
    assert [(who, title.split(":")[0]) for _, who, title in night.told[1:]] == [("owner", "HIGH"), ("neighbor", "HIGH")]


def test_something_new_is_an_update_at_once_if_worse_else_within_ten_minutes(night):
    night.alarm(at.UNAVAILABLE)
    night.run(2)
    night.alarm(at.MAINS_LOST)
    night.run(2)
    assert len(night.told) == 1
    night.run(8)
    assert night.told[-1] == (10, "owner", "MEDIUM: pit home: also mains lost (2 alarms active)")
    night.alarm(at.NO_PUMP)
    night.run(1)
    assert night.told[-1][2] == "HIGH: pit home: also both pumps unavailable (2 alarms active)"


def test_what_another_alarm_says_already_is_neither_counted_nor_told_again(night):
    night.alarm(at.UNAVAILABLE)
    night.run(1)
    night.alarm(at.NO_PUMP)
    night.alarm(at.UNAVAILABLE + 1)
    night.run(1)
    night.alarm(at.NO_PUMP, on=False)
    night.run(4)
    night.alarm(at.PUMP_WORN)
    night.run(90)
    titles = [title for _, who, title in night.told if who == "owner"]
    assert titles == [
        "MEDIUM: pit home: pump 1 unavailable",
        "HIGH: pit home: also both pumps unavailable",
        "LOW: pit home: also pump 1 worn (3 alarms active)",
    ]
    assert "Cleared: both pumps unavailable" in body_of(night)


def test_a_low_alarm_that_clears_soon_is_left_to_the_daily_look(night):
    for _ in range(3):
        night.alarm(at.CHATTERING)
        night.run(4)
        night.alarm(at.CHATTERING, on=False)
        night.run(30)
    assert not night.told


def test_who_is_only_called_because_nobody_acts_gets_one_message_an_hour_unless_it_is_high(tmp_path):
    medium = {**NEIGHBOR, "priorities": ["high", "medium"]}
    night = Night(tmp_path, [medium])
    night.alarm(at.MAINS_LOST)
    night.run(20)
    night.alarm(at.UNAVAILABLE)
    night.run(16)
    night.alarm(at.OUT_OF_SEQUENCE)
    night.run(38)
    assert len(night.told) == 1
    night.run(4)
    title = "MEDIUM: pit home: also pump 1 unavailable, floats out of sequence (3 alarms active)"
    assert night.told[1] == (75, "neighbor", title)
    night.alarm(at.HIGH_WATER)
    night.run(1)
    assert night.told[2][2] == "HIGH: pit home: also high water (4 alarms active)"


def test_a_high_alarm_that_nobody_acknowledges_is_told_again_ever_less_often(night):
    night.alarm(at.HIGH_WATER)
    night.run(8 * 60)
    minutes = [minute for minute, who, _ in night.told if who == "owner"]
    assert minutes == [0, 60, 180, 420]
    assert night.told[-1][2] == "HIGH: pit home: high water (still active, nobody has acknowledged it)"


def body_of(night):
    with night.delivery.lock:
        return night.delivery.base.execute("select body from message order by id desc limit 1").fetchone()[0]


def test_a_message_says_what_it_is_why_what_to_do_and_what_not_to(night):
    night.say("pumps", pumps=[{"last_fault": "overload"}, {"last_fault": "run lost"}], inflow_ml_min=0)
    night.say("floor", at_least_min=7, why="", inflow_ml_min=1, measured_at=1, storm=0)
    night.alarm(at.UNAVAILABLE)
    night.run(1)
    first, *rest = body_of(night).split("\n")
    assert first.startswith("MEDIUM: pump 1 unavailable, since 20")
    assert "  Last fault of pump 1: overload." in rest and not any("run lost" in line for line in rest)
    do = "  What to do: Check that water comes out of the discharge outdoors. Find the cause"
    assert any(line.startswith(do) for line in rest)
    caution = "  Caution: The program still tries a locked-out pump when the water is high"
    assert any(line.startswith(caution) for line in rest)
    assert "Time to floor if both pumps stopped now: at least 7 min." in rest
    assert rest[-1] == "Press silence at the pit, or run sumpbench acknowledge, so that nobody else is called."


def test_a_message_names_the_float_that_is_suspect(night):
    night.say("state", suspect=["lead", "pay", 7], wet=[])
    night.alarm(at.OUT_OF_SEQUENCE)
    night.run(1)
    assert "  Suspect: lead." in body_of(night).split("\n")


def test_a_silence_cannot_be_acknowledged_at_the_pit(night):
    night.gateway_talks = False
    night.run(5)
    assert body_of(night).endswith("To take charge run sumpbench acknowledge, so that nobody else is called.")


@pytest.mark.parametrize("forged", ["pay", 7, None, ["overload"], {"a": 1}])
def test_a_fault_that_is_none_of_the_controllers_is_not_passed_on(night, forged):
    night.say("pumps", pumps=[{"last_fault": forged}, forged], inflow_ml_min=0)
    night.alarm(at.UNAVAILABLE)
    night.run(1)
    assert "Last fault" not in body_of(night)


def test_a_new_high_alarm_never_waits(night):
    night.alarm(at.HIGH_WATER)
    night.run(1)
    night.say("board", up=0, since=night.clock.now)
    night.run(1)
    for _ in range(5):  # its coming and going is not told each time
        night.say("board", up=1, since=night.clock.now)
        night.run(1)
        night.say("board", up=0, since=night.clock.now)
        night.run(1)
    titles = [title for _, who, title in night.told if who == "owner"]
    assert titles == ["HIGH: pit home: high water",
                      "HIGH: pit home: also the controller does not answer its gateway (2 alarms active)"]  # fmt: skip


def test_a_low_alarm_waits_for_the_morning_and_a_high_one_does_not(tmp_path):
    night = Night(tmp_path, [OWNER], hour=23)
    night.alarm(at.CHATTERING)
    night.run(7 * 60)
    assert not night.told
    night.run(120)
    assert night.told == [(480, "owner", "LOW: pit home: a contact chatters")]
    loud = Night(tmp_path / "loud", [OWNER], hour=23)
    loud.alarm(at.HIGH_WATER)
    loud.run(1)
    assert [title for _, _, title in loud.told] == ["HIGH: pit home: high water"]


def test_in_quiet_hours_neither_a_low_alarm_nor_what_cleared_is_an_update(tmp_path):
    night = Night(tmp_path, [OWNER, NEIGHBOR], hour=23)
    for place in (at.UNAVAILABLE, at.MAINS_LOST):
        night.alarm(place)
    night.run(1)
    night.alarm(at.CHATTERING)
    night.run(30)
    night.alarm(at.MAINS_LOST, on=False)
    night.run(60)
    assert [title for _, _, title in night.told] == ["MEDIUM: pit home: pump 1 unavailable and 1 more"]
    night.run(7 * 60)
    minute, who, title = night.told[1]
    assert (minute, who) == (480, "owner") and title == "LOW: pit home: also a contact chatters (2 alarms active)"
    assert len(night.told) == 2  # what had cleared was in the same message


def test_an_old_low_alarm_does_not_shorten_the_wait_of_the_neighbor(night):
    night.alarm(at.INSPECTION_DUE)
    night.run(600)
    night.alarm(at.HIGH_WATER)
    night.run(10)
    assert [who for _, who, _ in night.told] == ["owner", "owner"]
    night.run(10)
    assert night.told[-1] == (615, "neighbor", "HIGH: pit home: high water (nobody has acknowledged it for 15 min)")
    night.alarm(at.HIGH_WATER, on=False)
    night.run(10)
    assert night.told[-1][1:] == ("neighbor", "ALL CLEAR: pit home")  # the low one was never the neighbor's


def test_silence_of_the_gateway_is_an_alarm_and_its_return_the_end(night):
    night.run(2)
    night.gateway_talks = False
    night.run(5)
    assert [title for _, _, title in night.told] == ["HIGH: pit home: no word from the gateway"]
    night.gateway_talks = True
    night.run(7)
    assert night.told[-1][2] == "ALL CLEAR: pit home"


def test_the_last_will_tells_sooner_but_a_restart_does_not(night):
    night.run(2)
    night.gateway_talks = False
    night.say("gateway", up=0, since=0)
    night.run(0.5)
    assert not night.told
    night.run(1)
    assert [title for _, _, title in night.told] == ["HIGH: pit home: no word from the gateway"]


def test_a_retained_word_of_a_gateway_long_gone_does_not_count_as_life(night):
    night.gateway_talks = False
    for _ in range(60):
        night.link.heard.append(Message("sumpbench/home/gateway", topics.pack(night.clock.now - 9000, up=1, since=0)))
        night.run(0.5)
    assert night.told and night.told[0][2] == "HIGH: pit home: no word from the gateway"


def test_a_silent_board_and_a_missing_daily_message(night):
    night.say("board", up=0, since=night.clock.now)
    night.run(2)
    assert [title for _, _, title in night.told] == ["HIGH: pit home: the controller does not answer its gateway"]
    night.say("board", up=1, since=night.clock.now)
    night.run(26 * 60)
    assert night.told[-1][2] == "MEDIUM: pit home: the daily message did not come"


def test_a_watchman_without_a_broker_says_so(night):
    night.run(1)
    night.link.connected, night.gateway_talks = False, False
    night.run(5)
    assert [title for _, _, title in night.told] == ["HIGH: pit home: the watchman cannot reach the broker"]


def test_a_restart_of_the_watchman_tells_nothing_twice(night):
    night.alarm(at.HIGH_WATER)
    night.run(2)
    night.delivery.close()
    night.start()
    night.alarm(at.HIGH_WATER)
    night.run(5)
    assert [title for _, _, title in night.told] == ["HIGH: pit home: high water"]


def test_the_daily_look_goes_to_who_wants_it(night):
    lines = [{"name": "water pumped", "value": 1000, "unit": "mL", "text": "", "well": True}]
    night.run(1)
    night.say("daily", look={"well": True, "lines": lines, "alarms": [], "plots": {}, "at": 0})
    night.run(1)
    assert [(who, title) for _, who, title in night.told] == [("owner", "Pit home: all is well")]


WORD = st.text(max_size=9)
LEAVES = st.none() | st.booleans() | st.integers() | WORD | st.floats(allow_nan=False, allow_infinity=False)


@given(st.sampled_from([row.name for row in topics.TABLE]),
       st.dictionaries(st.sampled_from(["up", "alarms", "look", "at_least_min", "since"]),
                       st.recursive(LEAVES, lambda x: st.lists(x, max_size=3) | st.dictionaries(WORD, x, max_size=3),
                                    max_leaves=5)))  # fmt: skip
def test_no_payload_of_a_hostile_broker_raises_or_speaks(tmp_path_factory, name, fields):
    night = Night(tmp_path_factory.mktemp("hostile"))
    body = {"v": 1, "at": night.clock.now, **fields}
    night.link.heard.append(Message(f"sumpbench/home/{name}", json.dumps(body).encode()))
    night.run(0.5)
    known = {"no word", "high water", *(row[at.TEXT] for row in at.TABLE), "the controller does not answer its gateway"}
    for _, _, title in night.told:
        # A forged message can have people told our own words, never its own.
        assert title.startswith("Pit home: ") or any(words in title for words in known)
    night.delivery.close()


def test_a_text_from_the_broker_is_never_passed_on(night):
    forged = {"name": "high_water", "text": "CALL 555-0100 NOW", "priority": "low", "active": 1, "do": "pay"}
    night.say("alarms", alarms=[forged, {"name": "no such alarm", "active": 1}, 7])
    night.run(1)
    rows = night.delivery.base.execute("select title, body from message").fetchall()
    assert rows[0][0] == "HIGH: pit home: high water"
    assert not any("555" in title + body or "pay" in body for title, body in rows)


# Delivery.


def test_a_hung_or_refusing_service_holds_up_nobody_else(tmp_path):
    hang, went = threading.Event(), []

    def send(url, title, _body):
        if "hang" in url:
            hang.wait(60)
        if "raise" in url:
            raise OSError("refused")
        if "refuse" in url:
            return False
        went.append((url, title))
        return True

    people = [settings.Person(name, name) for name in ("hang", "raise", "refuse", "good")]
    delivery = Delivery(tmp_path / "w", people, send, poll_s=0.01)
    delivery.start()
    for n in range(3):
        for person in people:
            delivery.put(person.who, f"pit{n}", f"message {n}", "", time.time())
    wait_for(lambda: len(went) == 3)
    assert went == [("good", f"message {n}") for n in range(3)]
    hang.set()
    wait_for(lambda: len([url for url, _ in went if url == "hang"]) == 3)
    delivery.close()


def test_what_did_not_go_is_tried_again_and_only_the_newest(tmp_path):
    clock, fails, went = Clock(), [True], []

    def send(_url, title, _body):
        if not fails[0]:
            went.append(title)
        return not fails[0]

    person = settings.Person("owner", "x")
    delivery = Delivery(tmp_path / "w", [person], send, clock)
    delivery.put("owner", "home", "first", "", clock.now)
    delivery.put("owner", "away", "other pit", "", clock.now)
    assert delivery.send_next(person) and delivery.send_next(person) and not delivery.send_next(person)
    delivery.put("owner", "home", "second", "", clock.now)
    fails[0] = False
    clock.now += RETRY_S[0] + 1
    while delivery.send_next(person):
        pass
    assert went == ["other pit", "second"]
    assert [row[4] for row in delivery.told()] == ["superseded", "sent", "sent"]


def test_messages_outlive_a_kill(tmp_path):
    person, clock, went = settings.Person("owner", "x"), Clock(), []
    Delivery(tmp_path / "w", [person], None, clock).put("owner", "home", "first", "", clock.now)
    again = Delivery(tmp_path / "w", [person], lambda url, title, body: went.append(title) or True, clock)
    assert again.send_next(person) and went == ["first"]


# The file.


def test_every_error_of_the_file_is_told_at_once():
    bad = {"who": "a", "url_from": "NOT_SET", "priorities": ["loud"]}
    people = [{"who": "a", "quiet": "late", "url": "x"}, bad]
    with pytest.raises(InputError) as caught:
        settings.read({"pits": ["My house"], "silence": {"gateway": "soon"}, "tell": people}, environment={})
    text = str(caught.value)
    for words in ("My house", "soon", '"late"', "NOT_SET", "must be of high, medium, low", 'named "a"'):
        assert words in text


def test_the_file_must_be_its_owners_alone(tmp_path):
    file = tmp_path / "watchman.toml"
    file.write_text('pits = ["home"]\n[[tell]]\nwho = "a"\nurl = "json://127.0.0.1/"\n')
    file.chmod(0o640)
    with pytest.raises(InputError, match="chmod 600"):
        settings.load(file)
    file.chmod(0o600)
    assert settings.load(file).people[0].who == "a"
