"""Every finding in a log, the most serious first."""

from host_sim.replay.findings import floats, pumps, water
from host_sim.replay.findings.finding import CONFIDENCE, context_of
from host_sim.report.units import US


def detect(log, site, parts, flow, rates, units=US):
    """Return every Finding in a log, the most serious first; `units` are those of the evidence."""
    found = context_of(log, site, parts, flow, rates, units)
    findings = []
    for work in (floats.contradictions, floats.late_starts, floats.low_stops, pumps.weak,
                 pumps.not_pumping, pumps.short_cycling, pumps.mains, water.leaking,
                 water.recirculation, water.not_keeping_up):  # fmt: skip
        findings += work(found)
    for finding in findings:
        # Pumps that do not keep up while one of them is weak: the weak one comes first.
        flooded = [other.severity for other in findings
                   if other.kind == "not keeping up" and other.start_s < finding.end_s > finding.start_s]  # fmt: skip
        if finding.kind == "weak pump" and finding.confidence == "certain" and flooded:
            finding.severity = max(flooded) + 0.5
    findings.sort(key=lambda finding: (-finding.severity, -CONFIDENCE.index(finding.confidence), finding.start_s))
    return findings
