"""Publishes what the gateway holds: retained states when they change, the outbox in order, a beat each minute.

It waits for nothing: what cannot go now stays in the outbox, and states are told anew after each connection.
"""

from hil.remote import topics
from hil.remote.broker import IN_FLIGHT

BEAT_S = 60.0


class Publisher:
    """`connection` is a `broker.Connection` (or what has its methods), None for a gateway that only serves."""

    def __init__(self, connection, pit, outbox, began):
        self.connection, self.pit, self.outbox, self.began = connection, pit, outbox, began
        self.mids = {}
        self.numbers = []  # acknowledged by the broker, not yet noted on disk
        self.sent = {}
        self.connects = 0
        self.beat_at = 0.0

    def pump(self, states, now):
        """Send what has changed and what waits, take in what the broker acknowledged.

        A full disk raises sqlite3.Error, after the states have gone.
        """
        link = self.connection
        if link is None:
            return
        if link.connected:
            self._states(link, states, now)
        self._arrived(now)
        self._receipts()
        if not link.connected:
            return
        self.outbox.overdue(now)
        for n, payload in self.outbox.take(max(0, IN_FLIGHT - len(self.mids))):
            self.mids[link.publish(topics.topic(self.pit, "log"), payload)] = n

    def _states(self, link, states, now):
        # What holds now needs no disk, and goes first.
        if link.connects != self.connects:
            self.connects, self.sent, self.beat_at = link.connects, {}, 0.0
        if now - self.beat_at >= BEAT_S:
            self.beat_at = now
            self._publish("gateway", topics.pack(now, up=1, since=self.began))
        for name, state in list(states.items()):
            if self.sent.get(name) is not state:
                self.sent[name] = state
                self._publish(name, topics.pack(state[0], **state[1]))

    def _publish(self, name, payload):
        self.connection.publish(topics.topic(self.pit, name), payload, topics.BY_NAME[name].retained)

    def _arrived(self, now):
        self.numbers += [self.mids.pop(mid) for mid in self.connection.published() if mid in self.mids]
        self.outbox.arrived(self.numbers, now)
        self.numbers = []

    def _receipts(self):
        for message in self.connection.messages():
            found = topics.split(message.topic)
            body = topics.unpack(message.payload)
            if found is not None and body is not None and found[0] == self.pit and found[1].startswith("receipt/"):
                self.outbox.receipt(found[1].partition("/")[2], body.get("id"), body.get("got"))
