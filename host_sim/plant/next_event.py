"""When to look at the plant again: the first grid instant at which a raw value may cross a threshold.

A crossing only decides when to wake; the values are sampled at the grid
instant.  So waking early is harmless, waking late is an error.
"""

from math import inf

from duplexsump.control.bands import HIGHEST, LOWEST
from duplexsump.control.records import FAULT_CONVERTER
from duplexsump.control.settings import SENSE_CURRENT

from host_sim.plant.fault_state import AS_IS
from host_sim.plant.mode import TURNING
from host_sim.plant.water_balance import time_to

TICK_MS = 100
EARLY_S = 1e-6  # a crossing is waited for from so long before its computed instant, against rounding
FLICKER_TICKS = 5  # the current of a pump that draws air changes this often
LEAST_UA, MOST_UA = 3800, 20500  # NAMUR NE 43: a transmitter's measuring range
DRIFT_STEP_S = 60.0  # a drifting transmitter moves in steps this long


def next_look(plant: "Plant", now_ms: int, limit_ms: int, edges: list) -> int:
    """Return the first grid instant after now, at most `limit_ms`, at which a raw value may cross one of `edges`.

    `edges` is what `Bands.thresholds()` fills.  Waking early is harmless.
    """
    now = now_ms / 1000.0
    if _must_tick(plant, edges, now):
        return min(now_ms + TICK_MS, limit_ms)
    up, down = _targets(plant, edges, now)
    best = _next_by_itself(plant, now_ms)
    if plant.volume >= up or plant.volume <= down or plant.chattering:
        return _unsteady(plant, now_ms, now_ms + TICK_MS, limit_ms, edges)
    limit = limit_ms / 1000.0
    crossed = inf
    trajectory = plant.trajectory
    i = 0
    segment = trajectory.head
    before = segment.mode
    calm = plant.wave_m > 0.0 and not plant.waves(segment)
    while segment.t0 < best and segment.t0 < limit:
        mode = segment.mode
        if mode is not before and _seen(plant, mode, before):
            best = min(best, segment.t0)
            break
        before = mode
        if calm and plant.waves(segment):
            best = min(best, segment.t0)
            break
        if segment.f0 > 0.0:
            if segment.v1 >= up:
                crossed = segment.t0 + _crossing(segment, up)
        elif segment.v1 <= down:
            crossed = segment.t0 + _crossing(segment, down)
        best = min(best, crossed)
        best = min(best, _analog_time(plant, segment, now, edges))
        if segment.slots is not trajectory.head.slots and plant.fault_state.transmitter == "clogged":
            best = min(best, segment.t0)
        if segment.t1 >= limit or best <= segment.t1:
            break
        i += 1
        segment = trajectory.after(i)
    if best >= limit:
        return limit_ms
    first: int = max(now_ms + TICK_MS, _tick_at(best))
    if best == crossed and segment is trajectory.head:
        return _unsteady(plant, now_ms, first, limit_ms, edges)
    return min(first, limit_ms)


def _tick_at(time_s: float) -> int:
    # The grid instant, in ms, at which a crossing is waited for.
    ticks: int = -int(-(time_s - EARLY_S) * 10.0 // 1)
    return ticks * TICK_MS


def _next_by_itself(plant: "Plant", now_ms: int) -> float:
    # When something next moves in steps of its own: a pump that draws air, a transmitter that drifts.
    best = _flicker(plant, now_ms)
    if plant.fault_state.transmitter == "drifting":
        now = now_ms / 1000.0
        best = min(best, now + DRIFT_STEP_S - (now - plant.drift_from_s) % DRIFT_STEP_S)
    return best


def _unsteady(plant: "Plant", now_ms: int, first_ms: int, limit_ms: int, edges: list) -> int:
    # Where waves, noise or chatter decide: the first tick from `first_ms` on at which a reading passes its edge, no
    # further than the end of this segment.
    segment = plant.trajectory.head
    best = min(segment.t1, _next_by_itself(plant, now_ms), _analog_time(plant, segment, now_ms / 1000.0, edges))
    end: int = limit_ms
    if best < limit_ms / 1000.0:
        end = min(limit_ms, max(now_ms + TICK_MS, _tick_at(best)))
    tick: int = first_ms
    while tick < end and not _carried(plant, segment, tick, edges):
        tick += TICK_MS
    return min(tick, end)


def _carried(plant: "Plant", segment: "Segment", now_ms: int, edges: list) -> bool:
    # Whether a float, the floor, a pump's cover or the transmitter reads otherwise at an instant of a segment.
    volume = segment.volume(now_ms / 1000.0)
    index: int = now_ms // TICK_MS
    if (volume > plant.pit.floor_m3) != (plant.volume > plant.pit.floor_m3):
        return True
    mode = segment.mode
    if mode.energised:
        for cover in mode.regime.cover_m3:
            if (volume < cover) != (plant.volume < cover):
                return True
    if plant.contacts_turn(index, volume, segment):
        return True
    if plant.site.transmitter is None or plant.stuck:
        return False
    reads: int = plant.loop_ua(index, segment, plant.fault_state)
    return not edges[4] <= reads < edges[5]


def _analog_time(plant: "Plant", segment: "Segment", now: float, edges: list) -> float:
    # When a motor current or the battery's voltage next crosses an edge of its band within a segment.
    best, mode = inf, segment.mode
    if mode.energised and plant.sensing == SENSE_CURRENT and not plant.stuck:
        best = _current_time(plant, segment, now, edges)
    read = mode.battery is not None and not plant.stuck and not plant.silent & FAULT_CONVERTER
    if read and (edges[6] > LOWEST or edges[7] < HIGHEST):
        best = min(best, _battery_time(plant, segment, now, edges))
    return best


def _must_tick(plant: "Plant", edges: list, now: float) -> bool:
    # What changes from tick to tick by itself.
    c = plant.fault_state
    if c.transmitter == "clogged" and plant.site.transmitter is not None:
        low, high = _transmitter_levels(plant, edges, now)
        reading = plant.trajectory.head.slots.reading_m
        if reading <= low or reading >= high:
            return True
    return False


def _flicker(plant: "Plant", now_ms: int) -> float:
    # While a turning pump draws air its current changes on a grid of its own.
    mode = plant.trajectory.head.mode
    if plant.sensing == SENSE_CURRENT and mode.energised:
        for n in (0, 1):
            if mode.states[n] == TURNING and plant.volume < mode.regime.cover_m3[n]:
                step = FLICKER_TICKS * TICK_MS
                return (now_ms // step + 1) * step / 1000.0
    return inf


def _targets(plant: "Plant", edges: list, now: float) -> tuple:
    # The nearest volumes above and below at which something may be read.
    i: int
    up, down = inf, -inf
    wet, volume = plant.wet, plant.volume
    trips, releases = plant.trip_m3, plant.release_m3
    if plant.wave_m > 0.0 and plant.waves(plant.trajectory.head):
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
    mode = plant.trajectory.head.mode
    if mode.energised:
        for cover in mode.regime.cover_m3:
            if down < cover < volume:
                down = cover
    if plant.site.transmitter is not None:
        low, high = _transmitter_targets(plant, edges, now)
        up, down = min(up, high), max(down, low)
    return up, down


def _transmitter_levels(plant: "Plant", edges: list, now: float) -> tuple:
    # The readings below and above which the noise may carry a value over an edge of its band.
    device, c = plant.site.transmitter, plant.fault_state
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


def _transmitter_targets(plant: "Plant", edges: list, now: float) -> tuple:
    if plant.fault_state.transmitter not in (AS_IS, "drifting") or plant.stuck:
        return -inf, inf
    low, high = _transmitter_levels(plant, edges, now)
    return (
        plant.pit.volume_m3(low) if low > 0.0 else -inf,
        plant.pit.volume_m3(high) if high < inf else inf,
    )


def _seen(plant: "Plant", mode: "Mode", before: "Mode") -> bool:
    # Whether a change by itself shows on a wire at once.
    return (
        mode.hot != before.hot
        or mode.fixed_load != before.fixed_load
        or mode.states != before.states
        or mode.flat != before.flat
        or mode.charging != before.charging
    )


def _current_time(plant: "Plant", segment: "Segment", now: float, edges: list) -> float:
    # When a motor current next crosses an edge of its band within a segment.
    low: int
    high: int
    mode, best = segment.mode, inf
    for n in (0, 1):
        if not mode.live[n] or plant.fault_state.pumps[n].sensor_dead:
            continue
        scale = mode.rated_a[n] * plant.site.pumps[n].motor.sensor_scale * 1000.0
        if mode.states[n] == TURNING and plant.volume < mode.regime.cover_m3[n]:
            # The flicker holds until the next look, which comes with its next value.
            scale *= plant.flicker_factor(n, round(now * 10.0))
        low, high = edges[2 * n], edges[2 * n + 1]
        fixed = mode.fixed_load[n]
        if fixed is not None:
            if not low <= int(fixed * scale) < high:
                best = min(best, max(segment.t0, now))
            continue
        a, b = segment.row[4 + 2 * n] * scale, segment.row[5 + 2 * n] * scale
        here = plant.volume if segment.t0 <= now else segment.v0
        start, end = a + b * here, a + b * segment.v1
        if low <= start < high and low <= end < high:
            continue
        if not low <= start < high:
            best = min(best, max(now, segment.t0))
            continue
        for edge in (low, high):
            if b and min(start, end) <= edge <= max(start, end):
                best = min(best, max(now, segment.t0 + _crossing(segment, (edge - a) / b)))
    return best


def _battery_time(plant: "Plant", segment: "Segment", now: float, edges: list) -> float:
    # When the battery's voltage next crosses an edge of its band within a segment.
    low, high = edges[6] / 1000.0, edges[7] / 1000.0
    start = plant.battery_v if segment.t0 <= now else plant.volts(segment, segment.t0)
    if not low <= start < high:
        return max(segment.t0, now)
    if segment.depth_rate == 0.0 or segment.t1 == inf:
        return inf
    end = plant.volts(segment, segment.t1)
    if low <= end < high:
        return inf
    if end <= 0.0:
        return max(segment.t0, now)  # it bends where it comes to nothing: look at every tick
    edge = low if end < low else high
    return max(now, segment.t0) + (segment.t1 - max(now, segment.t0)) * (edge - start) / (end - start)


def _crossing(segment: "Segment", volume: float) -> float:
    return time_to(segment.v0, segment.f0, segment.b, volume)
