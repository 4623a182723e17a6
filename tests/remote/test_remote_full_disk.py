"""A full disk: what holds now is still told, by gateway and watchman alike; nothing ends, nothing is told twice."""

import contextlib
import sqlite3

import pytest
from duplexsump.control import alarm_table as at
from duplexsump.control import alarms
from remote_rig import Clock, FakeClient, FakeLink

from hil.remote.gateway.outbox import Outbox
from hil.remote.gateway.publisher import Publisher
from hil.remote.gateway.run import Options, Running
from hil.remote.watchman import config as settings
from hil.remote.watchman.delivery import FULL_S, Delivery

ROOMY = 1_000_000


def fill(base):
    """Leave a database no page more than it has, and those full, as on a full disk."""
    base.execute("create table if not exists ballast(body text)")
    base.commit()
    (pages,) = base.execute("pragma page_count").fetchone()
    base.execute(f"pragma max_page_count = {pages + 8}")
    for size in (2000, 200, 20, 1):
        with contextlib.suppress(sqlite3.OperationalError):
            while True:
                with base:
                    base.execute("insert into ballast values(?)", ("x" * size,))


def room(base):
    """Give the disk room again."""
    base.execute(f"pragma max_page_count = {ROOMY}")


def takes(base, anything):
    """Have every write to a database fail, as one that needs another page does on a full disk, or succeed again."""
    base.execute(f"pragma query_only = {0 if anything else 1}")


def test_an_outbox_that_could_not_keep_counts_what_it_has(tmp_path):
    box = Outbox(tmp_path / "o")
    box.put(1.0, "alarm", name="high_water")
    before = box.count, box.bytes
    fill(box.base)
    with pytest.raises(sqlite3.OperationalError, match="full"):
        box.put_all([(2.0, "status", {"x": "y" * 5000}), (3.0, "status", {"x": "y" * 5000})])
    assert (box.count, box.bytes) == before == box.base.execute(
        "select count(*), sum(length(body)) from waiting").fetchone()  # fmt: skip
    room(box.base)
    box.put(4.0, "alarm", name="no_pump")
    assert box.count == 2 and len(box.take(10)) == 2


@pytest.fixture
def running(tmp_path):
    clock, client = Clock(), FakeClient()
    found = Running(Options("p", "home", tmp_path / "g"), clock, lambda: client)
    found.publisher = Publisher(FakeLink(), "home", found.outbox, clock())
    found.client = client
    yield found
    found.close()


def passes(running, count):
    for _ in range(count):
        running.clock.now += 1.0
        running.once()


def test_a_gateway_on_a_full_disk_still_tells_what_holds(running):
    link = running.publisher.connection
    passes(running, 70)
    for base in (running.book.base, running.outbox.base):
        takes(base, False)
    running.client.alarm_states[at.HIGH_WATER] = alarms.UNACKNOWLEDGED
    running.client.states_["outputs"] = 1
    passes(running, 130)
    running.client.states_["outputs"] = 0
    passes(running, 5)
    assert [a["name"] for a in link.bodies("home", "alarms")[-1]["alarms"]] == ["high_water"]
    assert link.bodies("home", "state")[-1]["pumps_on"] == []
    assert "nothing can be kept" in running.gateway.error
    beats = link.bodies("home", "gateway")
    assert len(beats) >= 3
    for base in (running.book.base, running.outbox.base):
        takes(base, True)
    running.client.alarm_states[at.HIGH_WATER] = alarms.NORMAL
    passes(running, 130)
    events = [b["event"] for b in link.bodies("home", "log") if b["kind"] == "alarm"]
    assert events[-1] == "cleared" and running.outbox.count < 5


@pytest.fixture
def delivery(tmp_path):
    clock, went = Clock(), []

    def send(url, title, _body):
        went.append((url, title))
        return "refuse" not in url

    people = [settings.Person("owner", "good"), settings.Person("other", "refuse")]
    found = Delivery(tmp_path / "w", people, send, clock)
    found.goes = went
    yield found
    found.close()


def test_a_watchman_on_a_full_disk_still_tells_and_tells_once(delivery):
    owner, _ = delivery.people
    delivery.put("owner", "home", "kept", "", delivery.clock())
    takes(delivery.base, False)
    for n in range(3):
        delivery.put("owner", "home", f"not kept {n}", "", delivery.clock())
    for _ in range(20):
        delivery.clock.now += 1.0
        delivery.send_next(owner)
    assert delivery.goes == [("good", "kept"), *(("good", f"not kept {n}") for n in range(3))]
    takes(delivery.base, True)
    delivery.send_next(owner)
    assert [row[4] for row in delivery.told()] == ["sent"] and len(delivery.goes) == 4


def test_a_service_that_refuses_is_not_asked_over_and_over_on_a_full_disk(delivery):
    other = delivery.people[1]
    takes(delivery.base, False)
    delivery.put("other", "home", "not kept", "", delivery.clock())
    for _ in range(300):
        delivery.clock.now += 0.2
        delivery.send_next(other)
    assert 1 <= len(delivery.goes) <= 2
    delivery.clock.now += FULL_S
    delivery.send_next(other)
    assert len(delivery.goes) <= 3
