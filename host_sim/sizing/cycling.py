"""Cycling: how long a cycle lasts at every inflow, how often each motor starts, how long it runs and rests.

T = V/Q + V/(Qp - Q), shortest at Q = Qp/2 where it is 4V/Qp (US Army EI
11C201, 1997; MIL-HDBK-1005/9A).  V is the water between `off` turning dry and
`lead` turning wet, and what passes while the controller debounces both
contacts: one pump's flow for that time.  Qp is that of each level in turn.
"""

from dataclasses import dataclass
from math import inf

from duplexsump.control import settings as s
from duplexsump.control.bands import STEP_BAND_MM, STEP_MM
from duplexsump.control.demand import LONGEST_DRAW_MS

from host_sim.plant.discharge import Outlet
from host_sim.plant.water_balance import time_to
from host_sim.sizing.head import ALONE_1, ALONE_2, drives

HALF_TICK_S = 0.05  # a contact changes anywhere between two instants of the controller's 100 ms grid
ASKED, LASTS = 3.0, 2.0  # pump-down times until a draw-down is cut short, and until that stop counts (narrative L4)
JUDGED = 64  # steps of inflow in which `believed_m3s` looks
SCAN = 48  # inflows that are tried on the way to the worst one


@dataclass(frozen=True)
class Cycle:
    """One pump's cycle at one inflow: times in s; `time_s` is inf where it never ends."""

    inflow_m3s: float
    fill_s: float
    run_s: float

    @property
    def time_s(self):
        return self.fill_s + self.run_s

    @property
    def starts_per_hour(self):
        return 3600.0 / self.time_s if self.time_s < inf else 0.0


def travel_s(regime, pit, from_m3, to_m3, inflow_m3s):
    """Return how long the water falls from one volume to another against an inflow; inf when it never gets there."""
    volume, total = from_m3, 0.0
    while volume > to_m3:
        j, row = regime.row(volume)
        if volume <= regime.volumes[j] and j > 0:
            j, row = j - 1, regime.rows[j - 1]
        out, slope = row[0] + row[2], row[1] + row[3]
        edge = max(to_m3, regime.volumes[j])
        total += time_to(volume, inflow_m3s - out - slope * volume, -slope, edge)
        if total == inf:
            return inf
        volume = edge
    return total


def out_m3s(regime, volume_m3):
    """Return what leaves the pit at a volume."""
    return sum(regime.flows(volume_m3)[:2])


def _turns_m(inputs, level_mm):
    # (wet, dry) of a transmitter's level in m: the controller reads it in steps, each left only a band outside it.
    step_mm = -(-level_mm // STEP_MM) * STEP_MM
    zero_m = inputs.transmitter.zero_m
    return zero_m + (step_mm + STEP_BAND_MM) / 1000.0, zero_m + (step_mm - STEP_BAND_MM) / 1000.0


class Cycling:
    """The cycles of a pit with its contacts, by pump."""

    def __init__(self, inputs, contacts, settings):
        self.pit = inputs.pit
        lead_m, lead_dry_m, off_m = contacts[1].wet_m, contacts[1].dry_m, contacts[0].dry_m
        if settings[s.TRANSMITTER] != 0:
            lead_m, lead_dry_m = _turns_m(inputs, settings[s.LEVEL_LEAD_MM])
            off_m = _turns_m(inputs, settings[s.LEVEL_OFF_MM])[1]
        self.lead_m3 = inputs.pit.volume_m3(lead_m)
        self.off_m3 = inputs.pit.volume_m3(off_m)
        self.regimes = [inputs.lines.regime(drives(which), Outlet()) for which in (ALONE_1, ALONE_2)]
        self.late_s = settings[s.DEBOUNCE_MS] / 1000.0 + HALF_TICK_S
        self.shortest_run_s = settings[s.MIN_RUN_MS] / 1000.0
        self.lead_dry_m3 = inputs.pit.volume_m3(lead_dry_m)
        self.pump_down_s = settings[s.PUMP_DOWN_LEAD_MS] / 1000.0
        self.senses = settings[s.SENSING] == s.SENSE_CURRENT
        self.transmitter = settings[s.TRANSMITTER] != 0
        self.alternates = settings[s.DUTY] != s.FIXED
        self.primary = settings[s.PRIMARY] - 1

    def believed_m3s(self):
        """Return the highest inflow (m3/s) up to which the controller lets every draw-down go on to `off`.

        Nearer to what a pump moves it cuts draw-downs short, to see whether `off`
        hangs (narrative L4), and the cycles are no longer those of `cycle`; inf
        where a transmitter tells the level.
        """
        if self.transmitter:
            return inf
        leading = self.regimes if self.alternates else [self.regimes[self.primary]]
        most, good = min(out_m3s(regime, self.off_m3) for regime in leading), 0.0
        for i in range(1, JUDGED):
            q = most * i / JUDGED
            if not all(self._let_run(regime, q) for regime in leading):
                break
            good = q
        return good

    def _let_run(self, regime, q):
        # Within three pump-down times no question is asked.  Above that the pump is stopped: where `lead` is wet again
        # within two, or the current was normal all along, the controller learns how long an honest draw-down takes,
        # up to its longest; where not, `off` is taken to hang.
        draw_s = travel_s(regime, self.pit, self.lead_dry_m3, self.off_m3, q)
        if draw_s <= ASKED * self.pump_down_s:
            return True
        fallen_m3 = (out_m3s(regime, self.lead_dry_m3) - q) * ASKED * self.pump_down_s
        refill_s = (self.lead_m3 - self.lead_dry_m3 + fallen_m3) / q + self.late_s
        learns = self.senses or refill_s <= LASTS * self.pump_down_s
        return learns and draw_s <= LONGEST_DRAW_MS / 1000.0

    @property
    def band_m3(self):
        """Water between `off` turning dry and `lead` turning wet."""
        return self.lead_m3 - self.off_m3

    def rate_m3s(self, n):
        """Return a pump's mean rate over the band with no inflow."""
        return self.band_m3 / travel_s(self.regimes[n], self.pit, self.lead_m3, self.off_m3, 0.0)

    def cycle(self, n, inflow_m3s):
        """Return the Cycle of pump 1 (n = 0) or 2 alone at an inflow."""
        regime, q, late = self.regimes[n], inflow_m3s, self.late_s
        top = self.lead_m3 + q * late
        run = max(travel_s(regime, self.pit, top, self.off_m3, q) + late, self.shortest_run_s)
        if run == inf:
            return Cycle(q, 0.0, inf)
        low = self.off_m3 - (out_m3s(regime, self.off_m3) - q) * late
        fill = (self.lead_m3 - max(low, 0.0)) / q + late if q > 0.0 else inf
        return Cycle(q, fill, run)

    def starts(self, n, inflow_m3s, alternating=True):
        """Return the starts per hour of one motor; alternating, each pump takes every other cycle."""
        if not alternating:
            return self.cycle(n, inflow_m3s).starts_per_hour
        both = self.cycle(0, inflow_m3s).time_s + self.cycle(1, inflow_m3s).time_s
        return 3600.0 / both if both < inf else 0.0

    def time_s(self, inflow_m3s):
        """Return the mean time from start to start as the controller's duty takes the pumps."""
        if self.alternates:
            return 0.5 * (self.cycle(0, inflow_m3s).time_s + self.cycle(1, inflow_m3s).time_s)
        return self.cycle(self.primary, inflow_m3s).time_s

    def duty_starts(self, inflow_m3s):
        """Return the starts per hour of the busier motor under the controller's duty."""
        if self.alternates:
            return self.starts(0, inflow_m3s)
        return self.starts(self.primary, inflow_m3s, alternating=False)

    def worst(self, n=None, most_m3s=inf):
        """Return the inflow (m3/s) of the shortest cycle, no inflow above `most_m3s` considered.

        `n` is one pump alone; None is the controller's duty.
        """
        pumps = (0, 1) if n is None else (n,)
        end = min(most_m3s, 0.999 * min(out_m3s(self.regimes[i], self.off_m3) for i in pumps))

        def time_s(q):
            return self.time_s(q) if n is None else self.cycle(n, q).time_s

        flows = [end * (i + 1) / SCAN for i in range(SCAN)]
        best = min(range(SCAN), key=lambda i: time_s(flows[i]))
        low, high = flows[max(0, best - 1)], flows[min(SCAN - 1, best + 1)]
        for _ in range(24):  # the cycle time has one lowest point
            a, b = low + (high - low) / 3.0, high - (high - low) / 3.0
            if time_s(a) <= time_s(b):
                high = b
            else:
                low = a
        return 0.5 * (low + high)

    def run_empty_s(self, n):
        """Return a pump's run with no inflow, the shortest there is."""
        return max(
            travel_s(self.regimes[n], self.pit, self.lead_m3, self.off_m3, 0.0) + self.late_s, self.shortest_run_s
        )

    def shortest_fill_s(self, most_m3s):
        """Return the shortest rest of a pump that has the pit to itself, up to an inflow."""
        low = self.off_m3 - max(0.0, out_m3s(self.regimes[0], self.off_m3) - most_m3s) * self.late_s
        return (self.lead_m3 - max(low, 0.0)) / most_m3s + self.late_s if most_m3s > 0.0 else inf


def shortest_cycle_s(volume_m3, pump_m3s):
    """Return the shortest cycle of a volume: 4 V / Qp.  Example: 8.8128 gal and 34.605 gpm give 61.1 s."""
    return 4.0 * volume_m3 / pump_m3s


def volume_for_starts_m3(starts, pump_m3s, motors=1):
    """Return the volume that keeps each of so many alternating motors to its starts per hour: V = Qp * T / 4."""
    return pump_m3s * 3600.0 / (starts * motors) / 4.0
