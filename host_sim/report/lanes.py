"""The lanes of the strip chart: one row for each pump, supply, fault, suspect and alarm, under one clock.

A lane is data (name, bars, note); drawing knows nothing of where it came from.
Every bar carries a fill and a hatch, so that colour is never the only sign.
"""

from dataclasses import dataclass, field

from duplexsump.control.records import CONTACT_NAMES

from host_sim.report.clock import lasting
from host_sim.report.closeup import contacts_known, wet_spans
from host_sim.report.series import merged, share
from host_sim.report.verdict import PRIORITIES, hours

# The eight colors of M. Okabe and K. Ito, "Color Universal Design: how to make figures and presentations that are
# friendly to colorblind people", 2002, revised 2008.  No other hue is used in a picture; greys are tints of the black.
BLACK, ORANGE, SKY, GREEN = "#000000", "#E69F00", "#56B4E9", "#009E73"
YELLOW, BLUE, VERMILION, PURPLE = "#F0E442", "#0072B2", "#D55E00", "#CC79A7"
# Pump 1 and pump 2: these two stand out from white paper even as bars without an outline.
PUMP_COLORS, PUMP_HATCHES = (BLUE, GREEN), ("", "////")
# Above this many runs a pump's lane shows the share of time running instead of single bars.
MOST_BARS = 700
SHARE_BINS = 240
# In a run up to this long the contacts' own lanes can be read.
CONTACTS_TO_S = 2 * 3600.0
# Of more bars than this in one lane only the first and the last carry their time.
MOST_TIMES = 4
# The picture shows at most this many alarms; the rest stand in the timeline.
MOST_ALARMS = 12


@dataclass
class Lane:
    """One row: `bars` are (start_s, end_s), `heights` a share per bin instead of bars where there are too many."""

    name: str
    bars: list[tuple[float, float]]
    colour: str
    hatch: str = ""
    note: str = ""
    labelled: bool = True  # whether each bar carries its times
    heights: list[float] = field(default_factory=list)
    mark: str = ""  # a letter that also stands in the level panel
    first_alarm_s: float | None = None  # when horn or relay first called
    gaps: list[tuple[float, float]] = field(default_factory=list)  # stretches written as "out ..."


@dataclass
class Group:
    """Lanes under one heading."""

    title: str
    lanes: list[Lane]


def groups(trace):
    """Return the groups of lanes of a trace, top to bottom."""
    found = [Group("pumps", pump_lanes(trace))]
    if trace.duration_s <= CONTACTS_TO_S and trace.contact_changes:
        found.append(Group("contacts wet", contact_lanes(trace)))
    found.append(Group("supply", supply_lanes(trace)))
    if trace.faults:
        found.append(Group("faults", fault_lanes(trace)))
    said = suspect_lanes(trace) + alarm_lanes(trace)
    if said:
        found.append(Group("alarms and suspect floats", said))
    return found


def pump_lanes(trace):
    """Return one lane for each pump with the stretches for which it was commanded to run."""
    lanes = []
    crowded = len(trace.runs) > MOST_BARS
    for pump in (1, 2) if trace.controller == "duplex" else (1,):
        bars = [(run.start_s, run.end_s) for run in trace.runs if run.pump == pump]
        starts, run_s = trace.totals.starts[pump - 1], trace.totals.run_s[pump - 1]
        running = lasting(run_s) if trace.duration_s <= CONTACTS_TO_S else hours(run_s)
        note = f"{starts} start{'' if starts == 1 else 's'}, {running}"
        lane = Lane(f"pump {pump} runs", bars, PUMP_COLORS[pump - 1], PUMP_HATCHES[pump - 1], note, False)
        if crowded:
            lane.heights = list(share(bars, trace.duration_s, SHARE_BINS)[1])
        lanes.append(lane)
    if crowded:
        _scale_shares(lanes)
    return lanes


def _scale_shares(lanes):
    # All pumps to one scale, whose top is named, so that a few minutes a day can still be seen.
    most = max(max(lane.heights) for lane in lanes)
    top = next((top for top in (0.01, 0.02, 0.05, 0.1, 0.2, 0.5) if top >= most), 1.0)
    for lane in lanes:
        lane.heights = [height / top for height in lane.heights]
        lane.name = f"{lane.name} (top: {top:.0%} of time)"


def contact_lanes(trace):
    """Return one lane for each contact with the stretches in which it was wet, the highest on top."""
    return [Lane(name, wet_spans(trace, name), SKY, labelled=False) for name in contacts_known(trace)]


def supply_lanes(trace):
    """Return the lane of the mains with its gaps, and one of a generator where there was one."""
    lost = [(span.start_s, span.end_s) for span in trace.supply if span.name == "none"]
    fed = [(span.start_s, span.end_s) for span in trace.supply if span.name == "mains"]
    note = f"out {duration_note(lost)}" if lost else "never out"
    lanes = [Lane("mains", merged(fed, 0.0), SKY, "", note, labelled=False)]
    lanes[0].gaps = merged(lost, trace.duration_s / 300)
    dead = [(span.start_s, span.end_s) for span in trace.outputs if span.name == "controller"]
    if dead:
        bars = merged(dead, trace.duration_s / 300)
        lanes.append(Lane("controller down", bars, BLACK, "", duration_note(dead)))
    spare = [(span.start_s, span.end_s) for span in trace.supply if span.name not in ("mains", "none")]
    if spare:
        lanes.append(Lane("generator", merged(spare, 0.0), ORANGE, "\\\\\\\\"))
    return lanes


def duration_note(bars):
    """Return how long bars last together."""
    return lasting(sum(end - start for start, end in bars))


def fault_lanes(trace):
    """Return one lane for each kind of fault, lettered in order of time."""
    lanes = {}
    for fault in sorted(trace.faults, key=lambda fault: fault.start_s):
        name = short(fault.name)
        if name not in lanes:
            mark = chr(ord("A") + len(lanes)) if len(lanes) < 26 else ""
            lanes[name] = Lane(name, [], ORANGE, "xxxx", mark=mark)
        lanes[name].bars.append((fault.start_s, fault.end_s))
    return list(lanes.values())


def short(name):
    """Return the name of a fault as words: "pump1-jammed" is "pump 1 jammed", "lead-stuck-wet" a float's."""
    words = name.replace("-", " ").replace("pump1", "pump 1").replace("pump2", "pump 2").split()
    if words[0] in CONTACT_NAMES:
        words.insert(1, "float")
    return " ".join(words)


def suspect_lanes(trace):
    """Return one lane for each contact that was suspect."""
    lanes = {}
    for suspect in trace.suspects:
        name = f"{suspect.contact} float suspect"
        lanes.setdefault(name, Lane(name, [], PURPLE, "||||"))
        lanes[name].bars.append((suspect.start_s, suspect.end_s))
    for lane in lanes.values():
        lane.bars = merged(lane.bars, trace.duration_s / 300)
    return list(lanes.values())


HATCHES = {"high": "", "medium": "----", "low": ".."}
COLOURS = {"high": VERMILION, "medium": ORANGE, "low": YELLOW}


def alarm_lanes(trace):
    """Return one lane for each alarm that was raised, highest priority first, then in order of time."""
    lanes = {}
    for alarm in sorted(trace.alarms, key=lambda alarm: (PRIORITIES.index(alarm.priority), alarm.raised_s)):
        name = f"{alarm.text} ({alarm.priority})"
        lanes.setdefault(name, Lane(name, [], COLOURS[alarm.priority], HATCHES[alarm.priority]))
        end_s = trace.duration_s if alarm.cleared_s is None else alarm.cleared_s
        lanes[name].bars.append((alarm.raised_s, end_s))
    found = list(lanes.values())[:MOST_ALARMS]
    for lane in found:
        times = len(lane.bars)
        lane.note = "" if times == 1 else f"{times} times"
        lane.bars = merged(lane.bars, trace.duration_s / 150)
    horn = [(span.start_s, span.end_s) for span in trace.outputs if span.name == "horn"]
    if horn:
        found.append(
            Lane("horn", merged(horn, trace.duration_s / 300), BLACK, labelled=False, note=duration_note(horn))
        )
        found[-1].first_alarm_s = trace.totals.first_alarm_s
    return found


def bar_texts(lane, clock, trace_end_s, room):
    """Return (x, text, alignment) of the times written beside each bar, without any two of them touching.

    `room(text)` is the width of a text in seconds.  A bar whose text finds no
    place beside it goes without: its times then stand in the timeline.
    """
    if not lane.labelled:
        return gap_texts(lane, clock, trace_end_s, room)
    texts, taken = [], [*lane.bars]
    for place, (start, end) in enumerate(lane.bars):
        text = clock.span(start, end)
        if len(lane.bars) > MOST_TIMES:
            if place not in (0, len(lane.bars) - 1):
                continue
            text = f"first {clock.at(start)}" if place == 0 else f"last {clock.at(end)}"
        need = room(text)
        for left, right, align, x in ((end, end + need, "left", end), (start - need, start, "right", start)):
            clear = all(right <= a or left >= b for a, b in taken if (a, b) != (start, end))
            if left >= 0 and right <= trace_end_s and clear:
                texts.append((x, text, align))
                taken.append((left, right))
                break
        else:
            if need < (end - start) * 0.96:
                texts.append(((start + end) / 2, text, "center"))
    return texts


def gap_texts(lane, clock, trace_end_s, room):
    """Return the same for the gaps of a lane: in the gap, or behind it where it is too narrow; some find no room."""
    texts, free_from = [], 0.0
    for start, end in lane.gaps:
        text = f"out {clock.span(start, end)}"
        need = room(text)
        if need <= end - start:
            x, align, left = (start + end) / 2, "center", (start + end - need) / 2
        elif end + need <= trace_end_s:
            x, align, left = end, "left", end
        else:
            x, align, left = start, "right", start - need
        if left >= free_from:
            texts.append((x, text, align))
            free_from = left + need
    return texts
