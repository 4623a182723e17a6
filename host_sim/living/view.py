"""What is seen of a living pit: plain dictionaries of numbers in SI and of words, the same for every engine."""

from duplexsump.control import alarm_table, alarms
from duplexsump.control.pump import STATES
from duplexsump.control.records import CONTACT_NAMES, OUTPUT_NAMES

from host_sim import alarm_words
from host_sim.living import why
from host_sim.living.deeds import SELECTORS
from host_sim.report import timeline
from host_sim.report.units import units as unit_system
from host_sim.site import effective, faults

STANDING = {
    alarms.UNACKNOWLEDGED: "active, unacknowledged",
    alarms.ACKNOWLEDGED: "active, acknowledged",
    alarms.RETURNED: "cleared, unacknowledged",
    alarms.LATCHED: "cleared, latched until reset",
    alarms.LATCHED_ACKNOWLEDGED: "acknowledged, latched until reset",
}
SHAPE_STEPS = 24


def about(session):
    """Return what does not change: the pit to scale (m), contacts, pumps, the faults that can act here, the clock."""
    site = session.site
    return scale(site) | {
        "kind": "pit",
        "name": site.name,
        "about": site.about,
        "source": session.source,
        "begins_s": site.begins_s or 0.0,
        "battery": site.supply.battery is not None,
        "transmitter": site.transmitter is not None,
        "selectors": list(SELECTORS),
        "faults": [
            {"name": name, "does": kind.does, "says": kind.says}
            for name, kind in faults.REGISTRY.items()
            if not kind.at_once and not effective.refusal(faults.parse_fault(name), site)
        ],
    }


def scale(site):
    """Return what is drawn to scale of a Site, in m: the pit's profile, contacts, pumps, the floor."""
    pit = site.pit
    levels = [pit.floor_m * i / SHAPE_STEPS for i in range(SHAPE_STEPS + 1)]
    return {
        "floor_m": pit.floor_m,
        "profile": [[level, _width(pit, level)] for level in levels],
        "contacts": [
            {"name": CONTACT_NAMES[i], "wet_m": contact.wet_m, "dry_m": contact.dry_m}
            for i, contact in enumerate(site.contacts) if contact is not None
        ],
        "pumps": [{"intake_m": pump.intake_m, "supply": pump.supply, "rated_a": pump.motor.rated_a}
                  for pump in site.pumps],
        "outlet_m": site.discharge.outlet_m,
    }  # fmt: skip


def _width(pit, level):
    # A round pit is drawn at its diameter: area = pi/4 d2.
    return (max(pit.area_m2(level - 1e-9 if level else 0.0), 0.0) * 4.0 / 3.141592653589793) ** 0.5


def state(session):
    """Return what is so now, for the pair and for the single pump."""
    return {
        "t_ms": session.now_ms,
        "pair": _pair(session.pair),
        "single": _water(session.single),
        "broken": session.broken(),
        "planned": [[done.at_ms, done.what, done.value] for done in session.planned()],
        "next_ms": session.next_event_ms(),
    }


def _water(pit):
    night = pit.night
    level, inflow, amps, volts = night.plant.look(pit.now_ms / 1000.0)
    totals = night.recorder.trace.totals
    return {
        "level_m": level,
        "inflow_m3s": inflow,
        "amps": list(amps),
        "volts": volts,
        "pumps": list(night.control.out[:2]),
        "out_m3s": [_delivers(night.plant, n) for n in (0, 1)],
        "starts": list(totals.starts),
        "floor_wet": level > night.site.pit.floor_m,
        "dead": not night.control.powered,
    }


def _delivers(plant, n):
    # What pump n moves at this volume: the row of the current mode, as the recorder reads it.
    head = plant.trajectory.head
    if not head.mode.live[n] or head.mode.why[n]:
        return 0.0
    return max(0.0, head.row[2 * n] + head.row[2 * n + 1] * plant.volume)


def _pair(pit):
    night, c = pit.night, pit.night.control.controller
    seen = _water(pit)
    plant = night.plant
    seen |= {
        "outputs": dict(zip(OUTPUT_NAMES, night.control.out, strict=True)),
        "mains": plant.mains,
        "generator": plant.generator,
        "selectors": list(plant.selectors),
        "charging": bool(night.raw and plant.trajectory.head.mode.charging),
    }
    raw = night.recorder.contacts or 0
    seen["contacts"] = {
        CONTACT_NAMES[i]: {"reads": plant.contact_wet(i, raw), "is": bool(plant.wet[i]),
                           "suspect": bool(c and c.belief.suspect >> i & 1)}
        for i in plant.fitted
    }  # fmt: skip
    if seen["dead"] or c is None:
        return seen | {"states": ["no power", "no power"], "why": [], "alarms": [],
                       "decided": [list(one) for one in pit.decisions.latest]}  # fmt: skip
    seen["states"] = [STATES[pump.state] for pump in c.pumps]
    seen["why"] = [{"pump": n + 1, "words": words, "clause": clause}
                   for n in (0, 1) if seen["pumps"][n] for words, clause in (why.started(night.recorder.why(n)),)]
    seen["decided"] = [list(one) for one in pit.decisions.latest]
    seen["alarms"] = [_alarm(i, c.alarms.state[i]) for i in range(alarm_table.COUNT) if c.alarms.state[i]]
    return seen


def _alarm(i, standing):
    row = alarm_table.TABLE[i]
    words = alarm_words.of(row[alarm_table.NAME])
    return {
        "name": row[alarm_table.NAME],
        "text": row[alarm_table.TEXT],
        "priority": alarm_table.PRIORITIES[row[alarm_table.PRIORITY]],
        "standing": STANDING[standing],
        "wrong": words.wrong,
        "causes": words.causes,
        "do": words.do,
        "never": words.never,
    }


class Story:
    """The story and the curves of a session, told on from where they were last told."""

    def __init__(self, system="us"):
        self.units = unit_system(system)
        self.events = 0
        self.points = {"pair": 0, "single": 0}

    def more(self, session, most=None):
        """Return {"lines": [[s, text, weight]], "pair": [[s, m, m3/s, A, A]], "single": [[s, m]]} that are new.

        At most `most` events and points of each curve, the rest with the next calls.
        """
        trace = session.pair.night.recorder.trace
        until = len(trace.events) if most is None else min(len(trace.events), self.events + most)
        fresh = trace.events[self.events : until]
        self.events = until
        lines = [[event.time_s, *told] for event in fresh
                 if not timeline.implied(event, trace) and (told := timeline.tell(event, trace, self.units))]
        single = session.single.night.recorder.trace
        return {
            "lines": lines,
            "pair": self._points("pair", trace, most, _flows),
            "single": self._points("single", single, most, lambda trace, i: []),
        }

    def _points(self, name, trace, most, rest):
        since, end = self.points[name], len(trace.time_s)
        self.points[name] = end = end if most is None else min(end, since + most)
        return [[trace.time_s[i], trace.level_m[i], *rest(trace, i)] for i in range(since, end)]


def _flows(trace, i):
    return [trace.inflow_m3s[i], trace.current_a[0][i], trace.current_a[1][i]]
