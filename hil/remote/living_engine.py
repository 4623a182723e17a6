"""The engine of a page that shows a board: the messages of `host_sim.living.engine`, with null for what is not known.

A board knows its contacts, its outputs and what it measures.  It does not know where the water stands between two
contacts, what runs in just now, or whether a float tells the truth; nor does this page.
"""

import time

from duplexsump.control import alarm_table, alarms
from duplexsump.control import settings as s
from duplexsump.control.records import CONTACT_NAMES, OUTPUT_NAMES

from hil.remote import reading as parts
from host_sim import alarm_words
from host_sim.errors import InputError
from host_sim.living import view

ML_MIN = 1e-6 / 60.0  # m3/s
# A pit nobody has described: drawn by these shares of an arbitrary depth, and said so.
NOWHERE_M, SHARES, INTAKE = 1.0, (0.15, 0.4, 0.6, 0.8), 0.03


class BoardEngine:
    """The engine of one page.  `watched` is a `hil.remote.living.Watched`, `site` a Site or None."""

    def __init__(self, watched, site=None, clock=time.time):
        self.watched, self.site, self.clock = watched, site, clock
        self.began = clock()
        self.before = None
        self.lines, self.points = [], []
        self.told_lines = self.told_points = 0

    def hello(self):
        """Return the message with what does not change."""
        local = time.localtime(self.began)
        about = _scale(self.site) | {
            "kind": "board", "source": self.watched.port.name, "faults": [], "selectors": [],
            "begins_s": local.tm_hour * 3600 + local.tm_min * 60 + local.tm_sec,
            "name": f"The board at {self.watched.port.name}"
            + (f", {self.site.name}" if self.site else ": no site file was named, so the pit is not drawn to scale"),
        }  # fmt: skip
        return {"about": about, "speeds": [], "sites": [], "packaged": "", "own": False}

    def hear(self, message):
        """Answer a message: a page that shows a board changes nothing at it."""
        try:
            if isinstance(message, dict) and "system" in message:
                if message["system"] not in ("us", "si"):
                    raise InputError('units: "us" or "si" is wanted')
                self.told_lines = self.told_points = 0
                return [{"fresh": True}]
            raise InputError("this page shows a board and changes nothing at it: use sumpbench silence, or its buttons")
        except InputError as error:
            return [{"error": "\n".join(error.problems)}]

    def look(self, _real_ms):
        """Return the message with what is so now."""
        reading = self.watched.reading
        if reading is not None and (self.before is None or reading.at != self.before.at):
            self._news(reading)
        lines, points = self.lines[self.told_lines :], self.points[self.told_points :]
        self.told_lines, self.told_points = len(self.lines), len(self.points)
        t_ms = round((self.clock() - self.began) * 1000.0)
        return {
            "state": {"t_ms": t_ms, "goal_ms": 0, "pair": self._pair(reading), "single": None, "broken": {},
                      "planned": [], "next_ms": t_ms},
            "story": {"lines": lines, "pair": points, "single": []}, "speed": 1,
        }  # fmt: skip

    def _pair(self, reading):
        if reading is None or self.watched.silent():
            since = "" if reading is None else f" for {round(self.clock() - reading.at)} s"
            return _nothing() | {"told": f"no answer{since}: {self.watched.error or 'no reading'}; all is unknown"}
        return seen(reading, self.watched.settings, self.site)

    # What has changed from one reading to the next.

    def _news(self, reading):
        now_s = max(0.0, reading.at - self.began)
        words = _facts(reading)
        if self.before is not None:
            before = _facts(self.before)
            self.lines += [[now_s, text, weight] for text, weight in words.items() if text not in before]
            self.lines += [[now_s, f"no longer: {text}", 0] for text in before if text not in words]
        else:
            self.lines.append([now_s, "the board answers", 1])
            self.lines += [[now_s, text, weight] for text, weight in words.items()]
        self.before = reading
        pair = seen(reading, self.watched.settings, self.site)
        self.points.append([now_s, pair["level_m"], pair["inflow_m3s"], *pair["amps"]])


def _facts(reading):
    state = parts.state(reading)
    found = {f"pump {n} on": 1 for n in state["pumps_on"]}
    found |= {f"{name} contact wet": 0 for name in state["wet"]}
    found |= {f"{name} contact suspect": 1 for name in state["suspect"]}
    found |= {} if state["mains"] else {"mains failure": 2}
    found |= {f"selector {n + 1} at {at}": 1 for n, at in enumerate(state["selectors"]) if at != "AUTO"}
    for place, standing in enumerate(reading.alarm_states):
        if standing:
            row = alarm_table.TABLE[place]
            priority = alarm_table.PRIORITIES[row[alarm_table.PRIORITY]]
            weight = 2 if priority == "high" else 1
            found[f"{priority} alarm: {row[alarm_table.TEXT]} ({view.STANDING.get(standing, 'standing')})"] = weight
    return found


def _scale(site):
    if site is not None:
        return view.scale(site)
    contacts = [{"name": CONTACT_NAMES[i], "wet_m": NOWHERE_M * share, "dry_m": NOWHERE_M * share}
                for i, share in enumerate(SHARES)]  # fmt: skip
    return {"floor_m": NOWHERE_M, "profile": [[0.0, 0.5], [NOWHERE_M, 0.5]], "contacts": contacts,
            "pumps": [{"intake_m": INTAKE}] * 2, "outlet_m": None}  # fmt: skip


def _nothing():
    return {
        "level_m": None, "between": None, "inflow_m3s": None, "amps": [None, None], "volts": None, "pumps": [0, 0],
        "out_m3s": [None, None],
        "starts": [None, None], "floor_wet": False, "dead": True, "outputs": dict.fromkeys(OUTPUT_NAMES),
        "mains": 1, "generator": 0, "selectors": ["auto", "auto"], "charging": False, "contacts": {},
        "states": ["unknown", "unknown"], "why": [], "alarms": [], "decided": [],
        "unknown_why": "Whether a pump runs is not known.",
    }  # fmt: skip


def seen(reading, settings, site):
    """Return what is known of the pit by a Reading, a list of settings, and a Site (or None), as the page draws it."""
    values, states = reading.values, reading.states
    out = states["outputs"]
    level_m = None
    if settings[s.TRANSMITTER] and not values["transmitter"]:
        level_m = values["level"] / 1000.0
    low, high = between(reading, settings, site)
    sensed = settings[s.SENSING] == s.SENSE_CURRENT
    fitted = settings[s.FITTED]
    known = {
        "level_m": level_m, "between": [low, high], "inflow_m3s": None,
        "amps": [values[f"current_{n}"] / 1000.0 if sensed else None for n in (1, 2)],
        "volts": values["battery"] / 1000.0 if parts.has_battery(settings) else None,
        "pumps": [out & 1, out >> 1 & 1], "out_m3s": [None, None], "starts": [values["starts_1"], values["starts_2"]],
        "floor_wet": bool(site and level_m is not None and level_m > site.pit.floor_m), "dead": False,
        "outputs": {name: out >> i & 1 for i, name in enumerate(OUTPUT_NAMES[:7])},
        "mains": states["mains"], "generator": states["generator"], "charging": bool(states["charging"]),
        "selectors": [at.lower() for at in parts.state(reading)["selectors"]],
        "contacts": {CONTACT_NAMES[i]: {"reads": states["wet"] >> i & 1, "is": None,
                                        "suspect": states["suspect"] >> i & 1} for i in range(4) if fitted >> i & 1},
        "states": [parts.pumps(reading)["pumps"][n]["state"] for n in (0, 1)],
        "why": [], "decided": [],
        "unknown_why": f"Pumps called for by the level: {values['demand']}. Which clause decided last is not known: a "
                       "board does not report it; its journal, replayed, does.",
        "alarms": [_alarm(i, standing) for i, standing in enumerate(reading.alarm_states) if standing],
    }  # fmt: skip
    if level_m is None:
        known["told"] = _words(reading, settings)
    return known


def between(reading, settings, site):
    """Return the levels in m that the water is certainly above and below by the trusted contacts; None: not known."""
    if site is None:
        rows = {CONTACT_NAMES[i]: (NOWHERE_M * share, NOWHERE_M * share) for i, share in enumerate(SHARES)}
    else:
        rows = {CONTACT_NAMES[i]: (one.wet_m, one.dry_m) for i, one in enumerate(site.contacts) if one is not None}
    told = parts.level(reading, settings)
    above, below = rows.get(told["above"]), rows.get(told["below"])
    # A wet contact turns dry only at its lower level, a dry one wet only at its upper one.
    return (above[1] if above else None), (below[0] if below else None)


def _words(reading, settings):
    told = parts.level(reading, settings)
    if told["above"] and told["below"]:
        return f"water somewhere between {told['above']} and {told['below']}: the level itself is not measured"
    if told["below"]:
        return f"water below {told['below']}: the level itself is not measured"
    if told["above"]:
        return f"water above {told['above']}: how far is not known"
    return "no contact can be trusted: the level is not known"


def _alarm(place, standing):
    row = alarm_table.TABLE[place]
    words = alarm_words.of(row[alarm_table.NAME])
    return {
        "name": row[alarm_table.NAME], "text": row[alarm_table.TEXT],
        "priority": alarm_table.PRIORITIES[row[alarm_table.PRIORITY]],
        "standing": view.STANDING.get(standing, alarms.STATES[standing]),
        "wrong": words.wrong, "causes": words.causes, "do": words.do, "never": words.never,
    }  # fmt: skip
