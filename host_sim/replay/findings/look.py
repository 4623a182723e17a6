"""Every finding in a log, the gravest first."""

from host_sim.replay.findings import floats, pumps, water
from host_sim.replay.findings.finding import SURE, case


def look(log, site, parts, flow, rates):
    """Return every Sign in a log, the gravest first."""
    found = case(log, site, parts, flow, rates)
    signs = []
    for work in (floats.contradictions, floats.late_starts, floats.low_stops, pumps.weak,
                 pumps.not_pumping, pumps.short_cycling, pumps.mains, water.leaking,
                 water.recirculation, water.not_keeping_up):  # fmt: skip
        signs += work(found)
    for sign in signs:
        # Pumps that do not keep up while one of them is weak: the weak one comes first.
        flooded = [s.weight for s in signs if s.kind == "not keeping up" and s.start_s < sign.end_s > sign.start_s]
        if sign.kind == "weak pump" and sign.sure == "certain" and flooded:
            sign.weight = max(flooded) + 0.5
    signs.sort(key=lambda sign: (-sign.weight, -SURE.index(sign.sure), sign.start_s))
    return signs
