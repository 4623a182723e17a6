"""Run nights, ask the ideal controller about the floods, count by class."""

import multiprocessing
from dataclasses import asdict, dataclass, field

from . import listed
from .brain import BRAINS
from .faults import clock
from .night import run
from .nights import draw
from .oracle import BY_LEVEL, POLICIES, Oracle, TakesOver

CLOSE_M = 0.01  # which of two unlike pumps goes first decides within it, and a float's own turn


@dataclass
class Result:
    """What is reported of one night; times in s, depths in mm."""

    number: int
    line: str
    group: str
    faults: list
    peak: float
    sensing: int
    flooded: bool = False
    avoidable: bool | None = None  # None: no flood, so nobody asked
    deaf: bool = False  # nothing that is sound told of any of its floods
    lost: bool = False  # each was lost when the water stood below lead, for an ideal controller as well
    freeboard_mm: float | None = None  # what the ideal controller left under the floor, 0 where it flooded
    wet_s: float = 0.0
    first_wet_s: float | None = None
    silent: bool = False
    late: bool = False
    longest_dry_s: float = 0.0
    dry_over: bool = False  # a run dried longer than blind_run allows, and nothing excuses it
    listed: list = field(default_factory=list)  # what the narrative lists as open and was excused
    longest_dry_at: float = 0.0
    dry_s: float = 0.0
    starts_per_hour: list = field(default_factory=list)
    violations: list = field(default_factory=list)
    alarms: list = field(default_factory=list)
    healthy_alarms: list = field(default_factory=list)


def avoidable(night):
    """Return (avoidable, freeboard in mm) by the ideal controller: the better of its policies."""
    best = 0.0
    for policy in POLICIES:
        watch = run(night, Oracle(night.site, policy), until_flood=True)
        best = max(best, 1000.0 * (night.site.floor - watch.peak))
        if not watch.flooded:
            return True, best
    return False, best


def lost(night, brain, episodes):
    """Return whether each of the floods would have come whoever had taken over when the water last stood below lead.

    `brain`: the name of the controller that has the pit until then.  The ideal controller that takes over starts by
    what is sound, and forgets what it knew whenever it is without power.
    """
    return all(_floods_from(night, brain, episode) for episode in episodes)


def _floods_from(night, brain, episode):
    # Whether the floor is wet by the end of that flood, or all but.  It goes by the level: with both pumps at lead no
    # pit is run.
    ideal = TakesOver(BRAINS[brain](night.site), Oracle(night.site, BY_LEVEL, sensed=True), episode.below_s)
    watch = run(night, ideal, close=CLOSE_M)
    return any(other.wet_s >= episode.below_s and other.wet_s <= episode.dry_s for other in watch.episodes)


def judge(night, number=0, brain="firmware", log=None):
    """Return the Result of a night under `brain` (a name of BRAINS)."""
    controller = BRAINS[brain](night.site)
    watch = run(night, controller, log=log)
    result = Result(
        number, night.line, night.group, [fault.describe() for fault in night.faults], round(night.extras["peak"], 3),
        night.site.sensing,
    )  # fmt: skip
    result.flooded = watch.flooded
    if watch.flooded:
        result.avoidable, result.freeboard_mm = avoidable(night)
        result.deaf = watch.deaf
        if result.avoidable and not result.deaf:
            result.lost = lost(night, brain, watch.episodes)
        # Whoever sees the water keeps it dry, and nobody else.
        result.avoidable = result.avoidable and not result.deaf and not result.lost
        if result.avoidable and all(episode.unread for episode in watch.episodes):
            result.avoidable = False
            result.listed += sorted({episode.unread for episode in watch.episodes})
        result.freeboard_mm = round(result.freeboard_mm)
        result.first_wet_s = round(watch.episodes[0].wet_s, 1)
    result.wet_s = round(watch.wet_s, 1)
    result.silent, result.late = watch.silent, watch.late and not result.lost
    result.longest_dry_s = round(watch.longest_dry, 1)
    log_of = max(watch.pumps, key=lambda p: p.longest_dry)
    result.longest_dry_at = round(log_of.longest_at, 1)
    result.dry_over = watch.dry_over
    if watch.longest_dry > watch.dry_limit and not watch.dry_over:
        read = log_of.longest_read > watch.dry_limit
        result.listed.append(listed.FICKLE if read else listed.NO_READING)
    result.dry_s = round(watch.dry_s, 1)
    result.starts_per_hour = [pump.most_starts() for pump in watch.pumps]
    result.violations = watch.violations
    result.alarms = list(watch.raised)
    if not night.faults and night.extras["peak"] <= 0.9:
        result.healthy_alarms = list(watch.raised)
    return result


def _job(task):
    seed, number, group, hours, brain = task
    return judge(draw(seed, number, group, hours=hours), number, brain)


def results(seed, numbers, group="all", *, hours=3.0, brain="firmware", workers=1):
    """Yield the Result of each night in order.  `workers` processes share them."""
    tasks = [(seed, number, group, hours, brain) for number in numbers]
    if workers <= 1:
        yield from map(_job, tasks)
        return
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        yield from pool.imap(_job, tasks)


COLUMNS = ("nights", "floods", "avoidable", "deaf", "lost", "silent", "late", "dry over", "dry s", "longest",
           "violations", "alarms")  # fmt: skip


def table(found):
    """Return the table by class as lines of text."""
    groups = {}
    for result in found:
        groups.setdefault(result.group, []).append(result)
    rows = [(name, *_counts(rows)) for name, rows in sorted(groups.items())]
    rows.append(("together", *_counts(found)))
    lines = [f"{'class':16}" + "".join(f"{name:>11}" for name in COLUMNS)]
    for row in rows:
        lines.append(f"{row[0]:16}" + "".join(f"{cell:>11}" for cell in row[1:]))
    return lines


def _counts(rows):
    return (
        len(rows),
        sum(r.flooded for r in rows),
        sum(bool(r.avoidable) for r in rows),
        sum(r.deaf for r in rows),
        sum(r.lost for r in rows),
        sum(r.silent for r in rows),
        sum(r.late for r in rows),
        sum(r.dry_over for r in rows),
        round(sum(r.dry_s for r in rows)),
        round(max((r.longest_dry_s for r in rows), default=0)),
        sum(bool(r.violations) for r in rows),
        sum(bool(r.healthy_alarms) for r in rows),
    )


def worst(found, most=25):
    """Return the nights that somebody should look at, worst first, as lines that replay them."""
    def weight(r):
        return (bool(r.avoidable) and r.silent, r.silent, bool(r.avoidable), bool(r.violations), r.dry_over,
                bool(r.healthy_alarms), r.wet_s, r.longest_dry_s)

    wrong = ("avoidable", "deaf", "lost", "silent", "late", "violations", "dry_over", "healthy_alarms", "listed")
    bad = [r for r in found if any(getattr(r, name) for name in wrong)]
    return [one_line(r) for r in sorted(bad, key=weight, reverse=True)[:most]]


def one_line(r):
    """Return a result as one line: what is wrong, how to see it again, and the faults."""
    wrong = []
    if r.flooded:
        kind = "avoidable" if r.avoidable else "told by nothing that is sound:" if r.deaf else "unavoidable"
        if r.lost:
            kind = "lost already below lead:"
        wrong.append(f"{kind} flood {clock(r.first_wet_s)}")
        wrong.append(f"wet {r.wet_s:.0f} s, ideal {r.freeboard_mm:+d} mm")
    if r.silent:
        wrong.append("SILENT")
    if r.late:
        wrong.append("called late")
    if r.dry_over:
        wrong.append(f"dry {r.longest_dry_s:.0f} s at {clock(r.longest_dry_at)}")
    if r.violations:
        wrong.append(f"{len(r.violations)} violations: {r.violations[0][1]} at {clock(r.violations[0][0])}")
    if r.healthy_alarms:
        wrong.append("healthy alarms: " + " ".join(r.healthy_alarms))
    wrong += [f"listed: {why}" for why in r.listed]
    what = "; ".join(r.faults) or "no fault"
    return f"{r.line}  [{', '.join(wrong)}] peak {r.peak:.2f}, sensing {r.sensing}; {what}"


def as_dicts(found):
    """Return results as plain dictionaries for JSON."""
    return [asdict(r) for r in found]
