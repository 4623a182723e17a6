"""Records a run as a Trace: every change since the step before, with its time.

Without `curves` there is no point of a curve: for runs of which only totals and events are asked.
"""

from math import inf

from duplexsump.control import alarm_table, alarms
from duplexsump.control.controller import Controller
from duplexsump.control.pump import CAUSES, FLOOD_TRIAL, STATES, Pump
from duplexsump.control.records import (
    BATTERY_DEAD,
    BATTERY_GOOD,
    CONTACT_NAMES,
    IN_BATTERY,
    IN_CHARGER,
    IN_CONTACTS,
    OUT_BEACON,
    OUT_HORN,
    OUT_LATE,
    OUT_LIGHT,
    OUT_PUMP_1,
    OUT_RELAY,
    OUT_SERVICE,
)

from host_sim.plant.plant import Plant
from host_sim.run.trace import AlarmSpan, Event, FaultSpan, Run, Span, SuspectSpan, Trace

POINTS = 4000  # the least number of points of a quiet run's curves
LEAST_POINT_S = 5.0
GONE = (alarms.NORMAL, alarms.RETURNED, alarms.LATCHED, alarms.LATCHED_ACKNOWLEDGED)
ACTIVE = (alarms.UNACKNOWLEDGED, alarms.ACKNOWLEDGED)
MOTOR_DRY = 0.05  # of the rated flow; below it a turning pump moves no water
RELAYS = ("relay", "service")  # they call by dropping
BATTERY_NAMES = ("good", "low", "dead")


class Recorder:
    """Records one run.  `look()` after every step; `finish()` at the end."""

    plant: Plant
    spacing_s: float
    next_point_s: float
    pumps: list
    states: list
    motors: list
    alarm_states: list
    outputs: dict
    suspect: int
    floor: bool
    duplex: bool
    batteries: bool

    def __init__(self, site, control, plant, seed, curves=True):
        self.site, self.control, self.plant = site, control, plant
        self.duplex = control.name == "duplex"
        self.batteries = site.supply.battery is not None
        self.spacing_s = max(LEAST_POINT_S, site.duration_s / POINTS) if curves else inf
        trace = self.trace = Trace(
            site.name, control.name, seed, site.begins_s, site.duration_s, site.pit.floor_m, site.pit.floor_m
        )
        for i in plant.fitted:
            name = CONTACT_NAMES[i]
            trace.contact_trip_m[name] = plant.trip_m[i]
            trace.contact_release_m[name] = plant.release_m[i]
            trace.contact_changes[name] = []
        self.contacts = None
        self.pumps = [0, 0]
        self.runs = [None, None]
        self.moved = [0.0, 0.0]
        self.states = [0, 0]
        self.suspect = 0
        self.suspects = {}
        self.alarm_states = [0] * alarm_table.COUNT
        self.alarm_spans = {}
        self.outputs = {}
        self.told = None  # the outputs of the last look
        self.supply = None
        self.faults = {}
        self.motors = ["", ""]
        self.dry_from_s = [0.0, 0.0]
        self.idle_mode = None
        self.battery, self.charger = BATTERY_GOOD, None
        self.floor = False
        self.next_point_s = 0.0 if curves else inf

    def event(self, now_s, kind, **data):
        """Record one event."""
        self.trace.events.append(Event(now_s, kind, data))

    # Points to draw.

    def point(self, now_s: float):
        """Take one point of every curve at a time that lies ahead of the last."""
        level, inflow, currents, volts = self.plant.look(now_s)
        trace = self.trace
        trace.time_s.append(now_s)
        trace.level_m.append(level)
        trace.inflow_m3s.append(inflow)
        trace.current_a[0].append(currents[0])
        trace.current_a[1].append(currents[1])
        if self.batteries:
            trace.battery_v.append(volts)
        self.next_point_s = now_s + self.spacing_s

    def fill(self, until_s: float):
        """Take the points that fall due before a time."""
        while self.next_point_s < until_s:
            self.point(self.next_point_s)

    # Looking.

    def look(self, now_ms: int, raw: list):
        """Record what changed in this step."""
        now_s = now_ms / 1000.0
        changed = False
        if raw[IN_CONTACTS] != self.contacts:
            self._contacts(now_s, raw[IN_CONTACTS])
            changed = True
        out: list = self.control.out
        for n in (0, 1):
            if out[OUT_PUMP_1 + n] != self.pumps[n]:
                self._command(now_s, n, out[OUT_PUMP_1 + n])
                changed = True
        if self.duplex and self.control.powered:
            self._controller(now_s, out)
        self._plant(now_s, raw)
        if now_s >= self.next_point_s or (changed and self.spacing_s < inf):
            self.point(now_s)

    def _contacts(self, now_s: float, word):
        plant = self.plant
        for i in plant.fitted:
            wet = plant.contact_wet(i, word)
            changes = self.trace.contact_changes[CONTACT_NAMES[i]]
            if not changes or changes[-1][1] != wet:
                changes.append((now_s, wet))
                if self.contacts is not None:
                    self.event(now_s, "contact", name=CONTACT_NAMES[i], wet=wet)
        self.contacts = word

    def why(self, n):
        """Return the reason for the command to pump n, from the state of the controller."""
        if not self.duplex:
            return "float switch"
        c = self.control.controller
        if c.exercise.who == n:
            return "exercise"
        if c.selectors.hand(n):
            return "hand"
        if c.pumps[n].trial == FLOOD_TRIAL:
            return "flood retry"
        if c.blind.wants() and not c.demand.demand:
            return "blind pumping"
        if (c.demand.demand >= 2 and self.pumps[1 - n]) or (c.pair.lead >= 0 and c.pair.lead != n):
            return "lag"
        return "lead"

    def _command(self, now_s, n, on):
        self.pumps[n] = on
        so_far = self.plant.trajectory.totals
        totals = self.trace.totals
        if on:
            why = self.why(n)
            self.runs[n] = Run(n + 1, now_s, now_s, why, so_far.out_m3[n], so_far.loaded_s[n])
            totals.starts[n] += 1
        else:
            why = self._close(n, now_s)
        self.event(now_s, "pump", pump=n + 1, on=bool(on), why=why)

    def _close(self, n, now_s):
        run, so_far = self.runs[n], self.plant.trajectory.totals
        if run is None:
            return ""
        run.end_s = now_s
        run.moved_m3 = so_far.out_m3[n] - run.moved_m3
        run.loaded_s = so_far.loaded_s[n] - run.loaded_s
        self.trace.totals.run_s[n] += now_s - run.start_s
        self.trace.runs.append(run)
        self.runs[n] = None
        return run.why

    def _controller(self, now_s: float, out: list):
        c: Controller = self.control.controller
        for n in (0, 1):
            pump: Pump = c.pumps[n]
            state = pump.state
            if state != self.states[n]:
                self.event(now_s, "pump_state", pump=n + 1, state=STATES[state], before=STATES[self.states[n]],
                           cause=CAUSES[pump.cause])  # fmt: skip
                self.states[n] = state
        if c.belief.suspect != self.suspect:
            self._suspects(now_s, c)
        if c.alarms.state != self.alarm_states:
            self._alarms(now_s, c)
        if out != self.told:
            self.told = out[:]
            self._outputs(now_s, out)
        if out[OUT_LATE]:
            self.event(now_s, "late", ms=0)

    def _outputs(self, now_s: float, out: list):
        self._span(now_s, "horn", out[OUT_HORN])
        self._span(now_s, "beacon", out[OUT_BEACON])
        self._span(now_s, "relay", not out[OUT_RELAY])
        self._span(now_s, "service", not out[OUT_SERVICE])
        if bool(out[OUT_LIGHT]) != self.outputs.get("light", False):
            self.outputs["light"] = bool(out[OUT_LIGHT])
            self.event(now_s, "output", name="light", on=bool(out[OUT_LIGHT]))

    def _suspects(self, now_s, c):
        for i in range(4):
            bit = 1 << i
            if c.belief.suspect & bit and not self.suspect & bit:
                reads = "wet" if c.contacts.wet & bit else "dry"
                self.suspects[i] = SuspectSpan(CONTACT_NAMES[i], reads, now_s, now_s)
                self.event(now_s, "suspect", contact=CONTACT_NAMES[i], reads=reads, on=True)
            elif self.suspect & bit and not c.belief.suspect & bit:
                self._end_suspect(i, now_s)
        self.suspect = c.belief.suspect

    def _end_suspect(self, i, now_s, event=True):
        span = self.suspects.pop(i)
        span.end_s = now_s
        self.trace.suspects.append(span)
        if event:
            self.event(now_s, "suspect", contact=span.contact, reads=span.reads, on=False)

    def _alarms(self, now_s, c):
        for i, state in enumerate(c.alarms.state):
            before = self.alarm_states[i]
            if state == before:
                continue
            self.alarm_states[i] = state
            row = alarm_table.TABLE[i]
            name, text = row[alarm_table.NAME], row[alarm_table.TEXT]
            priority = alarm_table.PRIORITIES[row[alarm_table.PRIORITY]]
            change = self._alarm(i, before, state, now_s, AlarmSpan(name, priority, text, now_s))
            self.event(now_s, "alarm", name=name, priority=priority, text=text, change=change)

    def _alarm(self, i, before, state, now_s, fresh):
        if state == alarms.UNACKNOWLEDGED and before in GONE:
            self.alarm_spans[i] = fresh
            self.trace.alarms.append(fresh)
            return "raised"
        span = self.alarm_spans.get(i)
        if state == alarms.UNACKNOWLEDGED:
            return "raised"  # the reminder of an acknowledged alarm
        acknowledged = state in (alarms.ACKNOWLEDGED, alarms.LATCHED_ACKNOWLEDGED)
        if span is not None:
            if acknowledged and span.acknowledged_s is None:
                span.acknowledged_s = now_s
            if state in GONE and before in ACTIVE:
                span.cleared_s = now_s
        if state == alarms.NORMAL:
            return "acknowledged" if before == alarms.RETURNED else "cleared"
        return "acknowledged" if acknowledged else "returned"

    def _span(self, now_s: float, name, on):
        span = self.outputs.get(name)
        if on and span is None:
            self.outputs[name] = Span(name, now_s, now_s)
            self.event(now_s, "output", name=name, on=name not in RELAYS)
            if name in ("horn", *RELAYS) and self.trace.totals.first_alarm_s is None:
                self.trace.totals.first_alarm_s = now_s
        elif not on and span is not None:
            self.outputs.pop(name)
            span.end_s = now_s
            self.trace.outputs.append(span)
            self.event(now_s, "output", name=name, on=name in RELAYS)

    def _plant(self, now_s: float, raw: list):
        plant = self.plant
        source = "none" if not plant.mains else "generator" if plant.generator else "mains"
        if self.supply is None or source != self.supply.name:
            if self.supply is not None:
                self.supply.end_s = now_s
                self.trace.supply.append(self.supply)
                self.event(now_s, "mains", present=plant.mains, source=source)
            self.supply = Span(source, now_s, now_s)
        floor = plant.volume > plant.pit.floor_m3
        if floor != self.floor:
            self.floor = floor
            self.event(now_s, "floor", wet=floor)
        if plant.trajectory.head.mode is not self.idle_mode:
            self._motor(now_s, 0)
            self._motor(now_s, 1)
            if not plant.trajectory.head.mode.energised:
                self.idle_mode = plant.trajectory.head.mode  # no event until it changes
        if self.batteries:
            self._battery(now_s, raw)

    def _motor(self, now_s: float, n: int):
        mode = self.plant.trajectory.head.mode
        what = mode.why[n]
        if mode.live[n] and not what:
            row = self.plant.trajectory.head.row
            out = row[2 * n] + row[2 * n + 1] * self.plant.volume
            what = "loaded" if out > MOTOR_DRY * mode.rated_m3s[n] else "dry"
        if what == self.motors[n]:
            return
        before, self.motors[n] = self.motors[n], what
        if before == "dry":
            self.trace.totals.dry_runs_s[n].append(now_s - self.dry_from_s[n])
        self.dry_from_s[n] = now_s
        if what and not (what == "loaded" and before == ""):
            self.event(now_s, "motor", pump=n + 1, what=what)
        elif before == "thermal open":
            self.event(now_s, "motor", pump=n + 1, what="thermal closed")

    def _battery(self, now_s: float, raw: list):
        if self.control.powered and self.control.name == "duplex":
            band = self.control.inputs[IN_BATTERY]
            if band != self.battery:
                self.battery = min(band, BATTERY_DEAD)
                self.event(now_s, "battery", state=BATTERY_NAMES[self.battery], volts=self.plant.battery_v)
        if raw[IN_CHARGER] != self.charger:
            if self.charger is not None:
                self.event(now_s, "charger", charging=bool(raw[IN_CHARGER]))
            self.charger = raw[IN_CHARGER]

    # From the loop.

    def fault(self, now_s, fault, on):
        """Record that a fault begins or ends."""
        key = id(fault)
        if on:
            self.faults[key] = FaultSpan(fault.name, fault.text, now_s, now_s, fault.value)
            self.trace.faults.append(self.faults[key])
        elif key in self.faults:
            self.faults.pop(key).end_s = now_s
        self.event(now_s, "fault", name=fault.name, value=fault.value, text=fault.text, on=on)

    def dead(self, now_s, dead, what):
        """Record that the controller lost or regained its power, or was reset."""
        self.event(now_s, "controller", what=what)
        if dead:
            for name in ("horn", "beacon"):
                self._span(now_s, name, False)
            for name in RELAYS:
                self._span(now_s, name, True)
            for i in list(self.suspects):
                self._end_suspect(i, now_s)
            self.suspect = 0
            self.told = None
        self._span_quiet(now_s, "controller", dead)

    def _span_quiet(self, now_s, name, on):
        if on and name not in self.outputs:
            self.outputs[name] = Span(name, now_s, now_s)
        elif not on and name in self.outputs:
            span = self.outputs.pop(name)
            span.end_s = now_s
            if span.end_s > span.start_s:
                self.trace.outputs.append(span)

    # The end.

    def finish(self, now_s, steps, wall_s):
        """Close what is open and return the Trace."""
        trace, so_far, plant = self.trace, self.plant.trajectory.totals, self.plant
        self.fill(now_s)
        self.point(now_s)
        plant.trajectory.cut(now_s)  # the totals count what has passed
        for n in (0, 1):
            self._close(n, now_s)
            if self.motors[n] == "dry":
                trace.totals.dry_runs_s[n].append(now_s - self.dry_from_s[n])
        trace.runs.sort(key=lambda run: (run.start_s, run.pump))
        for i in list(self.suspects):
            self._end_suspect(i, now_s, event=False)
        for name in ("horn", "beacon", *RELAYS, "controller"):
            self._span_quiet(now_s, name, False)
        if self.supply is not None:
            self.supply.end_s = now_s
            trace.supply.append(self.supply)
        for span in self.faults.values():
            span.end_s = now_s
        trace.outputs.sort(key=lambda span: span.start_s)
        self._totals(so_far, plant, steps, wall_s)
        return trace

    def _totals(self, so_far, plant, steps, wall_s):
        totals = self.trace.totals
        totals.highest_m = plant.pit.level_m(so_far.highest_m3)
        totals.highest_at_s = so_far.highest_at_s
        totals.floor_wet_s, totals.floor_first_s = so_far.floor_s, so_far.floor_first_s
        totals.inflow_m3 = so_far.given_m3 + so_far.seeped_m3
        totals.pumped_m3 = sum(so_far.out_m3)
        totals.dry_s = list(so_far.dry_s)
        motors = [pump.motor for pump in plant.site.pumps]
        totals.energy_j = [so_far.charge_as[n] * motors[n].volts * motors[n].power_factor for n in (0, 1)]
        totals.battery_used = so_far.deepest
        totals.balance_m3 = so_far.balance_m3(plant.trajectory.v)
        moved = so_far.moved_m3()
        totals.balance_relative = abs(totals.balance_m3) / moved if moved > 0.0 else 0.0
        totals.steps, totals.wall_s = steps, wall_s
