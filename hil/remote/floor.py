"""Time to floor if both pumps stopped now, on the safe side.

The water is taken to stand at the next contact above it that may be trusted; the inflow to be the largest of what the
last fills say, what the pumps have moved lately, and, with lag or high wet, what has got the better of them; and to
rise from now on.  How fast: without a history of the pit by STORM_RISE, with one by twice what it has ever shown.
With the last fill alone 4 % of the figures of random storm nights were longer than the truth, by up to 8 min
(`tests/remote/test_remote_floor.py`).  Rounded down, worded "at least N min".
"""

from collections import deque
from math import sqrt

from duplexsump.control import settings as s

STORM_RISE = 30_283.0  # mL/min per min: 8 gpm more every minute
LEAST_RISE = 380.0  # 0.1 gpm more every minute, at the least
FILLS = 4  # the largest of so many is taken
LEAST_ML_MIN = 50.0  # below this nothing was measured
HISTORY_DAYS = 30.0  # before that the pit has not shown how fast its inflow rises
TIMES = 2.0
DAY_S = 86400.0
PUMPED_S = 900.0  # what the pumps moved in so long, on the average
LAG, HIGH = 2, 3
MOST_MIN = 48 * 60  # nothing is said beyond
LEVELS = (s.LEVEL_OFF_MM, s.LEVEL_LEAD_MM, s.LEVEL_LAG_MM)


class Estimator:
    """`site` gives the volumes (None: no figure); `book` (a `gateway.book.Book`) the pit's history, or None."""

    def __init__(self, site, book=None):
        self.site, self.book = site, book
        self.fills = deque(maxlen=FILLS)  # (when, mL/min)
        self.learned_at = None
        self.rise = STORM_RISE
        self.settings = self.contact_ml = None
        self.pumped = deque()  # (when, mL pumped until then), as old as PUMPED_S
        self.beaten, self.unknown = 0.0, False

    def look(self, reading, settings):
        """Return the fields of topic `floor` for one `gateway.reading.Reading`."""
        states, values = reading.states, reading.values
        self._learn(reading.at)
        minutes, why = self.see(
            reading.at, states["believed"], states["suspect"], values["inflow"], settings, states["outputs"],
            (values["rate_1"], values["rate_2"]), values["blind"],
        )  # fmt: skip
        at, inflow = (round(self.fills[-1][0]), round(self.inflow())) if self.fills else (None, None)
        storm = 1 if self.rise == STORM_RISE else 0
        return {"at_least_min": minutes, "why": why, "inflow_ml_min": inflow, "measured_at": at, "storm": storm}

    def inflow(self):
        """Return the inflow that the figure begins with, in mL/min."""
        (first, before), (last, until) = self.pumped[0], self.pumped[-1]
        moved = (until - before) / max(PUMPED_S, last - first) * 60.0
        return max(self.beaten, moved, *(flow for _, flow in self.fills))

    def _pump(self, now, outputs, rates, believed):
        # What the pumps have moved, and what has got the better of them.
        when, until = self.pumped[-1] if self.pumped else (now, 0.0)
        rate = sum(rates[n] for n in range(2) if outputs >> n & 1)
        self.pumped.append((now, until + min(60.0, now - when) / 60.0 * rate))
        while self.pumped[0][0] < now - PUMPED_S:
            self.pumped.popleft()
        hard = believed >> LAG & 1 or outputs & 3 == 3  # one pump does not keep up
        self.beaten = sum(rates) if believed >> HIGH & 1 else max(rates) if hard else 0.0
        self.unknown = hard and not self.beaten

    def see(self, now, believed, suspect, inflow, settings, outputs=0, rates=(0, 0), blind=0):
        """Return (whole minutes or None, why not) at `now` in s; masks, mL/min, settings as on the controller."""
        if self.site is None:
            return None, "the gateway was started without a site file"
        self._pump(now, outputs, rates, believed)
        if inflow > LEAST_ML_MIN and (not self.fills or self.fills[-1][1] != inflow):
            self.fills.append((now, inflow))
        if blind:
            return None, "the level is lost"
        if not self.fills:
            return None, "no fill has been measured yet"
        if settings != self.settings:
            self._measure(settings)
        if self.unknown:
            return 0, ""  # the inflow is more than one pump moves, and how much that is has not been measured
        return self._minutes(self._room_ml(believed, suspect)), ""

    def _minutes(self, room_ml):
        # Inflow q and its rise a fill V in the time t of q t + a t^2 / 2 = V.
        flow, rise = self.inflow(), self.rise
        return min(MOST_MIN, int((sqrt(flow * flow + 2.0 * rise * room_ml) - flow) / rise))

    def _measure(self, settings):
        # The volume in mL at which each contact turns wet: a float's own level, else the level at the transmitter.
        self.settings = list(settings)
        site, pit = self.site, self.site.pit
        self.floor_ml = pit.volume_m3(pit.floor_m) * 1e6
        self.contact_ml = [None] * 4
        for i, contact in enumerate(site.contacts):
            if contact is not None and settings[s.FITTED] >> i & 1:
                self.contact_ml[i] = pit.volume_m3(contact.wet_m) * 1e6
            elif settings[s.TRANSMITTER] and site.transmitter is not None and i < len(LEVELS):
                level_m = site.transmitter.zero_m + settings[LEVELS[i]] / 1000.0
                self.contact_ml[i] = pit.volume_m3(min(level_m, pit.floor_m)) * 1e6

    def _room_ml(self, believed, suspect):
        # From the contact above the water to the floor; a contact that is suspect tells nothing.
        # With half of them suspect nothing is promised: pumps that move no water make honest wet contacts suspect, too.
        fitted = [i for i in range(4) if self.contact_ml[i] is not None]
        there = [i for i in fitted if not suspect >> i & 1]
        if 2 * len(there) <= len(fitted):
            return 0.0
        wet = max((i for i in there if believed >> i & 1), default=-1)
        above = [i for i in there if i > wet]
        return max(0.0, self.floor_ml - self.contact_ml[above[0]]) if above else 0.0

    def _learn(self, now):
        # Once a day: the fastest rise between two fills that the pit has shown.
        if self.book is None or (self.learned_at is not None and now - self.learned_at < DAY_S):
            return
        self.learned_at = now
        lines = self.book.minutes(now - 400.0 * DAY_S, now)
        if not lines or now - lines[0]["at"] < HISTORY_DAYS * DAY_S:
            return
        fastest, before = 0.0, None
        for line in lines:
            if before is None or line["inflow"] != before[1]:
                if before is not None:
                    minutes = max(1.0, (line["at"] - before[0]) / 60.0)
                    fastest = max(fastest, (line["inflow"] - before[1]) / minutes)
                before = (line["at"], line["inflow"])
        self.rise = max(LEAST_RISE, TIMES * fastest)
