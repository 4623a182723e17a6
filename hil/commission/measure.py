"""Rates, refill and amps from the board's changes: pure functions.

A change is (ms, name, value); a "gap" is a pause in polling, and no time is measured
across one.  The board debounces wet and dry alike, so the delays cancel in every
difference.
"""

from statistics import median

SETTLE_MS = 3000  # the inrush is over, the flow stands; the controller's own start proof takes as long


def draw_down(changes, pumps):
    """Return (begin ms, end ms) of the last draw-down from lead dry to off dry made by just these pumps, else None.

    `pumps` is a mask: 1, 2 or 3.
    """
    # In one poll the contacts come before the pumps: the stop that `off` brings about comes behind it.
    running, begin, found = 0, None, None
    for ms, name, value in changes:
        if name in ("pump_1", "pump_2"):
            bit = 1 if name == "pump_1" else 2
            running = running | bit if value else running & ~bit
            begin = None if running != pumps else begin
        elif name == "gap":
            begin = None
        elif name == "lead":
            begin = ms if not value and running == pumps else None
        elif name == "off" and not value and begin is not None:
            found, begin = (begin, ms), None
    return found


def fill(changes):
    """Return (begin ms, end ms) of the last fill from off wet to lead wet with no pump on, else None."""
    on, begin, found = set(), None, None
    for ms, name, value in changes:
        if name in ("pump_1", "pump_2"):
            if value:
                on.add(name)
                begin = None
            else:
                on.discard(name)
        elif name == "gap":
            begin = None
        elif name == "off":
            begin = ms if value and not on else None
        elif name == "lead" and value and begin is not None:
            found = (begin, ms)
            begin = None
    return found


def refill(changes):
    """Return (begin ms, end ms) of the last time from off dry to off wet again, else None."""
    begin, found = None, None
    for ms, name, value in changes:
        if name == "gap":
            begin = None
        elif name == "off":
            if not value:
                begin = ms
            elif begin is not None:
                found = (begin, ms)
                begin = None
    return found


def rate_m3s(draw_ms, draw_m3, inflow_m3s):
    """Return the pumped rate: the volume over the draw-down time, plus the inflow."""
    return draw_m3 * 1000.0 / draw_ms + inflow_m3s


def inflow_m3s(fill_ms, fill_m3):
    """Return the inflow of a fill."""
    return fill_m3 * 1000.0 / fill_ms


def refill_share(refill_ms, refill_m3, inflow, rate, debounce_ms):
    """Return the refill time over what the inflow alone takes; well under 1: water came back through the check valve.

    While the board debounces the off contact, the pump goes on: that water must run in as well.
    """
    below_m3 = max(0.0, rate - inflow) * debounce_ms / 1000.0
    return refill_ms / 1000.0 * inflow / (refill_m3 + below_m3)


def amps(samples, pump, begin_ms, end_ms):
    """Return the median current that the sensor of a pump (0 or 1) reported within a time, in A; None without samples.

    `samples` are (ms, pump, mA).
    """
    within = [ma for ms, n, ma in samples if n == pump and begin_ms <= ms <= end_ms]
    return median(within) / 1000.0 if within else None
