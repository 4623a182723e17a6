"""With other settings or another firmware: what changed, channel by channel, with lead or lag in milliseconds."""

from bisect import bisect_left
from dataclasses import dataclass, field

from duplexsump.control.records import OUT_LATE, OUTPUT_NAMES

NEAR_MS = 600_000  # edges further apart than this are not the same edge come early or late; our own choice


@dataclass
class Channel:
    """One output: its edges in both, those that moved (time_ms, on, lead or lag in ms), those that one alone has.

    A shift above 0 is a lag: the new run comes later.
    """

    name: str
    edges_before: int = 0
    edges_after: int = 0
    moved: list = field(default_factory=list)
    gone: list = field(default_factory=list)  # (time_ms, on)
    new: list = field(default_factory=list)
    on_before_ms: int = 0
    on_after_ms: int = 0

    @property
    def same(self):
        """Whether nothing changed in this channel."""
        return not (self.moved or self.gone or self.new)


def edges(outputs, place, end_ms):
    """Return ([(time_ms, on)], time on in ms) of one output in a list of (time_ms, outputs)."""
    found, value, since, total = [], 0, 0, 0
    for time_ms, out in outputs:
        if out[place] != value:
            if value:
                total += time_ms - since
            value, since = out[place], time_ms
            found.append((time_ms, bool(value)))
    return found, total + (end_ms - since if value else 0)


def compare(before, after, end_ms):
    """Return a Channel for each output of two lists of (time_ms, outputs)."""
    channels = []
    for place, name in enumerate(OUTPUT_NAMES):
        if place == OUT_LATE:
            continue
        old, on_before = edges(before, place, end_ms)
        new, on_after = edges(after, place, end_ms)
        channel = Channel(name, len(old), len(new), on_before_ms=on_before, on_after_ms=on_after)
        for on in (True, False):
            _match(channel, [t for t, o in old if o == on], [t for t, o in new if o == on], on)
        for part in (channel.moved, channel.gone, channel.new):
            part.sort()
        channels.append(channel)
    return channels


def _match(channel, old, new, on):
    # Each edge finds the nearest of its kind that is still free; equal instants first.
    free = sorted(set(new))
    common = set(old) & set(new)
    free = [t for t in free if t not in common]
    for time in old:
        if time in common:
            continue
        place = bisect_left(free, time)
        near = [i for i in (place - 1, place) if 0 <= i < len(free)]
        best = min(near, key=lambda i: abs(free[i] - time), default=None)
        if best is None or abs(free[best] - time) > NEAR_MS:
            channel.gone.append((time, on))
        else:
            channel.moved.append((time, on, free.pop(best) - time))
    channel.new.extend((time, on) for time in free)


def describe(channel, clock):
    """Return lines of what changed in one channel; `clock(time_ms)` writes a time."""
    if channel.same:
        return []
    name = channel.name.replace("_", " ")
    lines = [f"{name}: {channel.edges_before} edges before, {channel.edges_after} now; "
             f"on {channel.on_before_ms / 1000:.1f} s before, {channel.on_after_ms / 1000:.1f} s now"]  # fmt: skip
    if channel.moved:
        shifts = sorted(shift for _, _, shift in channel.moved)
        time, on, shift = channel.moved[0]
        reach = _shift(shifts[0]) if shifts[0] == shifts[-1] else f"{_shift(shifts[0])} to {_shift(shifts[-1])}"
        noun = "edge" if len(shifts) == 1 else "edges"
        lines.append(
            f"  {len(shifts)} {noun} moved, {reach}, "
            f"median {_shift(shifts[len(shifts) // 2])}; the first at {clock(time)}, turning "
            f"{'on' if on else 'off'}, {_shift(shift)}"
        )
    for part, word in ((channel.gone, "gone"), (channel.new, "new")):
        if part:
            time, on = part[0]
            state = "on" if on else "off"
            lines.append(f"  {len(part)} edges {word}; the first at {clock(time)}, turning {state}")
    return lines


def _shift(ms):
    return "at the same instant" if ms == 0 else f"{abs(ms)} ms {'later' if ms > 0 else 'earlier'}"
