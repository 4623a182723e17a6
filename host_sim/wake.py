"""When to look at the plant again: the first grid instant at which a raw value may come to matter.

A crossing only decides when to wake; what is read there is sampled at the grid
instant.  So looking early is harmless, and looking late is the only mistake.
"""

from math import inf

from duplexsump.control.bands import HIGHEST, LOWEST
from duplexsump.control.settings import SENSE_CURRENT

from .conditions import AS_IS
from .mode import TURNING
from .motion import time_to

TICK_MS = 100
EARLY_S = 1e-6  # a crossing is waited for from so long before its computed instant, against rounding
FLICKER_TICKS = 5  # the current of a pump that draws air changes this often
LEAST_UA, MOST_UA = 3800, 20500  # NAMUR NE 43: a transmitter's measuring range
DRIFT_STEP_S = 60.0  # a drifting transmitter moves in steps this long


def next_look(plant, now_ms, limit_ms, edges):
    """Return the first grid instant after now, at most `limit_ms`, at which a raw value may cross one of `edges`.

    `edges` is what `Bands.thresholds()` fills.  Waking early is harmless.
    """
    now = now_ms / 1000.0
    if _must_tick(plant, edges, now):
        return min(now_ms + TICK_MS, limit_ms)
    up, down = _targets(plant, edges, now)
    if plant.volume >= up or plant.volume <= down:
        return min(now_ms + TICK_MS, limit_ms)
    limit = limit_ms / 1000.0
    course = plant.course
    best = _flicker(plant, now_ms)
    if plant.conditions.transmitter == "drifting":
        best = min(best, now + DRIFT_STEP_S - (now - plant.drift_from_s) % DRIFT_STEP_S)
    i = 0
    piece = course.head
    before = piece.mode
    calm = plant.wave_m > 0.0 and not plant.waves(piece)
    while piece.t0 < best and piece.t0 < limit:
        mode = piece.mode
        if mode is not before and _seen(plant, mode, before):
            best = min(best, piece.t0)
            break
        before = mode
        if calm and plant.waves(piece):
            best = min(best, piece.t0)
            break
        if piece.f0 > 0.0:
            if piece.v1 >= up:
                best = min(best, piece.t0 + _crossing(piece, up))
        elif piece.v1 <= down:
            best = min(best, piece.t0 + _crossing(piece, down))
        if mode.energised and plant.sensing == SENSE_CURRENT:
            best = min(best, _current_time(plant, piece, now, edges))
        if mode.battery is not None and (edges[6] > LOWEST or edges[7] < HIGHEST):
            best = min(best, _battery_time(plant, piece, now, edges))
        if piece.slots is not course.head.slots and plant.conditions.transmitter == "clogged":
            best = min(best, piece.t0)
        if piece.t1 >= limit or best <= piece.t1:
            break
        i += 1
        piece = course.after(i)
    if best >= limit:
        return limit_ms
    ticks = -int(-(best - EARLY_S) * 10.0 // 1)
    return min(max(now_ms + TICK_MS, ticks * TICK_MS), limit_ms)


def _must_tick(plant, edges, now):
    # What changes from tick to tick by itself.
    c = plant.conditions
    if c.transmitter == "clogged" and plant.site.transmitter is not None:
        low, high = _transmitter_levels(plant, edges, now)
        reading = plant.course.head.slots.reading_m
        if reading <= low or reading >= high:
            return True
    return plant.chattering


def _flicker(plant, now_ms):
    # While a turning pump draws air its current changes on a grid of its own.
    mode = plant.course.head.mode
    if plant.sensing == SENSE_CURRENT and mode.energised:
        for n in (0, 1):
            if mode.states[n] == TURNING and plant.volume < mode.regime.cover_m3[n]:
                step = FLICKER_TICKS * TICK_MS
                return (now_ms // step + 1) * step / 1000.0
    return inf


def _targets(plant, edges, now):
    # The nearest volumes above and below at which something may be read.
    up, down = inf, -inf
    wet, volume = plant.wet, plant.volume
    trips, releases = plant.trip_m3, plant.release_m3
    if plant.wave_m > 0.0 and plant.waves(plant.course.head):
        trips, releases = plant.rough_trip_m3, plant.rough_release_m3
    for i in plant.fitted:
        if wet[i]:
            if releases[i] > down:
                down = releases[i]
        elif trips[i] < up:
            up = trips[i]
    floor = plant.pit.floor_m3
    if volume < floor:
        up = min(up, floor)
    elif volume > floor:
        down = max(down, floor)
    mode = plant.course.head.mode
    if mode.energised:
        for cover in mode.regime.cover_m3:
            if down < cover < volume:
                down = cover
    if plant.site.transmitter is not None:
        low, high = _transmitter_targets(plant, edges, now)
        up, down = min(up, high), max(down, low)
    return up, down


def _transmitter_levels(plant, edges, now):
    # The readings below and above which the noise may carry a value over an edge of its band.
    device, c = plant.site.transmitter, plant.conditions
    offset = 0.0
    if c.transmitter == "drifting":
        offset = plant.drift_m(now)
    scale = device.span_m / 16000.0
    low, high = -inf, inf
    if edges[4] > LEAST_UA:
        low = device.zero_m + (edges[4] - 4000) * scale - offset + device.noise_m
    if edges[5] <= MOST_UA:
        high = device.zero_m + (edges[5] - 4000) * scale - offset - device.noise_m
    return low, high


def _transmitter_targets(plant, edges, now):
    if plant.conditions.transmitter not in (AS_IS, "drifting"):
        return -inf, inf
    low, high = _transmitter_levels(plant, edges, now)
    return (
        plant.pit.volume_m3(low) if low > 0.0 else -inf,
        plant.pit.volume_m3(high) if high < inf else inf,
    )


def _seen(plant, mode, before):
    # Whether a change by itself shows on a wire at once.
    return (
        mode.hot != before.hot
        or mode.fixed_load != before.fixed_load
        or mode.states != before.states
        or mode.flat != before.flat
        or mode.charging != before.charging
    )


def _current_time(plant, piece, now, edges):
    # When a motor current next crosses an edge of its band within a piece.
    mode, best = piece.mode, inf
    for n in (0, 1):
        if not mode.live[n] or plant.conditions.pumps[n].sensor_dead:
            continue
        scale = mode.rated_a[n] * plant.site.pumps[n].motor.sensor_scale * 1000.0
        if mode.states[n] == TURNING and plant.volume < mode.regime.cover_m3[n]:
            # The flicker holds until the next look, which comes with its next value.
            scale *= plant.flicker_factor(n, round(now * 10.0))
        low, high = edges[2 * n], edges[2 * n + 1]
        fixed = mode.fixed_load[n]
        if fixed is not None:
            if not low <= int(fixed * scale) < high:
                best = min(best, max(piece.t0, now))
            continue
        a, b = piece.row[4 + 2 * n] * scale, piece.row[5 + 2 * n] * scale
        here = plant.volume if piece.t0 <= now else piece.v0
        start, end = a + b * here, a + b * piece.v1
        if low <= start < high and low <= end < high:
            continue
        if not low <= start < high:
            best = min(best, max(now, piece.t0))
            continue
        for edge in (low, high):
            if b and min(start, end) <= edge <= max(start, end):
                best = min(best, max(now, piece.t0 + _crossing(piece, (edge - a) / b)))
    return best


def _battery_time(plant, piece, now, edges):
    # When the battery's voltage next crosses an edge of its band within a piece.
    low, high = edges[6] / 1000.0, edges[7] / 1000.0
    start = plant.battery_v if piece.t0 <= now else plant.volts(piece, piece.t0)
    if not low <= start < high:
        return max(piece.t0, now)
    if piece.depth_rate == 0.0 or piece.t1 == inf:
        return inf
    end = plant.volts(piece, piece.t1)
    if low <= end < high:
        return inf
    if end <= 0.0:
        return max(piece.t0, now)  # it bends where it comes to nothing: look at every tick
    edge = low if end < low else high
    return max(now, piece.t0) + (piece.t1 - max(now, piece.t0)) * (edge - start) / (end - start)


def _crossing(piece, volume):
    return time_to(piece.v0, piece.f0, piece.b, volume)
