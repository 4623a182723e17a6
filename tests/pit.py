"""A closed pit for the rig: a cylinder, constant rates between events, floats and motors with faults.

It is meant to be checked by eye, not to be accurate: rates are constant between
events, so crossings are found by a division.  Lengths in mm, rates in mL/s.
The default is an 18 in pit with contacts at 6, 14, 16 and 18 in, the floor at
24 in, the intake at 2 in and 34.6 gpm a pump (invented, as is its every fault).
"""

import math

from duplexsump.control import records, settings

GPM = 63.0902  # mL/s in a US gallon a minute
INCH = 25.4
AREA_MM2 = math.pi * (9 * INCH) ** 2
HEIGHTS_MM = (6 * INCH, 14 * INCH, 16 * INCH, 18 * INCH)
FLOOR_MM = 24 * INCH
INTAKE_MM = 2 * INCH
RATE = 34.605 * GPM
FAR_MS = 3_600_000


class Pit:
    """Water, floats and motors.

    `inflow` is a list of (from_second, mL/s); `float_fault` maps a contact's name
    to "wet" or "dry"; `pump_fault[n]` is None, "dead" (no current, no flow),
    "jammed" (locked current, no flow) or "airlock" (underload, no flow).
    """

    def __init__(self, inflow, *, level_mm=0.0, rate=(RATE, RATE), heights_mm=HEIGHTS_MM, dead_band_mm=4.0):
        self.inflow = inflow if isinstance(inflow, list) else [(0, inflow)]
        self.level_mm = float(level_mm)
        self.rate = list(rate)
        self.heights_mm = heights_mm
        self.dead_band_mm = dead_band_mm
        self.floats = [level_mm >= h for h in heights_mm]
        self.float_fault = {}
        self.pump_fault = [None, None]
        self.fed_by = ["mains", "mains"]
        self.mains = 1
        self.sense_open = False  # the wire of mains present
        self.elapsed_ms = 0
        self.highest_mm = self.level_mm
        self.flooded_ms = 0
        self.dry_ms = [0, 0]  # the dry run going on
        self.longest_dry_ms = [0, 0]
        self.plan = []  # (ms, action(pit)) in order

    def at(self, seconds, action):
        """Plan a fault: `action(pit)` at `seconds`."""
        self.plan.append((round(seconds * 1000), action))
        self.plan.sort(key=lambda entry: entry[0])
        return self

    def inflow_now(self, ms):
        """Return the inflow in mL/s at an instant."""
        return [rate for start, rate in self.inflow if start * 1000 <= ms][-1]

    def _supplied(self, n):
        return self.mains or self.fed_by[n] != "mains"

    def _flow(self, pumps):
        # What each pump would move if there is water to move.
        return [
            self.rate[n] if pumps[n] and self._supplied(n) and self.pump_fault[n] is None else 0.0 for n in range(2)
        ]

    def _slope(self, ms, pumps):
        # mm per ms; at the intake the pumps can only take what comes in.
        net = self.inflow_now(ms) - sum(self._flow(pumps))
        if net < 0 and self.level_mm <= INTAKE_MM + 1e-9:
            return 0.0
        return net / AREA_MM2

    def _edges_ahead(self, slope):
        edges = [INTAKE_MM]
        for i, height in enumerate(self.heights_mm):
            edges.append(height - self.dead_band_mm if self.floats[i] else height)
        if slope > 0:
            return [e for e in edges if e > self.level_mm + 1e-9]
        return [e for e in edges if e < self.level_mm - 1e-9]

    def next_event_ms(self, now_ms, pumps):
        """Return how far ahead (ms, on the grid) the next crossing, planned fault or change of inflow lies."""
        slope = self._slope(now_ms, pumps)
        ahead = FAR_MS
        if slope:
            edges = self._edges_ahead(slope)
            nearest = min((abs(e - self.level_mm) for e in edges), default=None)
            if nearest is not None:
                ahead = min(ahead, math.ceil(nearest / abs(slope) / 100 - 1e-6) * 100)
        for start, _ in self.inflow:
            if start * 1000 > now_ms:
                ahead = min(ahead, start * 1000 - now_ms)
                break
        if self.plan:
            ahead = min(ahead, max(100, self.plan[0][0] - now_ms))
        return max(100, -(-int(ahead) // 100) * 100)

    def advance(self, ms, pumps, held):
        """Let `ms` pass with the pumps as they are; never longer than to the next event."""
        slope = self._slope(self.elapsed_ms, pumps)
        at_intake = self.level_mm <= INTAKE_MM + 1e-9
        self.level_mm += slope * ms
        if sum(self._flow(pumps)) and self.level_mm < INTAKE_MM:
            self.level_mm = INTAKE_MM
        self.highest_mm = max(self.highest_mm, self.level_mm)
        self.flooded_ms += ms if self.level_mm > FLOOR_MM else 0
        for n in range(2):
            dry = pumps[n] and self._supplied(n) and at_intake
            self.dry_ms[n] = self.dry_ms[n] + ms if dry else 0
            self.longest_dry_ms[n] = max(self.longest_dry_ms[n], self.dry_ms[n])
        self.elapsed_ms += ms
        for i, height in enumerate(self.heights_mm):
            if self.level_mm >= height - 1e-9:
                self.floats[i] = True
            elif self.level_mm <= height - self.dead_band_mm + 1e-9:
                self.floats[i] = False
        while self.plan and self.plan[0][0] <= self.elapsed_ms:
            self.plan.pop(0)[1](self)

    def _wet(self, i):
        fault = self.float_fault.get(records.CONTACT_NAMES[i])
        return self.floats[i] if fault is None else fault == "wet"

    def _band(self, n, pumps):
        if not pumps[n] or not self._supplied(n) or self.pump_fault[n] == "dead":
            return records.CURRENT_NONE
        if self.pump_fault[n] == "jammed":
            return records.CURRENT_LOCKED
        if self.pump_fault[n] == "airlock" or self.level_mm <= INTAKE_MM + 1e-9:
            return records.CURRENT_UNDER
        return records.CURRENT_NORMAL

    def show(self, held, pumps, sensing):
        """Write contacts, currents and mains into an input record."""
        word = 0
        for i, bit in enumerate(records.CONTACTS):
            word |= bit if self._wet(i) else 0
        held[records.IN_CONTACTS] = word
        held[records.IN_MAINS] = 0 if self.sense_open else self.mains
        for n in range(2):
            band = self._band(n, pumps) if sensing != settings.SENSE_NOTHING else records.CURRENT_NONE
            if sensing == settings.SENSE_FEEDBACK and band != records.CURRENT_NONE:
                band = records.CURRENT_NORMAL
            held[records.IN_CURRENT_1 + n] = band

    @property
    def flooded(self):
        """True when the water has stood above the floor at any time."""
        return self.highest_mm > FLOOR_MM
