"""Campaign nights as time to floor is judged by: what a gateway would see, and the simulator's truth beside it.

The truth at an instant: the same pit from there on, both pumps' breakers open, the same inflow to come; how long
until the water is at the floor.  It shares nothing with the estimate.
"""

import copy
from dataclasses import dataclass

from duplexsump.control.records import N_INPUTS

from host_sim.proof.campaign import nights
from host_sim.run.closed_loop import Night
from host_sim.run.controllers import Duplex
from host_sim.site.load import read_site

LOOK_MS = 30_000
MOST_MS = 4 * 3600_000


@dataclass
class Sight:
    """One instant: what the gateway reads, and where `judged`, how long the floor would have stayed dry, in s."""

    now_s: float
    believed: int
    wet: int
    suspect: int
    outputs: int
    inflow: int
    rates: tuple
    truth_s: float | None = None


def until_floor_s(plant, now_ms, site):
    """Return how long the floor stays dry from `now_ms` on if both pumps stop, in s; at most MOST_MS."""
    other = copy.deepcopy(plant, {id(site): site})
    state = copy.deepcopy(plant.fault_state)
    for pump in state.pumps:
        pump.breaker_open = True
    other.set_fault_state(now_ms, state)
    at, step = now_ms, 3_200_000
    raw = [0] * N_INPUTS
    other.sample(at, raw)
    if other.level_m() >= site.pit.floor_m:
        return 0.0
    # Halve the step each time it would pass the floor: the level only rises with both pumps off.
    while step >= 1000 and at < now_ms + MOST_MS:
        trial = copy.deepcopy(other, {id(site): site})
        trial.sample(at + step, raw)
        if trial.level_m() >= site.pit.floor_m:
            step //= 2
            step = step // 100 * 100
        else:
            other, at = trial, at + step
    return (at - now_ms) / 1000.0


def sights(seed, number, every_ms, from_ms=60_000):
    """Return (site, settings, [Sight]) of one night, the truth at every `every_ms`."""
    site = read_site(nights.draw(seed, number).text)
    control = Duplex(site)
    work = Night(site, site.seed, control, list(site.faults))
    found, now, due, judge_at, last = [], 0, 0, from_ms, None
    while now < work.end_ms:
        following = min(work.instant(now), work.end_ms)
        if control.powered:
            c = control.controller
            seen = (c.belief.wet, c.contacts.wet, c.belief.suspect, c.out[0] | c.out[1] << 1, c.history.inflow_ml_min)
            if seen != last or now >= due:
                sight = Sight(now / 1000.0, *seen, tuple(c.history.rate_ml_min))
                if now >= judge_at:
                    judge_at = now + every_ms
                    sight.truth_s = until_floor_s(work.plant, now, site)
                found.append(sight)
                last, due = seen, now + LOOK_MS
        now = following
    return site, site.settings, found
