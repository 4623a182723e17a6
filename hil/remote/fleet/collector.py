"""Stores what gateways publish: a batch at a time, acknowledged and receipted after the commit."""

import json
import time

from duplexsump.control import alarm_table

from hil.remote import topics

READER = "fleet"
HEARD = ("gateway", "board", "log")
MOST_ALARMS = alarm_table.COUNT
_PRIORITY = {row[alarm_table.NAME]: row[alarm_table.PRIORITY] for row in alarm_table.TABLE}
NO_ALARM = 9
PLACE = {"gateway": 2, "board": 3}  # of NOW_FIELDS


class Collector:
    """`connection` is a manual `broker.Connection` or what has its methods; `store` a `store.Store`."""

    def __init__(self, connection, store, clock=time.time, receipts=True):
        self.connection, self.store, self.clock, self.receipts = connection, store, clock, receipts
        self.stored = 0
        self.refused = 0

    def once(self):
        """Store what was heard since the last pass; return how many messages."""
        messages = self.connection.messages()
        if not messages:
            return 0
        now = self.clock()
        batch = Batch(now)
        for message in messages:
            if not batch.take(message.topic, message.payload):
                self.refused += 1
        batch.put(self.store)
        for message in messages:
            self.connection.took(message)
        if self.receipts and self.connection.connected:
            for (pit, box), numbers in batch.got.items():
                for at in range(0, len(numbers), 500):
                    payload = topics.pack(now, id=box, got=numbers[at : at + 500])
                    self.connection.publish(topics.topic(pit, f"receipt/{READER}"), payload)
        self.stored += len(messages)
        return len(messages)


class Batch:
    """What one transaction stores."""

    def __init__(self, now):
        self.now = now
        self.ups, self.nows, self.statuses, self.records, self.got = [], {}, [], [], {}

    def take(self, topic, payload):
        """Take one message; return whether it had the shape of its topic."""
        found, body = topics.split(topic), topics.unpack(payload)
        if found is None or body is None:
            return False
        pit, name = found
        if name == "log":
            return self._log(pit, body)
        if name in PLACE:
            up = [pit, self.now, None, None]
            up[PLACE[name]] = 1 if body.get("up") == 1 else 0
            self.ups.append(tuple(up))
            if pit in self.nows:  # told after a status of the same batch
                row = list(self.nows[pit])
                row[PLACE[name]] = up[PLACE[name]]
                self.nows[pit] = tuple(row)
        return True

    def _log(self, pit, body):
        box, n, kind = body.get("id"), body.get("n"), body.get("kind")
        if not isinstance(box, str) or len(box) > 40 or type(n) is not int or not 0 < n < 1 << 62 or "\0" in box:
            return False
        if kind == "status":
            row = _status(pit, box, n, body)
            self.statuses.append(tuple(row.values()))
            if body["at"] > self.now - 3600.0 or pit not in self.nows:  # what was told late is no news of now
                self.nows[pit] = _now(row, body, self.now)
        elif kind in ("alarm", "event", "gap"):
            rest = {name: value for name, value in body.items() if name not in ("v", "id", "n", "kind", "at")}
            text = json.dumps(rest)[:4000].replace("\\u0000", "")
            self.records.append((pit, box, n, body["at"], kind, text))
        else:
            return False
        self.got.setdefault((pit, box), []).append(n)
        return True

    def put(self, store):
        """Store everything."""
        ups = list({(pit, g is None): (pit, h, g, b) for pit, h, g, b in self.ups}.values())
        store.put(list(self.nows.values()), self.statuses, self.records, ups)


def _whole(value, most=1 << 40):
    # A whole number from 0 up, or None: what comes from outside is believed no further.
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value < most:
        return None
    return int(value)


def _part(body, name):
    found = body.get(name)
    return found if isinstance(found, dict) else {}


def _status(pit, box, n, body):
    pumps = _part(body, "pumps")
    rows = pumps.get("pumps") if isinstance(pumps.get("pumps"), list) else []
    rows = [row if isinstance(row, dict) else {} for row in [*rows[:2], {}, {}][:2]]
    names = body.get("alarms") if isinstance(body.get("alarms"), list) else []
    names = [name for name in names[:MOST_ALARMS] if isinstance(name, str) and name in _PRIORITY]
    return {
        "pit": pit, "box": box, "n": n, "at": float(body["at"]), "up": 1 if body.get("up") == 1 else 0,
        "inflow": _whole(pumps.get("inflow_ml_min")), "rate_1": _whole(rows[0].get("rate_ml_min")),
        "rate_2": _whole(rows[1].get("rate_ml_min")), "starts_1": _whole(rows[0].get("starts")),
        "starts_2": _whole(rows[1].get("starts")), "run_1": _whole(rows[0].get("run_s")),
        "run_2": _whole(rows[1].get("run_s")), "floor_min": _whole(_part(body, "floor").get("at_least_min")),
        "battery": _whole(_part(body, "battery").get("mv")), "mains": _whole(_part(body, "state").get("mains"), 2),
        "alarms": " ".join(names),
    }  # fmt: skip


def _now(row, body, now):
    names = row["alarms"].split()
    available = _part(body, "state").get("available")
    out = 2 - len(available) if isinstance(available, list) and len(available) <= 2 else None
    rate = max(row["rate_1"] or 0, row["rate_2"] or 0)
    worst = min((_PRIORITY[name] for name in names), default=NO_ALARM)
    return (row["pit"], now, 1, row["up"], row["alarms"], worst, out, row["floor_min"], row["inflow"], rate,
            row["battery"], row["mains"])  # fmt: skip
