"""Scores one log of one night: named, missed, wrongly named, abstained; the floor; the inflow's band."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from host_sim.errors import InputError
from host_sim.replay import night as nights
from host_sim.replay.findings.finding import CANNOT, ESTABLISHED, LIKELY
from host_sim.replay.reading import sources
from host_sim.replay.second_log.logger import log_of
from host_sim.replay.second_log.pit import DEEP, STEP_S
from host_sim.site.load import read_site

# What names a night's trouble, and what else is true of it.
NAMES = {
    "healthy": (),
    "float stuck dry": ("late start", "late start: float", "float sticking"),
    "float stuck wet": ("low stop", "float sticking", "long run"),
    "weak pump": ("weak pump",),
    "air-locked pump": ("not pumping", "late start", "long run"),
    "leaking check valve": ("leaking check valve",),
    "mains out": ("no mains", "late start", "late start: mains", "late start: pump"),
    "too much inflow": ("not keeping up", "long run"),
}
ALSO = {
    "float stuck wet": ("not pumping", "weak pump"),  # down at the intake it draws air
    "air-locked pump": ("late start: pump",),
    "mains out": ("not pumping",),
}
ALWAYS = ("high water",)  # a fact of the level, no cause


@dataclass
class Score:
    """The score of one log; `wrong` and `named` are {claim: strongest word}."""

    kind: str
    logger: object
    outcome: str  # named, missed, abstained, wrong, refused, quiet
    named: dict = field(default_factory=dict)
    wrong: dict = field(default_factory=dict)
    floor_wrong: bool = False
    volume: float = float("nan")  # found over true, less one
    inside: float = float("nan")  # share of the time the truth is inside the band
    bounds: bool = False  # the band is bounds by water balance
    width: float = float("nan")  # median width of the band, of what one pump moves
    seed: int = 0
    controller: str = ""


def claim_of(finding):
    """Return what a finding claims: its kind, with the cause that it settles upon."""
    if finding.kind != "late start":
        return finding.kind
    for part, name in (("float", "float"), ("mains", "mains"), ("power", "pump"), ("water", "pump")):
        if part in finding.text.partition(": ")[2]:
            return f"late start: {name}"
    return "late start"


def true_claims(night):
    """Return every claim that is true of a night, whatever caused it."""
    found = {*NAMES[night.kind], *ALSO.get(night.kind, ()), *ALWAYS}
    started = np.diff(night.on, axis=1, prepend=0) == 1
    window = int(3600.0 / STEP_S)
    for p in (0, 1):
        count = np.concatenate(([0], np.cumsum(started[p])))
        if (count[window:] - count[:-window]).max() > 30:
            found.add("short cycling")
    rising = (np.diff(night.level, append=night.level[-1]) > 0.0) & (night.level > 0.34) & night.on.any(axis=0)
    if rising.sum() * STEP_S > 45.0 and night.kind not in ("air-locked pump",):
        found.add("not keeping up")
    return found


def score(night, logger):
    """Return the Score of a night as one logger kept it."""
    try:
        log = log_of(night, logger)
        site = read_site(night.site, Path(), "second log")
        log = sources.with_levels(log, site)
        account = nights.explain(log, site, "single" if night.controller == "float switch" else "duplex", judged=False)
    except InputError:
        return Score(night.kind, logger, "refused")
    weight = {CANNOT: 0, LIKELY: 1, ESTABLISHED: 2}
    true, found = true_claims(night), {}
    for finding in account.findings:
        claim = claim_of(finding)
        if weight[finding.confidence] >= weight.get(found.get(claim), -1):
            found[claim] = finding.confidence
    result = Score(night.kind, logger, "missed")
    result.named = {claim: word for claim, word in found.items() if claim in NAMES[night.kind] and weight[word]}
    result.wrong = {claim: word for claim, word in found.items() if claim not in true and weight[word]}
    limits = account.limits
    if result.wrong:
        result.outcome = "wrong"
    elif result.named:
        result.outcome = "named"
    elif not limits.resolved or any(claim in NAMES[night.kind] for claim in (*found, *limits.unseen)) or (
            "high water" in found and night.kind != "healthy"):  # fmt: skip
        result.outcome = "abstained"  # that the water stood high and why cannot be told is no miss
    elif night.kind == "healthy":
        result.outcome = "quiet"
    _floor(night, account, result)
    _inflow(night, account, result)
    return result


def _floor(night, account, result):
    deep = float((night.level > DEEP + 0.02).mean()) * 4.0 * 3600.0
    if not account.floor_sure:
        return
    if account.floor_known and account.floor_dry:
        result.floor_wrong = deep > 2.0 * result.logger.every_s + 60.0
    elif not account.floor_dry and not night.wet.any():
        result.floor_wrong = True


def _inflow(night, account, result):
    flow = account.flow
    if flow is None:
        return
    seen = ~flow.held & (flow.time_s <= account.log.duration_s)
    if not seen.any():
        return
    # Bounds are those of the mean from row to row; so is the truth that they are held against.
    width = 31.0 if not flow.bounds else max(120.0, 2.0 * result.logger.every_s)
    sums = np.concatenate(([0.0], np.cumsum(night.inflow)))
    middle = (flow.time_s[seen] + _first_s(night, account.log)) / STEP_S
    half = width / 2.0 / STEP_S
    if flow.spans is not None:
        half = (flow.spans[seen, 1] - flow.spans[seen, 0]) / 2.0 / STEP_S
    a, b = (np.clip(middle + d, 0, len(night.inflow)).astype(int) for d in (-half, half))
    truth = (sums[b] - sums[a]) / np.maximum(b - a, 1)
    result.bounds = flow.bounds
    weight = np.ones(len(truth)) if flow.spans is None else flow.spans[seen, 1] - flow.spans[seen, 0]
    held = (truth >= flow.low_m3s[seen]) & (truth <= flow.high_m3s[seen])
    result.inside = float(np.average(held, weights=weight))
    one = night.capacity if night.controller == "float switch" else 0.5 * night.capacity
    result.width = float(np.median(flow.high_m3s[seen] - flow.low_m3s[seen])) / one
    result.volume = float(flow.flow_m3s[seen].sum() / max(truth.sum(), 1e-12) - 1.0)


def _first_s(night, log):
    return log.begins.timestamp() % 86400.0 if log.begins.year == 1970 else 0.0
