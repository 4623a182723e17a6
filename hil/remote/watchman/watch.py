"""What a watchman knows of one pit, and which conditions hold: the board's alarms, and silence of three kinds.

A condition is {"name", "text", "priority", "wrong", "cause", "do", "never", "acknowledged", "covers", "silence"};
`covers`: names of conditions that say all of it where they hold.  Nothing here knows of people or of messages.
"""

from functools import lru_cache

from duplexsump.control import alarm_table
from duplexsump.control.pump import CAUSES
from duplexsump.control.records import CONTACT_NAMES

from host_sim import alarm_words

SILENCES = {
    "gateway_silent": ("no word from the gateway", "high",
                       "Have somebody look: power or network at the house may be out, and no alarm gets through."),
    "board_silent": ("the controller does not answer its gateway", "high",
                     "Look at the controller: is its light on? Check its power and its cable. The pumps may not run, "
                     "and no alarm gets through."),
    "daily_missing": ("the daily message did not come", "medium", "Check the gateway and its clock."),
    "broker_silent": ("the watchman cannot reach the broker", "high",
                      "Check the broker and the network: no alarm gets through."),
}  # fmt: skip
# An alarm says nothing new while one of these holds.
COVERS = {f"pump_{n}_unavailable": ("no_pump",) for n in (1, 2)}
HEARD = ("gateway", "board", "state", "pumps", "alarms", "floor", "daily")
FLOATS = ("floats_out_of_sequence", "float_wiring", "level_lost")
AWAY_S = 5.0
_BY_NAME = {row[alarm_table.NAME]: row for row in alarm_table.TABLE}


class PitWatch:
    """One pit.  `hear(name, body, now)` takes what was published, `conditions(now)` says what holds."""

    def __init__(self, pit, config, now, kept=None):
        self.pit, self.config = pit, config
        kept = kept or {}
        self.heard_at = now  # a gateway that was never heard is silent after as long as any other
        self.gateway_up = True
        self.gateway_down_at = None
        self.board_up = True
        self.board_down_at = None
        self.alarms = kept.get("alarms", [])
        self.daily_at = kept.get("daily_at", now)
        self.look = None
        self.faults = [0, 0]  # the last fault of pumps 1, 2: a place in CAUSES
        self.suspect = ()  # names of contacts
        self.floor = kept.get("floor")
        self.newest = {}

    def kept(self):
        """Return what outlives a restart of the watchman."""
        return {"alarms": self.alarms, "daily_at": self.daily_at, "floor": self.floor}

    def hear(self, name, body, now):
        """Take one payload (a dictionary of this version).  What has not the shape of its topic is passed over."""
        if body["at"] < self.newest.get(name, 0.0):
            return
        if name == "gateway":
            self._gateway(body, now)
            return
        self.newest[name] = min(body["at"], now + 60.0)  # a time far ahead must not shut out what follows
        if name == "board":
            up = body.get("up") == 1
            self.board_down_at = None if up else self.board_down_at or now
            self.board_up = up
        elif name == "alarms" and isinstance(body.get("alarms"), list):
            found = filter(None, map(_known, body["alarms"][: alarm_table.COUNT]))
            self.alarms = list({alarm["name"]: alarm for alarm in found}.values())
        elif name == "pumps" and isinstance(body.get("pumps"), list):
            self.faults = [_fault(pump) for pump in [*body["pumps"][:2], None, None][:2]]
        elif name == "state":
            found = body.get("suspect")
            self.suspect = tuple(n for n in CONTACT_NAMES if isinstance(found, list) and n in found)
        elif name == "floor":
            minutes = body.get("at_least_min")
            self.floor = minutes if type(minutes) is int and 0 <= minutes < 100000 else None
        elif name == "daily" and isinstance(body.get("look"), dict):
            self.daily_at = max(self.daily_at, min(body["at"], now))
            self.look = body["look"]

    def _gateway(self, body, now):
        if body.get("up") == 1:
            # A retained word is as old as it says; a clock that is ahead makes it no younger than now.
            self.heard_at = max(self.heard_at, min(now, body["at"]) if now - body["at"] > 90.0 else now)
            self.gateway_up, self.gateway_down_at = True, None
        elif self.gateway_up:
            self.gateway_up, self.gateway_down_at = False, now

    def conditions(self, now, broker_down_s=0.0):
        """Return the conditions that hold, the most urgent first; `broker_down_s`: how long we have had no broker."""
        found = []
        limit, alarms = self.config.gateway_s, self._alarms()
        if broker_down_s > AWAY_S:  # we cannot hear anybody: nobody's silence is judged
            return ([_silence("broker_silent")] if broker_down_s > limit else []) + alarms
        down = self.gateway_down_at is not None and now - self.gateway_down_at > min(limit, 60.0)
        if down or now - self.heard_at > limit:
            found.append(_silence("gateway_silent"))
        elif self.board_down_at is not None and now - self.board_down_at >= self.config.board_s:
            found.append(_silence("board_silent"))
        if not found and now - self.daily_at > self.config.daily_s:
            found.append(_silence("daily_missing"))
        return found + alarms

    def _alarms(self):
        seen = self.faults[0], self.faults[1], self.suspect
        return [{**_alarm(alarm["name"], *seen), "acknowledged": alarm["acknowledged"]} for alarm in self.alarms]


def _silence(name):
    text, priority, what = SILENCES[name]
    return {"name": name, "text": text, "priority": priority, "wrong": "", "cause": "", "do": what, "never": "",
            "acknowledged": False, "covers": (), "silence": True}  # fmt: skip


@lru_cache(1024)
def _alarm(name, fault_1, fault_2, suspect):
    row, said, cause = _BY_NAME[name], alarm_words.of(name), ""
    for n, fault in ((1, fault_1), (2, fault_2)):
        if fault and name == f"pump_{n}_unavailable":
            cause = f"Last fault of pump {n}: {CAUSES[fault]}."
    if suspect and name in FLOATS:
        cause = f"Suspect: {', '.join(suspect)}."
    return {"name": name, "text": row[alarm_table.TEXT], "wrong": said.wrong, "cause": cause, "do": said.do,
            "priority": alarm_table.PRIORITIES[row[alarm_table.PRIORITY]], "never": said.never,
            "covers": COVERS.get(name, ()), "silence": False}  # fmt: skip


def _fault(pump):
    name = pump.get("last_fault") if isinstance(pump, dict) else None
    return CAUSES.index(name) if name in CAUSES else 0


def _known(alarm):
    # Only what stands in our own table counts: a text from the broker is never passed on to people.
    if not isinstance(alarm, dict) or not isinstance(alarm.get("name"), str) or alarm["name"] not in _BY_NAME:
        return None
    if alarm.get("active") != 1:
        return None
    return {"name": alarm["name"], "acknowledged": alarm.get("state") == "acknowledged"}
