"""Every finding in a log, the most serious first."""

from host_sim.replay.findings import floats, pumps, water
from host_sim.replay.findings.finding import CANNOT, CONFIDENCE, ESTABLISHED, LIKELY, context_of
from host_sim.replay.limits import FEW_ROWS
from host_sim.report.units import US

# What needs no cycle to show, and what does.
ROWS = (floats.contradictions, pumps.currents, pumps.mains)
CYCLES = (floats.late_starts, floats.low_stops, pumps.weak, pumps.not_pumping, pumps.short_cycling, water.leaking,
          water.recirculation, water.not_keeping_up)  # fmt: skip
BY_SLOPE = ("weak pump", "leaking check valve", "recirculation", "not keeping up", "low stop")


def _few_rows(finding, found):
    # Two or three rows in each draw-down, and no record of the runs: what a pump moves is then no more than a guess.
    limits, log = found.limits, found.log
    few = limits is not None and limits.resolved and limits.spacing_s > FEW_ROWS * limits.draw_down_s
    return bool(few and finding.kind == "weak pump" and not found.recorded and not log.levels_at_contacts_only)


EXPLAIN = ("late start", "not keeping up", "not pumping", "weak pump", "no mains")  # high water


def _explained(high, findings):
    # Whether what was found before it goes on for a good part of the time that water stood high, or led up to it.
    return any(other.kind in EXPLAIN and other.start_s < high.end_s and other.end_s > high.start_s
               for other in findings)  # fmt: skip


def _unexplained(finding, findings):
    # Water that rose over a pump that moved little: it did not keep up only where that pump is found weak as well.
    weak = any(other.kind == "weak pump" and other.confidence != CANNOT and other.start_s < finding.end_s
               and finding.start_s < other.end_s for other in findings)  # fmt: skip
    return finding.kind == "not keeping up" and finding.causes[0] == "weak pump" and not weak


def detect(log, site, parts, flow, rates, units=US, limits=None, sharing=1):
    """Return every Finding in a log, the most serious first; `units` are those of the evidence.

    What the log cannot show by its Limits is not looked for; what it shows only
    coarsely is likely at most.  `sharing` is how many pumps may have run by turns.
    """
    found = context_of(log, site, parts, flow, rates, units, limits, sharing)
    resolved = limits is None or limits.resolved
    findings = []
    for work in (*ROWS, *(CYCLES if resolved else (water.high_water,))):
        findings += work(found)
    findings = [finding for finding in findings if not _unexplained(finding, findings)]
    if resolved and log.levels_at_contacts_only and not found.recorded:
        findings += water.high_water(found)
    elif resolved and not log.levels_at_contacts_only:
        # Water that stood high and that nothing found so far explains: said all the same.
        findings += [high for high in water.high_water(found) if not _explained(high, findings)]
    if not resolved and found.recorded:
        findings += pumps.short_cycling(found)  # of rows too far apart the starts are at least so many
    if limits is not None and limits.runs_only:
        findings += pumps.long_runs(found)
    for finding in findings:
        if limits is not None and not limits.fine and finding.kind in BY_SLOPE and finding.confidence == ESTABLISHED:
            finding.confidence = LIKELY
            finding.evidence.append(f"few rows in each draw-down (one every {limits.spacing_s:g} s): likely at most")
        if _few_rows(finding, found) and finding.confidence == LIKELY:
            finding.confidence = CANNOT
    for finding in findings:
        # Pumps that do not keep up while one of them is weak: the weak one comes first.
        flooded = [other for other in findings
                   if other.kind == "not keeping up" and other.start_s < finding.end_s > finding.start_s]  # fmt: skip
        sure = finding.confidence == ESTABLISHED or any(other.causes[0] == "weak pump" for other in flooded)
        if finding.kind == "weak pump" and sure and flooded:
            finding.severity = max(other.severity for other in flooded) + 0.5
    findings.sort(key=lambda finding: (-finding.severity, -CONFIDENCE.index(finding.confidence), finding.start_s))
    return findings
