"""Ten simulated years through some three hundred wraps of the millisecond clock: exercise, fairness, counters.

The controller is driven from due instant to due instant; what the counters must
read is worked out beside it from the inputs and outputs alone, to the second.
"""

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control.controller import Controller
from duplexsump.control.ticks import MASK, diff

DAY_MS = 86_400_000
YEARS = 10
DAYS = round(YEARS * 365.25)
START_MS = MASK - 40_000  # the first wrap comes 40 s after power-up


class Years:
    """A controller through years of quiet: a cycle now and then, long dry spells, silent bookkeeping beside it."""

    def __init__(self, start_ms=START_MS, **overrides):
        values = s.defaults()
        for name, value in {"sensing": s.SENSE_CURRENT, "inspection": 730, **overrides}.items():
            values[s.index(name)] = value
        self.c = Controller(values)
        self.start_ms, self.ms = start_ms, 0
        self.inputs = [0] * r.N_INPUTS
        self.inputs[r.IN_MAINS] = self.inputs[r.IN_CHARGER] = 1
        self.word = 0
        self.on_since = [None, None]
        self.run_ms, self.starts = [0, 0], [0, 0]
        self.leads, self.exercised = [], []
        self.steps = 0
        self.c.power_up(self.now)
        self.step()

    @property
    def now(self):
        return (self.start_ms + self.ms) & MASK

    def step(self):
        for n in range(2):
            on = self.on_since[n] is not None
            self.inputs[r.IN_CURRENT_1 + n] = r.CURRENT_NORMAL if on else r.CURRENT_NONE
        self.inputs[r.IN_CONTACTS] = self.word
        out = self.c.step(self.now, self.inputs)
        self.steps += 1
        assert not out[r.OUT_LATE] and not out[r.OUT_CLOCK], self.ms
        for n in range(2):
            self.note(n, out[r.OUT_PUMP_1 + n])

    def note(self, n, on):
        if on and self.on_since[n] is None:
            self.on_since[n] = self.ms
            self.starts[n] += 1
            (self.leads if self.word & r.LEAD else self.exercised).append((n, self.ms))
        elif not on and self.on_since[n] is not None:
            self.run_ms[n] += self.ms - self.on_since[n]
            self.on_since[n] = None

    def until(self, ms):
        """Go on to `ms` since the start, stepping only when due, and the tick after an output changed."""
        while self.ms < ms:
            due = self.ms + diff(self.c.next_due(self.now), self.now)
            currents = [r.CURRENT_NORMAL if since is not None else r.CURRENT_NONE for since in self.on_since]
            if currents != self.inputs[r.IN_CURRENT_1 : r.IN_CURRENT_2 + 1]:
                due = self.ms + 100
            self.ms = min(due, ms)
            self.step()

    def contacts(self, word, hold_ms):
        """Let the contacts read `word` for `hold_ms`."""
        self.word = word
        self.step()
        self.until(self.ms + hold_ms)

    def cycle(self):
        """One filling to lead and one draw-down; off stays wet for a while first."""
        for word, hold in ((r.OFF, 60_000), (r.OFF | r.LEAD, 7_300), (r.OFF, 12_000), (0, 90_000)):
            self.contacts(word, hold)


@pytest.mark.long
def test_ten_years_keep_every_counter_to_the_second():
    years = Years()
    cycles = 0
    for day in range(0, DAYS, 3):
        years.until(max(years.ms, day * DAY_MS + 1_234_500))
        years.cycle()
        cycles += 1
    years.until(DAYS * DAY_MS)
    c = years.c
    assert DAYS * DAY_MS / (MASK + 1) > 290, "wraps of the millisecond clock"
    assert c.uptime_min == years.ms // 60_000
    for n in range(2):
        assert c.pumps[n].starts == years.starts[n]
        assert 1000 * c.history.run_s[n] + c.history.run_ms[n] == years.run_ms[n]
    assert c.pair.cycles == cycles
    # D2, I8: turn and turn about through all ten years; idle for three days at most, so nobody is exercised.
    assert [n for n, _ms in years.leads] == [k % 2 for k in range(cycles)]
    assert years.exercised == []
    assert years.steps < 60 * cycles, "from due instant to due instant, not tick by tick"


@pytest.mark.long
def test_ten_years_of_standing_water_exercise_each_pump_every_seven_days():
    years = Years()
    years.contacts(r.OFF, 1000)
    years.until(DAYS * DAY_MS)
    by_pump = [[ms for n, ms in years.exercised if n == k] for k in range(2)]
    for n in range(2):
        gaps = [b - a for a, b in zip(by_pump[n], by_pump[n][1:], strict=False)]
        assert abs(len(by_pump[n]) - DAYS / 7) < 2, len(by_pump[n])
        # Idle time counts in whole minutes, from the minute after the last run.
        assert all(7 * DAY_MS <= gap <= 7 * DAY_MS + 120_000 for gap in gaps), (min(gaps), max(gaps))
        assert years.c.exercise.tried[n] == years.c.exercise.passed[n] == len(by_pump[n])
        assert years.c.history.run_s[n] * 1000 + years.c.history.run_ms[n] == years.run_ms[n]
    assert years.leads == []


def test_ten_dry_years_ask_for_water_after_thirty_days_and_for_an_inspection_when_due():
    years = Years(pour_test=30, inspection=365)
    asked = None
    for day in range(1, DAYS):
        years.until(day * DAY_MS)
        if years.c.exercise.pour() and asked is None:
            asked = day
    assert asked == 30
    assert years.c.inspection_min == years.ms // 60_000
    assert years.starts == [0, 0]


@pytest.mark.long
def test_run_time_balancing_keeps_the_run_times_within_one_cycle_through_ten_years():
    years = Years(duty=s.RUN_TIME)
    for day in range(0, DAYS, 6):
        years.until(max(years.ms, day * DAY_MS + 777_700))
        years.cycle()
        longest = 30_000
        assert abs(years.run_ms[0] - years.run_ms[1]) <= longest, day
    assert min(years.starts) > 290


@pytest.mark.long
def test_the_same_years_begun_at_another_instant_of_the_ring_are_the_same():
    def tale(start_ms):
        years = Years(start_ms)
        for day in range(0, 400, 3):
            years.until(max(years.ms, day * DAY_MS + 1_234_500))
            years.cycle()
        return years.leads, years.run_ms, years.starts, years.c.uptime_min

    assert tale(START_MS) == tale(0) == tale(123_456_700)
