"""A made-up night in the shape of a trace, so that reports are tested without running a simulation.

The water follows a crude bang-bang rule; nothing here is physics to be trusted.
All figures are invented.
"""

import math

from host_sim.run.trace import AlarmSpan, Event, FaultSpan, Run, Span, SuspectSpan, Trace

HOUR = 3600.0
DURATION = 10 * HOUR
OUT_FROM, OUT_TO = 4.7 * HOUR, 8.2 * HOUR
STUCK_FROM, STUCK_TO = 5.3 * HOUR, 6.7 * HOUR
JAM_FROM = 6.1 * HOUR
TRIP = {"off": 0.1524, "lead": 0.3556, "lag": 0.4064, "high": 0.4572}
FLOOR = 0.6096
PIT_AREA, FLOOR_AREA = 0.1642, 40.0
PUMP_M3S = 34.6 * 6.309e-5


def inflow(time_s):
    """Return an invented inflow in m3/s: a swell that peaks at 22 gpm in the sixth hour."""
    return 6.309e-5 * (3 + 19 * math.exp(-(((time_s - 5.8 * HOUR) / (1.6 * HOUR)) ** 2)))


def empty(controller):
    """Return a trace of the sample site with no water history yet."""
    trace = Trace("Invented cellar", controller, 7, 20 * HOUR, DURATION, FLOOR, 0.61)
    trace.contact_trip_m = dict(TRIP)
    trace.contact_release_m = {name: level - 0.02 for name, level in TRIP.items()}
    return trace


def pump_down(trace, able, step_s=2.0):
    """Let the water rise and fall by contacts; `able(time_s)` names the pump that can run now, or 0."""
    level, running, began, volume = 0.16, 0, 0.0, 0.0
    totals = trace.totals
    for index in range(int(DURATION / step_s)):
        now = index * step_s
        if running and (level < TRIP["off"] or able(now) != running):
            trace.runs.append(Run(running, began, now, "lead", volume, now - began))
            totals.run_s[running - 1] += now - began
            running = 0
        elif not running and level > TRIP["lead"] and able(now):
            running, began, volume = able(now), now, 0.0
            totals.starts[running - 1] += 1
        out = PUMP_M3S if running else 0.0
        volume += out * step_s
        area = PIT_AREA if level < FLOOR else FLOOR_AREA
        level = max(0.0, level + (inflow(now) - out) * step_s / area)
        trace.time_s.append(now)
        trace.level_m.append(level)
        trace.inflow_m3s.append(inflow(now))
        if level > totals.highest_m:
            totals.highest_m, totals.highest_at_s = level, now
        if level >= FLOOR:
            totals.floor_wet_s += step_s
            totals.floor_first_s = now if totals.floor_first_s is None else totals.floor_first_s
    return trace


def single():
    """Return the night of one pump on one float switch: nothing runs while the mains are out."""
    trace = pump_down(empty("single"), lambda now: 0 if OUT_FROM < now < OUT_TO else 1)
    trace.supply = [Span("mains", 0, OUT_FROM), Span("none", OUT_FROM, OUT_TO), Span("mains", OUT_TO, DURATION)]
    return trace


def duplex():
    """Return the night of the pair: pump 2 on a battery, a float that sticks, a pump 1 that jams."""

    def able(now):
        return 2 if now > JAM_FROM or OUT_FROM < now < OUT_TO else 1 + int(now // 300) % 2

    trace = pump_down(empty("duplex"), able)
    trace.supply = [Span("mains", 0, OUT_FROM), Span("none", OUT_FROM, OUT_TO), Span("mains", OUT_TO, DURATION)]
    trace.faults = [
        FaultSpan("mains-lost", "the mains are gone", OUT_FROM, OUT_TO),
        FaultSpan("lead-stuck-wet", "the lead float hangs up wet", STUCK_FROM, STUCK_TO),
        FaultSpan("pump1-jammed", "pump 1 is jammed", JAM_FROM, DURATION),
    ]
    trace.alarms = [
        AlarmSpan("mains_lost", "medium", "mains lost", OUT_FROM + 10, OUT_FROM + 600, OUT_TO + 15),
        AlarmSpan("out_of_sequence", "medium", "floats out of sequence", STUCK_FROM + 60, None, STUCK_TO + 5),
        AlarmSpan("pump_out", "medium", "one pump unavailable", JAM_FROM + 20, None, None),
        AlarmSpan("high_water", "high", "high water", JAM_FROM + 40, JAM_FROM + 90, JAM_FROM + 300),
        AlarmSpan("high_water", "high", "high water", JAM_FROM + 400, None, JAM_FROM + 500),
    ]
    trace.suspects = [SuspectSpan("lead", "wet", STUCK_FROM + 60, STUCK_TO)]
    trace.outputs = [Span("horn", OUT_FROM + 10, OUT_FROM + 600), Span("relay", JAM_FROM + 40, JAM_FROM + 500)]
    trace.totals.first_alarm_s = OUT_FROM + 10
    trace.totals.battery_used = 0.41
    trace.events = events(trace)
    return trace


def events(trace):
    """Return the events that the sample's spans imply, in order of time."""
    found = [
        Event(OUT_FROM, "mains", {"present": False, "source": "none"}),
        Event(OUT_TO, "mains", {"present": True, "source": "mains"}),
        Event(STUCK_FROM + 60, "suspect", {"contact": "lead", "reads": "wet", "on": True}),
        Event(STUCK_TO, "suspect", {"contact": "lead", "reads": "wet", "on": False}),
        Event(JAM_FROM + 2, "motor", {"pump": 1, "what": "stalled"}),
        Event(JAM_FROM + 7, "pump_state", {"pump": 1, "state": "retry", "before": "running"}),
        Event(OUT_FROM + 600, "button", {"name": "silence", "pressed": True}),
        Event(OUT_FROM + 10, "output", {"name": "horn", "on": True}),
        Event(OUT_FROM + 600, "output", {"name": "horn", "on": False}),
    ]
    for fault in trace.faults:
        data = {"name": fault.name, "value": fault.value, "text": fault.text}
        found.append(Event(fault.start_s, "fault", {**data, "on": True}))
        if fault.end_s < DURATION:
            found.append(Event(fault.end_s, "fault", {**data, "on": False}))
    for alarm in trace.alarms:
        data = {"name": alarm.name, "priority": alarm.priority, "text": alarm.text}
        found.append(Event(alarm.raised_s, "alarm", {**data, "change": "raised"}))
        if alarm.cleared_s is not None:
            found.append(Event(alarm.cleared_s, "alarm", {**data, "change": "cleared"}))
    for run in trace.runs:
        found.append(Event(run.start_s, "pump", {"pump": run.pump, "on": True, "why": run.why}))
        found.append(Event(run.end_s, "pump", {"pump": run.pump, "on": False, "why": run.why}))
    return sorted(found, key=lambda event: event.time_s)


