"""What is found wrong in a log: each finding with its evidence, its confidence, and the simulated fault that matches.

A finding is *established* where one recorded channel contradicts another, or a
slope that the log shows finely leaves no other explanation; *likely* where the
numbers fit one explanation; and what the log only hints at *cannot be told from
this log*.  `replay.limits` says what a log can show at all.
"""

from dataclasses import dataclass, field

import numpy as np

from host_sim.replay.segments import noise_m
from host_sim.report.units import US
from host_sim.units import show

CANNOT, LIKELY, ESTABLISHED = "cannot be told from this log", "likely", "established"
CONFIDENCE = (CANNOT, LIKELY, ESTABLISHED)


@dataclass
class Finding:
    """One finding: `evidence` are sentences with times and numbers, `causes` the possible causes.

    `confidence` is one of CONFIDENCE.  `fault` is the simulator's fault that
    matches it ("NAME" or "NAME=VALUE", without times), or "" where there is none.
    """

    kind: str
    confidence: str
    start_s: float
    end_s: float
    text: str
    evidence: list[str] = field(default_factory=list)
    causes: list[str] = field(default_factory=list)
    fault: str = ""
    severity: float = 0.0  # the larger, the more it threatens the floor
    knee_s: float = 0.0  # of a leaking check valve: for so long after a stop its water comes back

    def fault_text(self, duration_s):
        """Return the fault with its times as the simulator reads it, or ""."""
        if not self.fault:
            return ""
        start = max(0.0, round(self.start_s, 1))
        text = f"{self.fault}@{start:.1f} s"
        if self.end_s < duration_s - 1.0:
            text += f"+{max(0.1, round(self.end_s - start, 1)):.1f} s"
        return text


@dataclass
class Run:
    """One stretch of pumping, whatever pumps: from the first start to the last stop."""

    start_s: float
    end_s: float
    start_m: float
    end_m: float
    most: int
    masks: tuple
    order: int
    fill_m3s: float = 0.0  # slope of the water before it
    parts: list = field(default_factory=list)


@dataclass
class Context:
    """What the detectors work on: the log, the site, and what was reconstructed from both."""

    log: object
    site: object
    parts: list
    flow: object  # Inflow or None
    rates: object
    runs: list = field(default_factory=list)
    sigma_m: float = 0.0
    recorded: bool = False  # whether the log itself tells when pumps ran
    units: object = US  # of the evidence
    limits: object = None
    pumps: int = 1  # that may share the starts which the water shows

    def level(self, metres):
        """Return a level as a text."""
        return self.units.level.text(metres)

    def rate(self, flow_m3s):
        """Return a flow as a text."""
        return self.units.flow.text(flow_m3s)

    def amount(self, volume_m3):
        """Return a volume as a text of two digits."""
        return show(volume_m3, "volume", self.units.name, 2)

    @property
    def clock(self):
        """Write a time of the log as people read it."""
        return lambda t: self.log.at(t).strftime("%H:%M:%S" if self.log.duration_s < 172800 else "%d %b %H:%M")

    def row_at(self, time_s):
        """Return the row at or before a time."""
        return max(0, int(np.searchsorted(self.log.time_s, time_s, side="right")) - 1)


def context_of(log, site, parts, flow, rates, units=US, limits=None, pumps=1):
    """Return the Context of a log, its runs found."""
    found = Context(log, site, parts, flow, rates, units=units, limits=limits, pumps=pumps)
    if log.level_m is not None and not log.levels_at_contacts_only:
        good = ~np.isnan(log.level_m)
        found.sigma_m = noise_m(log.time_s[good], log.level_m[good]) if good.sum() > 5 else 0.0
    found.recorded = any(values is not None and (values >= 0).any() for values in log.pumps)
    found.runs = runs(parts)
    return found


def runs(parts):
    """Return the Runs in a list of Segments; a hole in the log ends one."""
    found, fill = [], 0.0
    for before, part in zip([None, *parts], parts, strict=False):
        if part.on == 0:
            fill = part.slope_m3s
            continue
        joined = found and before is not None and before.on and part.start_s - before.end_s < 2.0
        if joined:
            run = found[-1]
            run.end_s, run.end_m, run.most = part.end_s, part.end_m, max(run.most, part.on)
            run.masks = (*run.masks, part.mask)
            run.parts.append(part)
        else:
            found.append(Run(part.start_s, part.end_s, part.start_m, part.end_m, part.on, (part.mask,),
                             len(found) + 1, fill, [part]))  # fmt: skip
    return found


def spans(mask, time_s, least_s, bridge_s=0.0):
    """Return [(start s, end s)] of the stretches where `mask` holds for `least_s` or longer, short breaks bridged."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    found = []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        start, end = float(time_s[a]), float(time_s[min(b, len(time_s) - 1)])
        if found and start - found[-1][1] <= bridge_s:
            found[-1] = (found[-1][0], end)
        else:
            found.append((start, end))
    return [(a, b) for a, b in found if b - a >= least_s]
