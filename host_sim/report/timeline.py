"""The timeline of a night: events at the pit, alarms, and what the controller did about them.

Routine pumping is counted between the events that matter; an alarm that
repeats is listed once with its count.
"""

from dataclasses import dataclass, replace

from host_sim.report.clock import Clock, lasting
from host_sim.report.verdict import margin

# A text that comes again within this time is folded into the line before.
REPEAT_S = 3600.0


@dataclass
class Line:
    """One line; `weight` is 2 for what threatens the floor, 1 for other events, 0 for routine."""

    time_s: float
    text: str
    weight: int = 1


def timeline(trace, units):
    """Return the lines of the timeline of `trace`, in order of time."""
    events = [event for event in trace.events if not implied(event, trace)]
    lines = [Line(event.time_s, *told) for event in tried(events) if (told := tell(event, trace, units))]
    lines.append(peak(trace, units))
    lines.sort(key=lambda line: line.time_s)
    return routine(trace, fold(lines, Clock(trace.begins_s, trace.duration_s)))


def written(trace, units):
    """Return the timeline as texts "clock  words", one for each line."""
    clock = Clock(trace.begins_s, trace.duration_s)
    return [f"{clock.at(line.time_s, seconds=True)}  {line.text}" for line in timeline(trace, units)]


def tried(events):
    """Yield the events, with a lockout that only ends a try of a pump that was locked out told as the try."""
    trying = set()
    for event in events:
        if event.kind == "pump_state":
            pump, state, before = event.data["pump"], event.data["state"], event.data["before"]
            if state == "locked" and pump in trying:
                event = replace(event, data={**event.data, "state": "tried"})
            if before == "locked":
                trying.add(pump)
            elif state in ("locked", "idle", "retry"):
                trying.discard(pump)
        yield event


def implied(event, trace):
    """Return whether another line says it at the same instant: a fault for the mains, the mains for the charger."""
    if event.kind == "mains":
        edges = [edge for fault in trace.faults if fault.name == "mains-lost" for edge in (fault.start_s, fault.end_s)]
        return any(abs(edge - event.time_s) < 0.5 for edge in edges)
    if event.kind == "charger":
        edges = [edge for span in trace.supply for edge in (span.start_s, span.end_s)]
        return any(abs(edge - event.time_s) < 0.5 for edge in edges)
    return False


def peak(trace, units):
    """Return the line of the highest water."""
    level = units.level.text(trace.totals.highest_m)
    return Line(trace.totals.highest_at_s, f"highest water: {level}, {margin(trace, units)}", 2)


def tell(event, trace, units):
    """Return (words, weight) for one event, or None for one that stands in the journal alone."""
    teller = TELLERS.get(event.kind)
    return teller(event.data, trace, units) if teller else None


def _mains(data, trace, units):
    if data["present"]:
        source = data.get("source", "mains")
        return ("mains restored", 1) if source == "mains" else (f"supply from the {source}", 1)
    return ("mains failure", 2)


def _battery(data, trace, units):
    return (f"battery {data['state']} ({data['volts']:.1f} V)", 1 if data["state"] == "good" else 2)


def _charger(data, trace, units):
    return ("battery charging" if data["charging"] else "battery not charging", 1)


def _selector(data, trace, units):
    return (f"selector of pump {data['pump']} turned to {data['position'].upper()}", 1)


def _button(data, trace, units):
    return (f"{data['name']} button pressed", 1) if data["pressed"] else None


def _fault(data, trace, units):
    return (f"FAULT: {data['text']}", 2) if data["on"] else (f"end of fault: {data['text']}", 1)


def _alarm(data, trace, units):
    if data["change"] == "raised":
        return (f"{data['priority']} alarm: {data['text']}", 2 if data["priority"] == "high" else 1)
    if data["change"] == "returned":
        return (f"{data['text']}: cleared, unacknowledged", 0)
    return (f"{data['text']}: {data['change']}", 0)


def _suspect(data, trace, units):
    if data["on"]:
        return (f"{data['contact']} float suspect: it reads {data['reads']}", 1)
    return (f"{data['contact']} float no longer suspect", 1)


def _floor(data, trace, units):
    return ("WATER ON THE FLOOR", 2) if data["wet"] else ("floor clear of water", 2)


def _motor(data, trace, units):
    words = {
        "stalled": ("locked rotor", 2),
        "thermal open": ("thermal contact opens: motor too hot", 2),
        "thermal closed": ("thermal contact closes: motor cooled down", 1),
        "no supply": ("no supply to the motor", 1),
    }
    told = words.get(data["what"])
    return (f"pump {data['pump']}: {told[0]}", told[1]) if told else None


def _controller(data, trace, units):
    return (f"controller: {data['what']}", 1)


def _pump_state(data, trace, units):
    # The words of the firmware's own state table.
    words = {"retry": "tripped, resting before a retry", "locked": "locked out", "tried": "tried, and locked out again"}
    word, cause = words.get(data["state"]), data.get("cause", "none")
    because = "" if cause == "none" else f" ({cause})"
    return (f"pump {data['pump']}: {word}{because}", 1) if word else None


TELLERS = {
    "mains": _mains,
    "battery": _battery,
    "charger": _charger,
    "selector": _selector,
    "button": _button,
    "fault": _fault,
    "alarm": _alarm,
    "suspect": _suspect,
    "floor": _floor,
    "motor": _motor,
    "controller": _controller,
    "pump_state": _pump_state,
}


def fold(lines, clock):
    """Return `lines` with each repeated text listed once, with its count and the time of the last."""
    kept, open_lines = [], {}
    for line in lines:
        first = open_lines.get(line.text)
        if first is not None and line.time_s - first[2] <= REPEAT_S:
            first[1] += 1
            first[2] = line.time_s
            continue
        open_lines[line.text] = entry = [line, 1, line.time_s]
        kept.append(entry)
    told = []
    for line, count, last_s in kept:
        more = f" (and {count - 1} more until {clock.at(last_s)})" if count > 1 else ""
        told.append(Line(line.time_s, line.text + more, line.weight))
    return told


def routine(trace, lines):
    """Return `lines` with one line for the pump runs between each two, where there were any."""
    marks = [line.time_s for line in lines] + [trace.duration_s]
    runs = sorted(trace.runs, key=lambda run: run.start_s)
    told, place, since = [], 0, 0.0
    for index, mark in enumerate(marks):
        batch = []
        while place < len(runs) and runs[place].start_s < mark:
            batch.append(runs[place])
            place += 1
        # Less than a minute between two marks gets no line of pump runs.
        if batch and mark - since >= 60:
            told.append(Line(max(since, batch[0].start_s), pumping(batch), 0))
        if index < len(lines):
            told.append(lines[index])
        since = mark
    return told


def pumping(batch):
    """Return the words for a batch of runs: "pump 1: 12 runs, 4 min total"."""
    parts = []
    for pump in (1, 2):
        mine = [run for run in batch if run.pump == pump]
        if mine:
            time_on = sum(run.end_s - run.start_s for run in mine)
            runs = "1 run" if len(mine) == 1 else f"{len(mine)} runs"
            parts.append(f"pump {pump}: {runs}, {lasting(time_on)} total")
    whys = sorted({run.why for run in batch} - {"lead"})
    extra = f" ({', '.join(whys)})" if whys else ""
    return "; ".join(parts) + extra
