"""The second pit and its nights: truth first, without any logger."""

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
from duplexsump.control.controller import Controller
from duplexsump.control.records import IN_CHARGER, IN_CONTACTS, IN_MAINS, N_INPUTS, OUT_PUMP_1, OUT_PUMP_2
from duplexsump.control.ticks import MASK

from host_sim.replay.openloop import settings_for
from host_sim.site.load import read_site

STEP_S = 0.25
HOURS = 4.0
DEEP, FLOOR_M2 = 0.6096, 40.0
ON, OFF, LAG = 0.3556, 0.1524, 0.4064  # the floats' heights: 14 in, 6 in, 16 in
INTAKE = 0.06
OUTLET = 2.6
KINDS = ("healthy", "float stuck dry", "float stuck wet", "weak pump", "air-locked pump", "leaking check valve",
         "mains out", "too much inflow")  # fmt: skip
CONTROLLERS = ("float switch", "alternating pair", "our controller")
SITE = """
name = "The second log's invented pit"
[pit]
shape = "cylinder"
diameter = "{diameter:.4f} m"
depth = "0.6096 m"
floor_area = "{floor:.1f} m2"
start_level = "8 in"
[contacts.off]
wet_at = "7 in"
dry_at = "6 in"
[contacts.lead]
wet_at = "14 in"
dry_at = "13 in"
[contacts.lag]
wet_at = "16 in"
dry_at = "15 in"
[contacts.high]
wet_at = "18 in"
dry_at = "17 in"
[pump]
curve = [{curve}]
intake = "3 in"
rated_current = "8 A"
volts = "115 V"
[discharge]
outlet = "2.6 m"
riser = {{ pipe = "1-1/2 in", length = "8 ft", fittings = {{ elbow_90 = 1, swing_check = 1, ball_valve = 1 }} }}
header = {{ pipe = "1-1/2 in", length = "20 ft", fittings = {{ elbow_90 = 2, exit = 1 }} }}
[settings]
starts_per_hour = 30
[[inflow]]
kind = "constant"
rate = "1 gpm"
[scenario]
lasts = "4 h"
"""


def head_m(flow):
    """Return the head of the pump at a flow in m3/s: a curve that bends the more the more it moves."""
    x = flow / 0.0034
    return 5.6 * (1.0 - 0.25 * x - 0.75 * x**2.4)


def friction_m(flow):
    """Return the head lost in 15.5 m of 40.9 mm pipe, fittings as lengths: Hazen-Williams with C = 140.

    Hazen-Williams as in any hydraulics handbook: h = 10.67 L Q^1.852 / (C^1.852 d^4.87), in SI.
    """
    return 10.67 * 15.5 * flow**1.852 / (140.0**1.852 * 0.0409**4.87)


def delivered(level, strength, both=False):
    """Return what one pump of a strength moves at a level (two through one header: each sees twice the flow)."""
    low, high = 0.0, 0.0034
    for _ in range(30):
        q = (low + high) / 2.0
        enough = strength * head_m(q / max(strength, 0.05)) > OUTLET - level + friction_m(2.0 * q if both else q)
        low, high = (q, high) if enough else (low, q)
    return low


class Brain:
    """The firmware's own controller at this pit: floats and the mains, no current sensed, no battery behind it."""

    def __init__(self, rng):
        self.settings = _settings()
        self.controller, self.retained, self.inputs = None, None, [0] * N_INPUTS
        self.now_ms = int(rng.integers(0, 1000)) * 100

    def step(self, place, seen, power):
        """Return [pump 1 on, pump 2 on] at a place of the grid, floats seen so, the mains there or not."""
        now = (self.now_ms + int(place * STEP_S * 10.0) * 100) & MASK
        if not power:
            if self.controller is not None:
                self.retained, self.controller = self.controller.retain(), None
            return [False, False]
        if self.controller is None:
            self.controller = Controller(self.settings)
            self.controller.power_up(now, self.retained)
        word = sum(1 << k for k, name in enumerate(("off", "lead", "lag", "high")) if seen[name])
        self.inputs[IN_CONTACTS], self.inputs[IN_MAINS], self.inputs[IN_CHARGER] = word, 1, 1
        out = self.controller.step(now, self.inputs)
        return [bool(out[OUT_PUMP_1]), bool(out[OUT_PUMP_2])]


@cache
def _settings():
    # What follows from the site for floats alone: no motor current is sensed.
    curve = ", ".join(f'["{x * 3.4:.3f} L/s", "{max(0.0, head_m(x * 0.0034)):.3f} m"]' for x in (0.0, 0.5, 1.0))
    text = SITE.format(diameter=0.49, floor=FLOOR_M2, curve=curve)
    return settings_for(read_site(text, Path(), "second log"))


@dataclass
class Night:
    """The truth of one night on a grid of STEP_S: arrays `level`, `inflow`, `on` (2 x n), `mains`, `floats`."""

    kind: str
    controller: str
    seed: int
    site: str
    level: np.ndarray
    inflow: np.ndarray
    on: np.ndarray
    mains: np.ndarray
    floats: dict = field(default_factory=dict)
    capacity: float = 0.0
    fault_s: tuple = (0.0, 0.0)

    @property
    def time(self):
        """Seconds from the start."""
        return np.arange(len(self.level)) * STEP_S

    @property
    def wet(self):
        """Whether the floor was wet at each instant."""
        return self.level > DEEP


def _inflow(rng, n, kind, pump, total):
    # Lognormal base, one skewed flood, a slow swell; never negative.
    t = np.arange(n) * STEP_S
    span = n * STEP_S
    base, peak = rng.uniform(0.03, 0.15) * pump, rng.uniform(0.15, 0.6) * pump
    if kind == "too much inflow":
        peak = rng.uniform(1.25, 1.6) * total
    if kind == "leaking check valve":
        base, peak = rng.uniform(0.03, 0.08) * pump, rng.uniform(0.0, 0.1) * pump
    begin, width = rng.uniform(0.1, 0.4) * span, rng.uniform(0.1, 0.2) * span
    x = np.maximum(0.0, (t - begin) / width)
    swell = 1.0 + 0.08 * np.sin(2.0 * np.pi * t / rng.uniform(1500.0, 4000.0) + rng.uniform(0.0, 6.0))
    return (base + peak * x * np.exp(1.0 - x)) * swell


def simulate(kind, controller, seed):
    """Return the Night of a kind (of KINDS) under a controller (of CONTROLLERS), drawn from a seed."""
    rng = np.random.default_rng([seed, KINDS.index(kind), CONTROLLERS.index(controller)])
    n = int(HOURS * 3600.0 / STEP_S)
    area = 0.19 * rng.uniform(0.9, 1.15)
    pairs = controller != "float switch"
    grid = np.linspace(0.0, 1.2, 61)
    weak = rng.uniform(0.72, 0.82) if kind == "weak pump" else 1.0  # of flow and head alike
    strength = (weak, 1.0)
    alone = [np.array([delivered(h, s) for h in grid]) for s in strength]
    twice = [np.array([delivered(h, s, both=True) for h in grid]) for s in strength]
    one = float(np.interp(0.25, grid, alone[1]))
    total = 2.0 * float(np.interp(0.5, grid, twice[1])) if pairs else one
    inflow = _inflow(rng, n, kind, one, total)
    begin = rng.uniform(0.3, 0.5) * n * STEP_S
    end = begin + 60.0 * (rng.uniform(30.0, 60.0) if kind == "mains out" else rng.uniform(40.0, 80.0))
    back_l, back_s = rng.uniform(4.0, 7.0) / 1000.0, rng.uniform(15.0, 30.0)
    level, mains = np.empty(n), np.ones(n, np.int8)
    on_log, floats = np.zeros((2, n), np.int8), {name: np.zeros(n, np.int8) for name in ("off", "lead", "lag", "high")}
    h, on, turn, returning = 0.2, [False, False], 0, 0.0
    heights = {"off": (0.1778, 0.1524), "lead": (ON, 0.3302), "lag": (LAG, 0.381), "high": (0.4572, 0.4318)}
    state = {name: h > pair[0] for name, pair in heights.items()}
    play = dict.fromkeys(heights, 0.0)
    ease, running = rng.uniform(0.0, 0.15), np.zeros(n)
    brain = Brain(rng) if controller == "our controller" else None
    for i in range(n):
        t = i * STEP_S
        trouble = begin <= t < end
        power = not (kind == "mains out" and trouble)
        for name, (up, down) in heights.items():
            if (not state[name] and h > up + play[name]) or (state[name] and h < down - play[name]):
                state[name] = not state[name]
                play[name] = rng.uniform(0.0, 0.004)  # a float turns now a little higher, now a little lower
        seen = dict(state)
        if kind == "float stuck dry" and trouble:
            seen["lead"] = False
        if kind == "float stuck wet" and trouble:
            seen["off"] = True
        if brain is not None:
            on = brain.step(i, seen, power)
        else:
            if not any(on) and seen["lead"]:
                on[turn if pairs else 0] = True
            if pairs and seen["lag"]:
                on = [True, True]
            if any(on) and not seen["off"]:
                on = [False, False]
                turn = 1 - turn
        moved = 0.0
        if power and any(on):
            table = twice if all(on) and not (kind == "air-locked pump" and trouble) else alone
            place = min(h / 0.02, 59.99)
            k = int(place)
            for p in (0, 1):
                if on[p] and h > INTAKE and not (kind == "air-locked pump" and trouble and p == 0):
                    moved += table[p][k] + (table[p][k + 1] - table[p][k]) * (place - k)
            if kind == "leaking check valve":
                returning = back_s
        q = inflow[i] * (1.0 - ease * min(max(h - OFF, 0.0) / 0.5, 1.0))
        running[i] = q
        back = 0.0
        if returning > 0.0 and not any(on):
            back = back_l / back_s
            returning -= STEP_S
        here = area if h < DEEP else area + FLOOR_M2
        h = max(0.0, h + (q + back - moved) * STEP_S / here)
        level[i], mains[i] = h, power
        for p in (0, 1):
            on_log[p, i] = on[p] and power
        for name, wet in seen.items():
            floats[name][i] = wet
    about = rng.uniform(0.985, 1.015)  # how well the plan area is known
    curve = ", ".join(
f'["{x * 0.0034 * 1000:.3f} L/s", "{max(0.0, head_m(x * 0.0034)):.3f} m"]'
                      for x in (0.0, 0.25, 0.5, 0.7, 0.85, 1.0))  # fmt: skip
    site = SITE.format(diameter=np.sqrt(4.0 * area * about / np.pi), floor=FLOOR_M2, curve=curve)
    return Night(kind, controller, seed, site, level, running, on_log, mains, floats, total, (begin, end))
