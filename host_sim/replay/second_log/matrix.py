"""The matrix: nights x rows x channels x loggers, drawn from a seed, scored, summed as a table, held to its goals."""

import json
from dataclasses import asdict

import numpy as np

from host_sim.errors import InputError
from host_sim.replay.second_log.logger import CHANNELS, NOISES_MM, ROWS_S, STEPS_MM, WITH_LEVEL, Logger
from host_sim.replay.second_log.pit import CONTROLLERS, KINDS, simulate
from host_sim.replay.second_log.score import Score, score

OUTCOMES = ("named", "missed", "wrong", "abstained", "quiet", "refused")
STRONG = "established"
LEAST_LOGS = 20  # of a kind of band, for its coverage to be judged
BAND = (0.90, 0.99)  # how often the truth must lie within what is stated as 95 %
BOUNDS = 0.99  # bounds by water balance hold always; so much is left to the logger's noise


def draw(nights, seed, rows=ROWS_S, channels=CHANNELS, loggers=3, first=0):
    """Yield (Night, Score) of `loggers` loggers for each rows x channels on each night from number `first` on.

    Kinds and controllers come in turn: 24 nights hold each pair of them once.
    """
    for i in range(first, first + nights):
        rng = np.random.default_rng([seed, i])
        kind = KINDS[i % len(KINDS)]
        night = simulate(kind, CONTROLLERS[(i // len(KINDS)) % len(CONTROLLERS)], seed + i)
        for every in rows:
            for channel in channels:
                grid = [(s, n) for s in STEPS_MM for n in NOISES_MM]
                many = min(loggers, len(grid)) if channel in WITH_LEVEL else 1
                for place in rng.permutation(len(grid))[:many]:
                    result = score(night, Logger(every, *grid[place], channel))
                    result.seed, result.controller = night.seed, night.controller
                    yield night, result


def table(scores):
    """Return the matrix as lines: one for each rows x channels, then bands and bounds, then kinds and controllers."""
    lines = [f"{'rows':>5} {'channels':14} {'logs':>4}  " + " ".join(f"{name:>9}" for name in OUTCOMES)
             + "   wrongly established  healthy wrong  floor wrong  truth inside  volume error"]  # fmt: skip
    keys = sorted({(s.logger.every_s, CHANNELS.index(s.logger.channels)) for s in scores})
    for every, channel in [*keys, (None, None)]:
        part = [s for s in scores if every is None
                or (s.logger.every_s, CHANNELS.index(s.logger.channels)) == (every, channel)]  # fmt: skip
        name = "all" if every is None else f"{every} s"
        lines.append(f"{name:>5} {'' if channel is None else CHANNELS[channel]:14} {_cells(part)}")
    lines += ["", "Bounds hold always; a 95 % band holds the truth 90 to 99 % of the time:"]
    for kind in ("bounds", "bands"):
        part = _with_flow(scores, kind)
        for channel in (None, *CHANNELS):
            some = [s for s in part if channel in (None, s.logger.channels)]
            if some:
                lines.append(f"{kind:6} {channel or 'all':14} {len(some):5d} logs, truth inside "
                             f"{np.mean([s.inside for s in some]):6.1%} of the time, width "
                             f"{np.median([s.width for s in some]):.2f} of what one pump moves (median)")  # fmt: skip
    lines += [""]
    for key, names in (("kind", KINDS), ("controller", CONTROLLERS)):
        for name in names:
            part = [s for s in scores if getattr(s, key) == name]
            counts = ", ".join(f"{outcome} {sum(s.outcome == outcome for s in part)}" for outcome in OUTCOMES)
            if part:
                lines.append(f"{name:20} {len(part):5d} logs: {counts}")
    grid = {(s.logger.step_mm, s.logger.noise_mm) for s in scores if s.logger.channels in WITH_LEVEL}
    lines.append(f"{len({s.seed for s in scores})} nights; steps x noise of the level: {len(grid)} of "
                 f"{len(STEPS_MM) * len(NOISES_MM)} pairs, each in {_fewest(scores, grid)} logs or more")  # fmt: skip
    return lines


def _cells(part):
    counts = " ".join(f"{sum(s.outcome == name for s in part):9d}" for name in OUTCOMES)
    strong = sum(STRONG in s.wrong.values() for s in part)
    healthy = sum(s.outcome == "wrong" for s in part if s.kind == "healthy")
    inside = [s.inside for s in part if s.inside == s.inside]
    volume = [abs(s.volume) for s in part if s.volume == s.volume and not s.bounds]
    held = f"{np.mean(inside):13.1%}" if inside else f"{'-':>13}"
    off = f"{np.median(volume):13.1%}" if volume else f"{'bounds':>13}"
    return (f"{len(part):4d}  {counts}   {strong:19d}  {healthy:13d}  {sum(s.floor_wrong for s in part):11d} {held} "
            f"{off}")  # fmt: skip


def _with_flow(scores, kind):
    return [s for s in scores if s.inside == s.inside and s.bounds == (kind == "bounds")]


def _fewest(scores, grid):
    seen = [(s.logger.step_mm, s.logger.noise_mm) for s in scores if s.logger.channels in WITH_LEVEL]
    return min((seen.count(pair) for pair in grid), default=0)


def wrong_lines(scores):
    """Return one line for each log on which something was claimed wrongly."""
    return [f"seed {s.seed}, {s.kind}, {s.controller} | {s.logger} | "
            + ", ".join([*(f"{claim} ({word})" for claim, word in s.wrong.items()), *["floor"] * s.floor_wrong])
            for s in scores if s.wrong or s.floor_wrong]  # fmt: skip


def broken_goals(scores):
    """Return the goals that Scores miss, in words: [] where all are met."""
    found = []
    if strong := sum(STRONG in s.wrong.values() for s in scores):
        found.append(f"wrongly established on {strong} logs")
    if healthy := sum(s.kind == "healthy" and s.outcome == "wrong" for s in scores):
        found.append(f"healthy nights called faulty: {healthy}")
    if floor := sum(s.floor_wrong for s in scores):
        found.append(f"the floor called dry or wet wrongly on {floor} logs")
    for kind, (least, most) in (("bounds", (BOUNDS, 1.0)), ("bands", BAND)):
        for channel in (None, *CHANNELS):
            part = [s.inside for s in _with_flow(scores, kind) if channel in (None, s.logger.channels)]
            if len(part) >= LEAST_LOGS and not least <= np.mean(part) <= most:
                found.append(f"{kind} of {channel or 'all logs'}: truth inside {np.mean(part):.1%} of the time")
    return found


def as_json(scores):
    """Return Scores as a JSON text that `read` takes."""
    return json.dumps([asdict(s) for s in scores])


def read(paths):
    """Return the Scores that `as_json` kept in files.  Raises InputError for a file that holds none."""
    found = []
    for path in paths:
        try:
            rows = json.loads(path.read_text(encoding="utf-8"))
            found += [Score(**{**row, "logger": Logger(**row["logger"])}) for row in rows]
        except OSError as error:
            raise InputError(f"cannot be read: {error}", str(path)) from error
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            raise InputError("holds no scores of this matrix: give a file that --json wrote", str(path)) from error
    return found


def numbers_of(text, allowed, option):
    """Return the numbers in "1,30" as a tuple.  Raises InputError for one that is not `allowed`."""
    try:
        found = tuple(int(part) for part in text.split(","))
    except ValueError:
        found = ()
    if not found or set(found) - set(allowed):
        raise InputError(f'"{text}": give some of {", ".join(map(str, allowed))}, with commas', option)
    return found


def names_of(text, allowed, option):
    """Return the names in "level,contacts" as a tuple.  Raises InputError for one that is not `allowed`."""
    found = tuple(part.strip() for part in text.split(","))
    if set(found) - set(allowed):
        raise InputError(f'"{text}": give some of {", ".join(allowed)}, with commas', option)
    return found
