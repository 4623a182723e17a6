"""J3: what the counters tell of inflow, pump rate, wear and a leaking check valve.

Everything here is recorded and decides nothing.
"""

from . import settings as s
from .records import CLOCK, COUNTER, LEAD, OFF, RETAIN, STATE, STATISTIC
from .ticks import const

_LONGEST_MS = const(36000000)
_LEARN = const(5)  # cycles from which the first pump rate and the first refills are learnt
_WORN_PERCENT = const(25)
_SLOWER_PERCENT = const(15)  # a pump so much slower tells nothing of its check valve
_IN_A_ROW = const(8)  # slow draw-downs in a row: the pump is worn
_DAY_MIN = const(1440)
_FADE = const(128)  # of the highest inflow, a day: half of it in a season
_STEADY = const(8)  # a refill is learnt from where the inflows before and after it differ by an eighth at most
_MOST_RATIO = const(1000)  # of a pump's rate to the inflow
_LEAKS = const(12)  # quick refills, less those that were not: the check valve leaks


class History:
    """Fill and draw-down times between off and lead, and what follows from them."""

    FIELDS = (
        ("filling", STATE, 0, 0),  # 1: stop to off wet, 2: off wet to lead wet
        ("drawing", STATE, 0, 0),  # lead dry to off dry, by the one pump n + 1
        ("refill_ms", CLOCK, 0, 0),
        ("fill_ms", CLOCK, 0, 0),
        ("draw_ms", CLOCK, 0, 0),
        ("inflow_ml_min", STATISTIC, 0, RETAIN),
        ("peak_ml_min", STATISTIC, 0, RETAIN),  # the highest inflow of late
        ("peak_min", CLOCK, 0, RETAIN),  # since it last faded
        ("rate_ml_min", STATISTIC, 2, RETAIN),  # of each pump, smoothed over about 8 cycles
        ("first_rate_ml_min", STATISTIC, 2, RETAIN),  # learnt from its first 5 cycles
        ("measured", STATISTIC, 2, RETAIN),
        ("worn", COUNTER, 2, RETAIN),  # slow draw-downs in a row
        ("last", STATE, 0, 0),  # the one pump n + 1 that ran last, 0 for both
        ("first_share", STATISTIC, 0, RETAIN),  # fill over refill in percent, learnt from the first refills
        ("shares", COUNTER, 0, RETAIN),  # refills that it was learnt from
        ("leaks", COUNTER, 2, RETAIN),  # quick refills after each pump, less those that were not
        ("quick_refills", STATISTIC, 0, RETAIN),  # refills right after a stop much faster than the fill
        ("events", STATE, 0, 0),  # which of those counted below go on
        ("lag_reached", STATISTIC, 0, RETAIN),
        ("long_runs", STATISTIC, 0, RETAIN),
        ("hand_overruns", STATISTIC, 0, RETAIN),
        ("run_ms", CLOCK, 2, RETAIN),  # run time of each pump: the ms within the second ...
        ("run_s", CLOCK, 2, RETAIN),  # ... and the seconds
    )

    def __init__(self, settings: list[int]) -> None:
        self.settings = settings
        self.filling = 0
        self.drawing = 0
        self.refill_ms = 0
        self.fill_ms = 0
        self.draw_ms = 0
        self.inflow_ml_min = 0
        self.peak_ml_min = 0
        self.peak_min = 0
        self.rate_ml_min = [0, 0]
        self.first_rate_ml_min = [0, 0]
        self.measured = [0, 0]
        self.worn = [0, 0]
        self.last = 0
        self.first_share = 0
        self.shares = 0
        self.leaks = [0, 0]
        self.quick_refills = 0
        self.events = 0
        self.lag_reached = 0
        self.long_runs = 0
        self.hand_overruns = 0
        self.run_ms = [0, 0]
        self.run_s = [0, 0]

    def reset(self) -> None:
        """Forget the quick refills: somebody has looked at the check valves."""
        self.leaks[0] = 0
        self.leaks[1] = 0

    def elapsed(self, dt_ms: int, out: int) -> None:
        """Count `dt_ms` in which the pumps of mask `out` ran."""
        for n in range(2):
            if out & (1 << n):
                ms = self.run_ms[n] + dt_ms
                self.run_s[n] += ms // 1000
                self.run_ms[n] = ms % 1000
        if self.filling == 1:
            self.refill_ms = min(_LONGEST_MS, self.refill_ms + dt_ms)
        elif self.filling == 2:
            self.fill_ms = min(_LONGEST_MS, self.fill_ms + dt_ms)
        if self.drawing:
            self.draw_ms = min(_LONGEST_MS, self.draw_ms + dt_ms)

    def minutes(self, count: int) -> None:
        """Count `count` minutes, at most a day: the highest inflow fades, so that a season forgets the last."""
        self.peak_min += count
        if self.peak_min >= _DAY_MIN:
            self.peak_min -= _DAY_MIN
            self.peak_ml_min -= self.peak_ml_min // _FADE

    def next_min(self) -> int:
        """Return the minutes until the highest inflow fades; 0: there is none."""
        return _DAY_MIN - self.peak_min if self.peak_ml_min else 0

    def count(self, lag: int, overdue: int, overrun: int) -> None:
        """Count what begins in this step: the water at lag, a long run, pumps (a mask) past the limit of HAND."""
        events = (1 if lag else 0) | (2 if overdue else 0) | overrun << 2
        began = events & ~self.events
        self.events = events
        if began & 1:
            self.lag_reached += 1
        if began & 2:
            self.long_runs += 1
        if began & 4:
            self.hand_overruns += 1
        if began & 8:
            self.hand_overruns += 1

    def _rate(self, time_ms: int) -> int:
        # The band volume over a time, in mL a minute.
        return self.settings[s.BAND_VOLUME_ML] * 60 // max(10, time_ms // 100) * 10

    def step(self, rose: int, fell: int, out: int) -> None:
        """Time the water past the contacts; `out`: pumps that are on."""
        if fell & OFF:
            if self.drawing:
                self._drawn(self.drawing - 1)
            self.filling = 1
            self.refill_ms = 0
        if rose & OFF:
            if self.filling != 1:
                self.refill_ms = _LONGEST_MS  # no stop was seen before: nothing to judge a refill by
            self.filling = 0 if out else 2
            self.fill_ms = 0
        if rose & LEAD and self.filling == 2:
            self._filled()
        if out:
            self.last = 0 if out == 3 else out
        if fell & LEAD and (out == 1 or out == 2):
            self.drawing = out
            self.draw_ms = 0
        if out != self.drawing or rose & LEAD:
            self.drawing = 0

    def _filled(self) -> None:
        # Drain-back through a leaking check valve fills the last inch over the
        # stop level in a moment; the inflow alone takes its time.
        self.filling = 0
        inflow = self._rate(self.fill_ms)
        steady = abs(inflow - self.inflow_ml_min) <= inflow // _STEADY
        self.inflow_ml_min = inflow
        self.peak_ml_min = max(self.peak_ml_min, inflow)
        if self.last:
            self._judge(self.last - 1, steady)

    def _judge(self, n: int, steady: bool) -> None:
        # The refill after a stop of pump `n`.
        quick = self._quick(n)
        if quick:
            self.quick_refills += 1
        # A pump grown slower stops with less water below the stop level: its refills are shorter for that alone.
        self._leak(n, quick or (self._faster(steady) and not self._slow(n, _SLOWER_PERCENT)))

    def _quick(self, n: int) -> bool:
        # Whether the water came back sooner than the inflow brings half of what the pump moved from the moment at
        # which the contact fell until its debounce was over: so much was missing below the stop level.
        ratio = min(_MOST_RATIO, self.rate_ml_min[n] // (self.inflow_ml_min or 1))
        return self.fill_ms > 20 * self.refill_ms and 2 * self.refill_ms < ratio * self.settings[s.DEBOUNCE_MS]

    def _faster(self, steady: bool) -> bool:
        # Whether the water was back at the stop level a quarter sooner, against the fill after it, than at first.
        if self.refill_ms == _LONGEST_MS:
            return False
        share = self.fill_ms // 100 * 100 // (self.refill_ms // 100 or 1)
        if self.shares == _LEARN:
            return share > self.first_share * 5 // 4
        if steady:  # an inflow that grows makes the fill short and the refill before it look slow
            self.shares += 1
            self.first_share += (share - self.first_share) // self.shares
        return False

    def _leak(self, n: int, quick: bool) -> None:
        if self.leaks[n] < _LEAKS:  # what was told stands until a reset: no check valve mends itself
            self.leaks[n] += 1 if quick else -min(1, self.leaks[n])

    def _drawn(self, n: int) -> None:
        self.drawing = 0
        rate = min(100000000, self._rate(self.draw_ms) + self.inflow_ml_min)
        count = self.measured[n] + 1
        self.measured[n] = count
        weight = min(count, 8)
        self.rate_ml_min[n] += (rate - self.rate_ml_min[n]) // weight
        if count <= _LEARN:
            self.first_rate_ml_min[n] = self.rate_ml_min[n]
        self.worn[n] = min(_IN_A_ROW, self.worn[n] + 1) if self._slow(n, _WORN_PERCENT) else 0

    def _slow(self, n: int, percent: int) -> bool:
        first = self.first_rate_ml_min[n]
        return first - self.rate_ml_min[n] > first // 100 * percent  # 0 where nothing is known

    def is_worn(self, n: int) -> bool:
        """Tell whether pump `n` has been more than a quarter below its first rate for 8 draw-downs in a row."""
        return self.worn[n] == _IN_A_ROW

    def is_weak(self, n: int) -> bool:
        """Tell whether pump `n` is worn and moves less than 1.2 times the highest inflow measured of late."""
        return self.is_worn(n) and self.rate_ml_min[n] // 6 < self.peak_ml_min // 5

    def leaking(self, n: int) -> bool:
        """Tell whether water runs back after pump `n` has stopped, again and again."""
        return self.leaks[n] == _LEAKS

    def wear_percent(self, n: int) -> int:
        """Return by how much the rate of pump `n` has fallen below its first rate; 0 if it has not."""
        first = self.first_rate_ml_min[n]
        if self.measured[n] < _LEARN:
            return 0
        return max(0, (first - self.rate_ml_min[n]) // (first // 100 or 1))
