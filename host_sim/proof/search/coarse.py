"""Three coarse worlds: the firmware's timers shortened to a few ticks each, in the same order.

No search can be exhaustive over a rest of 600 s in steps of 0.1 s.  A coarse
world has one tick for all that happens and keeps the order of the timers: what
is shorter under the default settings is never longer here.  Timers that lie
close together are merged, differently in each world, so that most pairs are
apart in one of them.  Proof by search therefore holds for these three worlds;
other settings rest on the fault campaign.
"""

import contextlib
import functools

from duplexsump.control import alarms, belief, blind, demand, flood, pump
from duplexsump.control import settings as s

TICK_MS = 1000

# The order to keep: every time of the pumping rules at its default (seconds).
_SECONDS = {
    "debounce": 1, "start_spacing": 3, "start_proof": 3, "min_run": 5, "overload_time": 5, "dry_run": 8,
    "flood_min_off": 10, "boot_hold": 10, "exercise_run": 10, "generator_spacing": 10, "mains_settle": 15,
    "pump_down_lead": 16, "sequence_time": 20, "lag_min_off": 20, "pump_down_lag": 20, "pump_down_high": 23,
    "blind_run": 35, "min_off": 60, "flood_retry": 120, "retry": 600, "not_keeping_up": 600, "max_run": 1200,
}  # fmt: skip
# Times fixed in the code, at their place in the same order.
_FIXED = {"flood_settle": 5, "second": 1, "recent": 3, "wire": 2, "wire_no_off": 0.5,
          "hour": 3600, "longest_draw": 600, "flood_1": 10, "flood_2": 30, "flood_3": 60,
          "rest_1": 10, "rest_2": 60, "rest_3": 300, "rest_4": 600, "rest_5": 1800}  # fmt: skip
DEFAULTS_S = {**_SECONDS, **_FIXED}

# For each world: up to which default time (seconds) a timer takes how many ticks.
LADDERS = {
    "narrow": ((3, 1), (15, 2), (23, 3), (35, 4), (120, 5), (600, 6), (3600, 7), (7200, 8)),
    "quick": ((5, 1), (23, 2), (60, 3), (120, 4), (600, 5), (3600, 6), (7200, 7)),
    "wide": ((3, 1), (5, 2), (10, 3), (23, 4), (35, 5), (60, 6), (120, 8), (600, 10), (1200, 12), (3600, 14),
             (7200, 16)),
}
# How L3's factor (1 + last run / last refill) is taken: the run that is remembered beside a refill of 10 s.
LAST_RUN_S = {"narrow": 0, "quick": 10, "wide": 1000}
NAMES = tuple(LADDERS)


def ticks(world, name):
    """Return how many ticks the timer `name` takes in `world`."""
    seconds = DEFAULTS_S[name]
    return next(count for most, count in LADDERS[world] if seconds <= most)


def values(world, **overrides):
    """Return a settings record for `world`; `overrides` by name, times in ms.

    Raises ValueError when the settings contradict each other; only the ranges
    are lifted, because a coarse time lies outside them.
    """
    record = s.defaults()
    for name in _SECONDS:
        record[s.index(name)] = ticks(world, name) * TICK_MS
    record[s.FLOOD_SETTLE_MS] = ticks(world, "flood_settle") * TICK_MS
    record[s.RETRIES] = 2
    for name, value in overrides.items():
        record[s.index(name)] = value
    refusals = []
    for rule in (s._order, s._currents, s._contacts, s._times, s._supply):
        rule(record, refusals)
    if refusals:
        raise ValueError("; ".join(refusals))
    return record


@contextlib.contextmanager
def world(name):
    """Shorten the times that are fixed in the code, and lift the ranges of the settings, for as long as it is open."""
    ms = {key: ticks(name, key) * TICK_MS for key in _FIXED}
    changes = [
        (s, "check", lambda _values: []),
        (pump, "_SECOND_MS", ms["second"]), (pump, "_RECENT_MS", ms["recent"]), (pump, "_HOUR_MS", ms["hour"]),
        (belief, "WIRE_MS", ms["wire"]), (belief, "WIRE_NO_OFF_MS", ms["wire_no_off"]),
        (demand, "LONGEST_DRAW_MS", ms["longest_draw"]),
        (flood, "STEPS_MS", (ms["flood_1"], ms["flood_2"], ms["flood_3"])),
        (flood, "_HOUR_MS", ms["hour"]),
        (blind, "RESTS_MS", tuple(ms[f"rest_{i}"] for i in range(1, 6))),
        (alarms, "BELL_MS", tuple(TICK_MS if ms_ else 0 for ms_ in alarms.BELL_MS)),
        (alarms, "BELL_ON_MS", TICK_MS), (alarms, "BELL_OFF_MS", 2 * TICK_MS),
    ]  # fmt: skip
    before = [(module, attribute, getattr(module, attribute)) for module, attribute, _ in changes]
    try:
        for module, attribute, value in changes:
            setattr(module, attribute, value)
        yield name
    finally:
        for module, attribute, value in before:
            setattr(module, attribute, value)


@functools.cache
def breaches_of_order(name):
    """Return the pairs of timers whose order `name` turns round: none, or the world is no coarse image."""
    pairs = []
    for a, seconds_a in DEFAULTS_S.items():
        for b, seconds_b in DEFAULTS_S.items():
            if seconds_a <= seconds_b and ticks(name, a) > ticks(name, b):
                pairs.append((a, b))
    return pairs


def table():
    """Return rows (timer, default in seconds, ticks in each world) for print."""
    rows = sorted(DEFAULTS_S.items(), key=lambda item: item[1])
    return [(name, seconds, *(ticks(each, name) for each in NAMES)) for name, seconds in rows]
