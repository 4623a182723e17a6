"""Reserve: one pump against the peak, the rise during start delays, and the storm that is too much."""

from dataclasses import dataclass
from math import inf

from duplexsump.control import settings as s

from host_sim.sizing.head import ALONE_1, ALONE_2, BOTH

BOOT_S = 0.5  # a microcontroller's own start; common practice


@dataclass(frozen=True)
class Wait:
    """Something that keeps every pump off for a while: how long, and how high the design inflow rises meanwhile."""

    what: str
    seconds: float
    from_m: float
    level_m: float


@dataclass(frozen=True)
class Reserve:
    one_m3s: float  # the weaker pump alone, at high
    both_m3s: float
    carried: float  # one pump's flow over the design inflow
    waits: tuple
    one_fails_s: float  # from high to floor with one pump running; inf when it never gets there
    none_runs_s: float  # from high to floor with none
    lead_to_floor_s: float  # from lead to floor with none: how long a power cut may last
    one_overwhelmed: tuple  # (kind, value SI) of the storm that is more than one pump, as many as there is evidence for
    both_overwhelmed: tuple
    worn_m3s: float  # the weaker pump alone after the wear of limits.wear


def _delays_s(inputs, values):
    """Return [(what, seconds, starts at off)] of everything that keeps the pumps off, on the controller's settings."""

    def seconds(place):
        return values[place] / 1000.0

    debounce, spacing = seconds(s.DEBOUNCE_MS), seconds(s.START_SPACING_MS)
    failed = seconds(s.START_PROOF_MS) + spacing
    # After a power-up both pumps count as just stopped (narrative S4), so they rest as well as being held.
    rest = seconds(s.LAG_MIN_OFF_MS)
    held = debounce + BOOT_S + max(seconds(s.BOOT_HOLD_MS), rest, spacing)
    found = [
        ("minimum off time of the only pump left, after a short run", rest, True),
        ("failed start, changeover to the other pump", debounce + failed, False),
        ("power-up delay and minimum off time", held, False),
        ("power-up delay, then a failed start", held + failed, False),
    ]
    if inputs.supply.generator is not None:
        after = inputs.supply.generator.after_s + seconds(s.MAINS_SETTLE_MS) + seconds(s.GENERATOR_SPACING_MS)
        found.append(("generator start and settling time", debounce + after, False))
    return found


def longest_wait_s(inputs, values):
    """Return the longest wait that begins at `lead`."""
    return max(seconds for _, seconds, at_off in _delays_s(inputs, values) if not at_off)


def waits(inputs, contacts, values, inflow_m3s):
    """Return the Waits at an inflow.  A wait that begins at `off` cannot end below `lead`."""
    pit, found = inputs.pit, []
    for what, seconds, at_off in _delays_s(inputs, values):
        start = contacts[0].dry_m if at_off else contacts[1].wet_m
        level = pit.level_m(pit.volume_m3(start) + inflow_m3s * seconds)
        found.append(Wait(what, seconds, start, max(level, contacts[1].wet_m) if at_off else level))
    return tuple(found)


def rise_s(pit, from_m, to_m, net_m3s):
    """Return how long a net inflow takes from one level to another; inf when it is none."""
    return (pit.volume_m3(to_m) - pit.volume_m3(from_m)) / net_m3s if net_m3s > 0.0 else inf


def overwhelming(design, flow_m3s, highest_off_m):
    """Return ((kind, SI value), ...) of what brings a flow: rain, a day of rain, a water table; always the flow
    itself."""
    found = [("flow", flow_m3s)]
    fresh = flow_m3s * (1.0 - design.recirculated_m3s / design.inflow_m3s) if design.inflow_m3s > 0.0 else flow_m3s
    for item in design.estimates:
        if item.rain_ms_each:
            found.append(("rate", fresh * item.rain_ms_each))
        if item.day_m_each:
            found.append(("length", fresh * item.day_m_each))
        if item.conductance_m2s:
            found.append(("distance", highest_off_m + fresh / item.conductance_m2s))
    return tuple(found)


def reserve(inputs, contacts, values, design, points, worn_m3s):
    """Return the Reserve of a site at its design inflow."""
    flows = {p.which: p.flow_m3s for p in points if p.contact == "high"}
    one, both = min(flows[ALONE_1], flows[ALONE_2]), flows[BOTH]
    inflow, pit = design.inflow_m3s, inputs.pit
    high, floor = contacts[3].wet_m, pit.floor_m
    return Reserve(
        one,
        both,
        one / inflow if inflow > 0.0 else inf,
        waits(inputs, contacts, values, inflow),
        rise_s(pit, high, floor, inflow - one),
        rise_s(pit, high, floor, inflow),
        rise_s(pit, contacts[1].wet_m, floor, inflow),
        overwhelming(design, one, contacts[0].dry_m),
        overwhelming(design, both, contacts[0].dry_m),
        worn_m3s,
    )
