"""The watchman's core: what was heard goes to the pits' watches, their conditions to the episodes, messages out.

No thread and no clock of its own: `once()` does one pass at the time that `clock()` says.
"""

import json
import time

from hil.remote import topics
from hil.remote.daily import text as daily_text
from hil.remote.watchman import episode
from hil.remote.watchman.watch import HEARD, PitWatch


class Watchman:
    """`connection` is a `broker.Connection` or what has its methods; `delivery` a `delivery.Delivery`."""

    def __init__(self, config, connection, delivery, clock=time.time, local=time.localtime):
        self.config, self.connection, self.delivery, self.clock, self.local = config, connection, delivery, clock, local
        now = clock()
        self.reached_at = now
        self.pits, self.episodes, self.kept = {}, {}, {}
        for pit in config.pits:
            text = delivery.kept(pit)
            kept = json.loads(text) if text else {}
            self.pits[pit] = PitWatch(pit, config, now, kept.get("watch"))
            self.episodes[pit] = kept.get("episode")
            self.kept[pit] = text

    def once(self):
        """Make one pass."""
        now = self.clock()
        for message in self.connection.messages():
            self.hear(message.topic, message.payload, now)
        if self.connection.connected:
            self.reached_at = now
        for pit, who in self.delivery.acknowledged():
            if self.episodes.get(pit) is not None:
                episode.acknowledge(self.episodes[pit], f"by {who}")
        for pit in self.pits:
            self._look(pit, now)

    def hear(self, topic, payload, now):
        """Take one message; what is none of the published list, or of a pit that is not ours, is passed over."""
        found = topics.split(topic)
        if found is None or found[0] not in self.pits or found[1] not in HEARD:
            return
        body = topics.unpack(payload)
        if body is None:
            return
        watch = self.pits[found[0]]
        before = watch.daily_at
        watch.hear(found[1], body, now)
        if watch.daily_at > before and watch.look is not None:
            self._daily(found[0], watch.look, now)

    def _daily(self, pit, look, now):
        try:
            title, body = daily_text.message(look, pit)
        except (KeyError, TypeError, ValueError, AttributeError, IndexError):
            return  # not the shape of a daily look
        for person in self.config.people:
            if person.daily:
                self.delivery.put(person.who, f"{pit} daily", title, body, now)

    def _look(self, pit, now):
        watch = self.pits[pit]
        conditions = watch.conditions(now, now - self.reached_at)
        state = self.episodes[pit]
        people, settle_s = self.config.people, self.config.settle_s
        state, messages = episode.step(state, conditions, watch.floor, people, pit, now, settle_s, self.local)
        self.episodes[pit] = state
        for who, title, body in messages:
            self.delivery.put(who, pit, title, body, now)
        text = json.dumps({"watch": watch.kept(), "episode": state})
        if text != self.kept[pit] and self.delivery.keep(pit, text):
            self.kept[pit] = text
