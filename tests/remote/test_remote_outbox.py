"""The outbox: on disk before it is told, bounded, alarms last, nothing given twice the same number."""

import pytest

from hil.remote import topics
from hil.remote.gateway.outbox import RESEND_S, Outbox


@pytest.fixture
def path(tmp_path):
    return tmp_path / "outbox.sqlite"


def numbers(box, most=1000):
    return [n for n, _ in box.take(most)]


def test_what_was_put_in_outlives_a_kill(path):
    first = Outbox(path)
    first.put(1.0, "alarm", name="high_water")
    again = Outbox(path)  # the first was never closed
    (n, payload), *rest = again.take(10)
    assert not rest and again.id == first.id
    assert topics.unpack(payload) == {"v": 1, "at": 1.0, "name": "high_water", "id": again.id, "n": n, "kind": "alarm"}


def test_a_record_is_handed_out_once_until_it_is_lost(path):
    box = Outbox(path)
    box.put_all([(1.0, "status", {}), (2.0, "status", {})])
    assert numbers(box) == [1, 2] and numbers(box) == []
    box.again()
    assert numbers(box) == [1, 2]
    box.arrived([1, 2], 3.0)
    box.again()
    assert numbers(box) == [] and box.count == box.bytes == 0


def test_no_number_is_used_twice(path):
    box = Outbox(path)
    box.put(1.0, "status")
    box.arrived(numbers(box), 1.0)
    box.close()
    box = Outbox(path)
    box.put(2.0, "status")
    assert numbers(box) == [2]


def test_a_full_outbox_gives_up_status_first_and_alarms_last(path):
    box = Outbox(path, most_records=100)
    for i in range(60):
        box.put(float(i), "status")
        box.put(float(i), "alarm", i=i)
        box.put(float(i), "event")
    kinds = [topics.unpack(payload)["kind"] for _, payload in box.take(1000)]
    assert len(kinds) <= 100 and kinds.count("alarm") == 60 and "status" not in kinds[:60]
    assert kinds.count("gap") >= 1


def test_the_gap_says_what_was_given_up(path):
    box = Outbox(path, most_records=100)
    for i in range(300):
        box.put(float(i), "status")
    bodies = [topics.unpack(payload) for _, payload in box.take(1000)]
    there = [body["n"] for body in bodies]
    told = [body for body in bodies if body["kind"] == "gap"]
    # Every number is either there or within what a gap says; gaps themselves may have been given up for status.
    assert told and all(body["first"] <= body["last"] for body in told)
    assert len(there) == len(set(there)) <= 100 and max(there) >= 300


def test_bytes_are_bounded_too(path):
    box = Outbox(path, most_bytes=10_000)
    for i in range(50):
        box.put(float(i), "event", text="x" * 1000)
    assert box.bytes <= 10_000 and box.count <= 10


def test_with_readers_named_a_record_stays_until_all_have_stored_it(path):
    box = Outbox(path, readers=("fleet", "watchman"))
    box.put(1.0, "alarm")
    box.arrived(numbers(box), 10.0)
    assert box.count == 1
    box.receipt("fleet", box.id, [1])
    box.overdue(10.0 + RESEND_S + 1)
    assert numbers(box) == [1]  # the other's receipt has not come: it is sent again
    box.arrived([1], 50.0)
    box.receipt("watchman", box.id, [1])
    assert box.count == 0


@pytest.mark.parametrize(
    ("reader", "got"),
    [("stranger", [1]), ("fleet", "1"), ("fleet", None), ("fleet", [True, -1, "1", 1.0, 1 << 70]), ("fleet", [2])],
)
def test_a_forged_or_broken_receipt_lets_nothing_go(path, reader, got):
    box = Outbox(path, readers=("fleet",))
    box.put(1.0, "alarm")
    box.receipt("fleet", box.id, [1])  # not even sent yet
    box.arrived(numbers(box), 2.0)
    box.receipt(reader, box.id, got)
    box.receipt("fleet", "another box", [1])
    assert box.count == 1
