"""The engine behind the page: messages in, messages out, whatever carries them.

In:  {"do": WHAT, "value": TEXT, "at": "02:10" or nothing}, {"speed": N}, {"next": true}, {"back": MS},
     {"packaged": NAME, "own": BOOL}, {"open": TEXT of a site file, "own": BOOL}, {"system": "us" | "si"},
     {"save": true}, {"share": true}, {"take": a shared session}, {"prove": "first" | "more" | "end"}
Out: {"about": ...}, {"state": ..., "story": ...}, {"fresh": true}, {"site": TEXT}, {"share": OBJECT},
     {"proof": ...}, {"note": TEXT}, {"error": TEXT}
"""

from host_sim.errors import InputError
from host_sim.living import share
from host_sim.living.session import LONGEST_S
from host_sim.living.shadow import Witnessed
from host_sim.living.view import Story, about, state
from host_sim.site import faults

SPEEDS = (0, 1, 10, 60, 600)
LEAP_MS = 500  # of real time that one look may make up for at most
NEXT_LIMIT_MS = 3600_000
SLICE_MS = 3600_000  # simulated in one look while an instant is made up for, so that nobody else waits for long
MOST_TOLD = 4000  # events, and points of a curve, in one message: a month is told anew in pieces
DAY_S = 86400.0


class Engine:
    """One session under the hands of one page, at the site of a `share.Origin`."""

    def __init__(self, origin):
        self.story = Story()
        self.speed = 1
        self._take(origin, origin.session())

    def _take(self, origin, session):
        self.origin, self.session = origin, session
        self._again()

    def _again(self):
        # The story is told from its beginning.
        self.story = Story(self.story.units.name)
        self.debt_ms, self.goal_ms, self.digits = 0.0, 0, ""
        self.proof = None

    def hello(self):
        """Return the message with what does not change."""
        return {"about": about(self.session), "speeds": list(SPEEDS), "sites": share.sites(),
                "packaged": self.origin.name if self.origin.packaged else "", "own": self.origin.own}  # fmt: skip

    def look(self, real_ms):
        """Go on by the real time that has passed, times the speed; return the message with what is so now."""
        if self.session.now_ms < self.goal_ms:
            self._catch_up()
            return self.seen() | self._arrived()
        arrived = self._arrived()
        self.debt_ms += min(max(real_ms, 0.0), LEAP_MS) * self.speed
        whole = int(self.debt_ms)
        self.debt_ms -= whole
        if whole:
            self.session.advance(self.session.now_ms + whole)
        return self.seen() | arrived

    def seen(self):
        """Return the message with what is so now, and what is new in the story."""
        story = self.story.more(self.session, MOST_TOLD)
        return {"state": state(self.session) | {"goal_ms": self.goal_ms}, "story": story, "speed": self.speed}

    def _catch_up(self):
        self.session.advance(min(self.goal_ms, self.session.now_ms + SLICE_MS))

    def _arrived(self):
        # A shared session has come to where it was shared: is it the same?
        if not self.digits or self.session.now_ms < self.goal_ms:
            return {}
        same, self.digits = self.session.digest()[: share.DIGITS] == self.digits, ""
        return {"note": "The shared session, carried out anew here: the same journal, bit for bit." if same else
                "The shared session, carried out anew here, gives another journal: its site, firmware or simulator was "
                "another version."}  # fmt: skip

    def hear(self, message):
        """Carry out one message; return those that answer it.  What cannot be done is told, and changes nothing."""
        try:
            if not isinstance(message, dict):
                raise InputError("a message is an object of names and values")
            for name, work in HEARD.items():
                if name in message:
                    return work(self, message[name], message)
            raise InputError("this message asks for nothing that the pit knows")
        except InputError as error:
            return [{"error": "\n".join(f"{error.source}: {line}" if error.source else line
                                        for line in error.problems)}]  # fmt: skip

    def _do(self, what, message):
        at = message.get("at", "")
        self.session.do(what, message.get("value", ""), self._at_ms(at) if at else None)
        return []

    def _at_ms(self, text):
        # The next time the clock shows this, or so much later than now.
        if not isinstance(text, str):
            raise InputError("a time is wanted as text")
        now_s = self.session.now_ms / 1000.0
        try:
            ahead_s = faults.time_of(text, ((self.session.site.begins_s or 0.0) + now_s) % DAY_S)
            if not ahead_s < LONGEST_S:
                raise ValueError(f'"{text[:20]}" is after the end of every session')
        except (ValueError, OverflowError) as error:
            raise InputError(f"at: {error}") from error
        return round((now_s + ahead_s) * 10.0) * 100

    def _speed(self, speed, _message):
        if speed not in SPEEDS or isinstance(speed, bool):
            raise InputError(f"speed {str(speed)[:20]!r}: one of {', '.join(map(str, SPEEDS))} is wanted")
        self.speed = speed
        return []

    def _next(self, _value, _message):
        # On to the next line of the story, an hour at most.
        session = self.session
        events, limit = session.pair.night.recorder.trace.events, session.now_ms + NEXT_LIMIT_MS
        count = len(events)
        while len(events) == count and session.now_ms < limit:
            session.advance(min(limit, session.next_event_ms()))
        return []

    def _back(self, at_ms, _message):
        if not isinstance(at_ms, int) or isinstance(at_ms, bool):
            raise InputError(f"back to {str(at_ms)[:20]!r}: milliseconds from the start are wanted")
        self.session.rewind(at_ms)
        self._again()
        self.goal_ms = at_ms
        self._catch_up()
        return [{"fresh": True}]

    def _packaged(self, name, message):
        origin = share.of_packaged(name, message.get("own") is True)
        return self._opened(origin, origin.session())

    def _open(self, text, message):
        origin = share.of_text(text, message.get("own", True) is True, self.origin.folder)
        return self._opened(origin, origin.session())

    def _opened(self, origin, session):
        self._take(origin, session)
        return [self.hello(), {"fresh": True}]

    def _shared(self, given, _message):
        origin, session, goal_ms, digits = share.unpacked(given, self.origin.folder)
        answers = self._opened(origin, session)
        self.speed, self.goal_ms, self.digits = 0, goal_ms, digits
        self._catch_up()
        return answers

    def _system(self, name, _message):
        if name not in ("us", "si"):
            raise InputError(f'units "{str(name)[:20]}": "us" or "si" is wanted')
        self.story = Story(name)
        return [{"fresh": True}]

    def _prove(self, what, _message):
        if what == "first":
            self.proof = Witnessed(self.session)
            return [{"proof": {"first": self.proof.first()}}]
        if what not in ("more", "end") or (what == "more" and self.proof is None):
            raise InputError('a proof is asked for by "first", then "more" until its end')
        if what == "end":
            self.proof = None
            return []
        told = self.proof.more()
        if told.get("end"):
            self.proof = None
        return [{"proof": told}]


HEARD = {
    "do": Engine._do,
    "speed": Engine._speed,
    "next": Engine._next,
    "back": Engine._back,
    "packaged": Engine._packaged,
    "open": Engine._open,
    "take": Engine._shared,
    "share": lambda engine, _value, _message: [{"share": share.packed(engine.origin, engine.session)}],
    "save": lambda engine, _value, _message: [{"site": engine.session.site_text()}],
    "system": Engine._system,
    "prove": Engine._prove,
}
