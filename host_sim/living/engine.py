"""The engine behind the page: messages in, messages out, whatever carries them.

In:  {"do": WHAT, "value": TEXT}, {"speed": N}, {"next": true}, {"back": MS}, {"save": true},
     {"open": TEXT of a site file, "own": BOOL}, {"system": "us" | "si"}
Out: {"about": ...}, {"state": ..., "story": ...}, {"site": TEXT}, {"error": TEXT}
"""

import tomllib

from host_sim.errors import InputError
from host_sim.living.session import Session
from host_sim.living.view import Story, about, state

SPEEDS = (0, 1, 10, 60, 600)
LONGEST_TEXT = 200_000  # characters of a site file
LEAP_MS = 500  # of real time that one look may make up for at most
NEXT_LIMIT_MS = 3600_000


class Engine:
    """One session under the hands of one page.  `data` is a parsed site file; see `Session` for the rest."""

    def __init__(self, data, folder, source, own=False):
        self.folder = folder
        self.story = Story()
        self.speed = 1
        self.debt_ms = 0.0
        self._take(Session(data, folder, source, own))

    def _take(self, session):
        self.session = session
        self.story = Story(self.story.units.name)
        self.debt_ms = 0.0

    def hello(self):
        """Return the message with what does not change."""
        return {"about": about(self.session), "speeds": list(SPEEDS)}

    def look(self, real_ms):
        """Go on by the real time that has passed, times the speed; return the message with what is so now."""
        self.debt_ms += min(max(real_ms, 0.0), LEAP_MS) * self.speed
        whole = int(self.debt_ms)
        self.debt_ms -= whole
        if whole:
            self.session.advance(self.session.now_ms + whole)
        return self.seen()

    def seen(self):
        """Return the message with what is so now, and what is new in the story."""
        return {"state": state(self.session), "story": self.story.more(self.session), "speed": self.speed}

    def hear(self, message):
        """Carry out one message; return those that answer it.  What cannot be done is told, and changes nothing."""
        try:
            return self._hear(message)
        except InputError as error:
            return [{"error": str(error)}]

    def _hear(self, message):
        if not isinstance(message, dict):
            raise InputError("a message is an object of names and values")
        if "do" in message:
            self.session.do(message["do"], message.get("value", ""))
            return []
        if "speed" in message:
            if message["speed"] not in SPEEDS or isinstance(message["speed"], bool):
                raise InputError(f"speed {message['speed']!r}: one of {', '.join(map(str, SPEEDS))} is wanted")
            self.speed = message["speed"]
            return []
        if "next" in message:
            return self._next()
        if "back" in message:
            if not isinstance(message["back"], int) or isinstance(message["back"], bool):
                raise InputError(f"back to {message['back']!r}: milliseconds from the start are wanted")
            self.session.back_to(message["back"])
            self._take(self.session)
            return [{"fresh": True}]
        if "save" in message:
            return [{"site": self.session.site_text()}]
        if "open" in message:
            return self._open(message)
        if "system" in message:
            if message["system"] not in ("us", "si"):
                raise InputError(f'units "{message["system"]}": "us" or "si" is wanted')
            self.story = Story(message["system"])
            return [{"fresh": True}]
        raise InputError("this message asks for nothing that the pit knows")

    def _next(self):
        # On to the next line of the story, an hour at most.
        session = self.session
        events, limit = session.pair.night.recorder.trace.events, session.now_ms + NEXT_LIMIT_MS
        count = len(events)
        while len(events) == count and session.now_ms < limit:
            session.advance(min(limit, session.next_event_ms()))
        return []

    def _open(self, message):
        text = message["open"]
        if not isinstance(text, str) or len(text) > LONGEST_TEXT:
            raise InputError(f"a site file of at most {LONGEST_TEXT // 1000} kB of text is wanted")
        try:
            data = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise InputError(f"is not valid TOML: {error}", "site file") from error
        named = _files(data)
        if named:
            problem = f"names the file {named[0]!r}: a page opens a site file alone; use sumpbench night"
            raise InputError(problem, "site file")
        self._take(Session(data, self.folder, "site file", own=message.get("own", True) is True))
        return [self.hello(), {"fresh": True}]


def _files(data):
    # What a site file would have read from this machine's disk.
    if isinstance(data, dict):
        here = [value for key, value in data.items() if key in ("file", "well") and isinstance(value, str)]
        return here + [name for value in data.values() for name in _files(value)]
    if isinstance(data, list):
        return [name for value in data for name in _files(value)]
    return []
