"""Random nights as scripts: what the inputs do and when, and how a script is played on the rig.

A script is (settings by name, [(kind, value, seconds to wait after it)]).  The
same generator serves hypothesis and a seeded `random.Random`, through a chooser
with `pick(choices)` and `number(least, most)`.  Which kinds of trouble occur at
all is drawn first, so that runs differ in character and not only in detail.
"""

from duplexsump.control import records as r
from duplexsump.control import settings as s

from tests.rig import Rig, make_settings

WATER = (0, r.OFF, r.OFF | r.LEAD, r.OFF | r.LEAD | r.LAG, 15)
WAITS_S = (0.1, 0.3, 0.9, 1.0, 1.5, 2.5, 4.0, 8.0, 12.0, 20.0, 21.0, 45.0, 70.0, 150.0, 400.0)
SHORT_WAITS_S = WAITS_S[:-3]
LONG_WAITS_S = WAITS_S + (650.0, 1300.0, 3700.0, 20_000.0, 90_000.0)

PAIRS = ("selector", "thermal", "moisture", "load", "weld")
KINDS = {
    "water": WATER,
    "contacts": tuple(range(16)),
    "selector_1": ("auto", "off", "hand", "auto"),
    "selector_2": ("auto", "off", "hand", "auto"),
    "thermal_1": (0, 1),
    "thermal_2": (0, 1),
    "moisture_1": (0, 1),
    "moisture_2": (0, 1),
    "load_1": ("normal", "normal", "none", "under", "over", "locked"),
    "load_2": ("normal", "normal", "none", "under", "over", "locked"),
    "weld_1": ("none", "none", "normal"),
    "weld_2": ("none", "none", "normal"),
    "mains": (0, 1, 1),
    "generator": (0, 1),
    "battery": ("good", "low", "dead"),
    "charger": (0, 1),
    "silence": (0, 1),
    "reset": (0, 1, 0),
    "command": (0, r.CMD_SILENCE, r.CMD_RESET, r.CMD_INSPECTED, r.CMD_TEST),
    "transmitter": ("ok", "low", "high"),
    "level": (0, 5, 14, 16, 20, 30, 37, 40, 42, 50),
    "moved": (0, 1),
    "flutter": ("off", "lead", "lag", "high"),
    "cut": (0.5, 2.0, 30.0),
    "jumper": (0, 1, 1),
    "force": ((0, 0), (r.FORCE_LEAD, r.FORCE_LEAD), (r.FORCE_OFF | r.FORCE_LEAD, 0), (r.FORCE_MAINS, 0),
              (r.FORCE_HIGH, r.FORCE_HIGH), (r.FORCE_THERMAL_1, r.FORCE_THERMAL_1), (r.FORCE_ALL, 0)),
}
ALWAYS = ("water", "contacts")
FORCES = ("jumper", "force")


class RandomChooser:
    """Choices from a seeded random.Random."""

    def __init__(self, rng):
        self.rng = rng

    def pick(self, choices):
        return self.rng.choice(choices)

    def number(self, least, most):
        return self.rng.randint(least, most)


def some_settings(chooser, transmitter=True):
    """Return a random valid set of settings, by name; times are short so that much happens."""
    pick, number = chooser.pick, chooser.number
    sensing = pick((0, 1, 2, 2))
    flood_min_off = number(40, 150) * 100
    lag_min_off = flood_min_off + number(0, 300) * 100
    spacing = number(10, 60) * 100
    start_proof = number(10, 35) * 100
    dry_run = start_proof + number(10, 60) * 100
    down = [number(20, 120) * 100 for _ in range(3)]
    down.sort()
    blind_run = max(down[2] + 100, dry_run + 1000, 10_000) + number(0, 300) * 100
    exercise_run = start_proof + number(20, 90) * 100
    flood_retry = 60_000 + number(0, 1200) * 100
    chosen = {
        "sensing": sensing,
        "duty": pick((0, 0, 1, 2)),
        "primary": pick((1, 2)),
        "supply_1": pick((0, 0, 1, 2)),
        "supply_2": pick((0, 0, 1, 2)),
        "battery_pumps": pick((1, 1, 2)),
        "fitted": pick((15, 15, 15, 14, 11, 10)) | (1 if sensing != 2 else 0),
        "debounce": pick((200, 1000, 1000, 2500)),
        "sequence_time": pick((5000, 20_000, 20_000, 40_000)),
        "flood_min_off": flood_min_off,
        "lag_min_off": max(lag_min_off, 5000),
        "min_off": max(lag_min_off, 10_000) + number(0, 600) * 100,
        "start_spacing": spacing,
        "generator_spacing": spacing + number(0, 90) * 100,
        "min_run": number(10, dry_run // 100) * 100,
        "boot_hold": number(20, 150) * 100,
        "start_proof": start_proof,
        "dry_run": dry_run,
        "pump_down_lead": down[0],
        "pump_down_lag": down[1],
        "pump_down_high": down[2],
        "blind_run": blind_run,
        "exercise_run": max(exercise_run, 5000),
        "max_run": 60_000 + blind_run,
        "flood_retry": flood_retry,
        "retry": flood_retry + number(0, 3000) * 100,
        "retries": number(1, 4),
        "moisture_trips": pick((0, 0, 1)),
        "hand_limit": number(100, 1500) * 100,
        "starts_per_hour": number(2, 30),
        "not_keeping_up": 60_000 + number(0, 1200) * 100,
        "no_draw_down": 30_000 + number(0, 1200) * 100,
        "quiet": 60_000 + number(0, 1200) * 100,
        "exercise": number(1, 3),
        "pour_test": number(1, 3),
        "inspection": number(1, 3),
        "charger_fitted": pick((0, 1)),
        "remind_high": 300_000,
        "remind_other": 600_000,
    }
    if chosen["flood_min_off"] <= start_proof:
        chosen["flood_min_off"] = chosen["lag_min_off"] = start_proof + 100
        chosen["lag_min_off"] = max(chosen["lag_min_off"], 5000)
        chosen["min_off"] = max(chosen["min_off"], chosen["lag_min_off"])
    if transmitter and pick((0, 0, 0, 1)):
        chosen["transmitter"] = 1
        chosen["fitted"] = pick((8, 15))
    make_settings(**chosen)
    return chosen


def some_events(chooser, count, *, waits=WAITS_S, without=(), kinds=None):
    """Return `count` random events (kind, value, wait) of the kinds given, or of those that this run draws."""
    if kinds is None:
        kinds = [k for k in KINDS if k not in ALWAYS and k not in without and chooser.pick((0, 0, 1))]
    kinds = tuple(k for k in ALWAYS if k not in without) * 3 + tuple(kinds)
    events = []
    for _ in range(count):
        kind = chooser.pick(kinds)
        events.append((kind, chooser.pick(KINDS[kind]), chooser.pick(waits)))
    return events


def turn(rig, bit):
    """Turn one contact over."""
    rig.held[r.IN_CONTACTS] ^= bit


def act(rig, kind, value):
    """Do one event on the rig, without stepping."""
    if kind in ("water", "contacts"):
        rig.held[r.IN_CONTACTS] = value & rig.settings[s.FITTED]
    elif kind.startswith("load"):
        rig.load[int(kind[-1]) - 1] = value
    elif kind.startswith("weld"):
        rig.weld[int(kind[-1]) - 1] = value
    elif kind == "flutter":
        bit = {"off": 1, "lead": 2, "lag": 4, "high": 8}[value] & rig.settings[s.FITTED]
        for i in range(7):
            rig.at(rig.t + 0.3 * (i + 1), lambda rig: turn(rig, bit))
    elif kind == "force":
        mask, forced = value
        rig.held[r.IN_FORCE_MASK], rig.held[r.IN_FORCE_VALUE] = mask, forced
        rig.held[r.IN_FORCE_REFRESH] += 1
    else:
        rig.apply({kind: value})


def play(script, *, start_ms=0, ticking=False, always=False, watchers=(), extra=None, seen=None):
    """Play a script; return the rig.

    `watchers` are called with the rig and return something that is called after
    every step; `extra` is a chooser of additional instants to step at; `seen`
    is called with the rig after every step.
    """
    overrides, events = script
    rig = Rig(start_ms=start_ms, ticking=ticking, always=always, boot=False, **overrides)
    for watcher in watchers:
        watcher(rig)
    if seen:
        rig.watchers.append(seen)
    rig.power_up()
    for kind, value, wait in events:
        if kind == "cut":
            rig.script.clear()
            rig.power_cut(value)
        else:
            # One step an instant: the input has changed by the next tick.
            rig.at(rig.t + 0.1, lambda rig, kind=kind, value=value: act(rig, kind, value))
        if extra is not None and not ticking:
            wait_on(rig, wait, extra)
        else:
            rig.run(wait)
    return rig


def wait_on(rig, wait, chooser):
    """Run for `wait` seconds with a few instants more than are due."""
    end_ms = rig.elapsed_ms + round(wait * 10) * 100
    while rig.elapsed_ms < end_ms:
        left = (end_ms - rig.elapsed_ms) // 100
        most = min(left, max(300, left // 20))  # a day's wait is not cut into thousands of pieces
        rig.run(chooser.number(1, most) / 10 if left > 1 else 0.1)
