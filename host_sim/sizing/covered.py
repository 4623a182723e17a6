"""Which faults this pit survives at its design inflow: floor dry, no pump dry for over a minute; and which it does not.

A row is one kind of trouble with the faults of the simulator that it stands
for, whether it is covered, for how long, and why.  Every fault of the registry
stands in one row at most; what is not fitted stands in none.  The rows are
rules on the sizing's own figures: `python -m tests.interviews` holds them
against the simulator.
"""

from dataclasses import dataclass
from math import ceil, inf

from duplexsump.control import settings as s

from host_sim.plant.discharge import BACK_SHARE, Drive, Outlet, back_area_m2, rated_flow_m3s
from host_sim.plant.fault_state import FaultState
from host_sim.site.faults import REGISTRY
from host_sim.sizing import battery
from host_sim.sizing.model import fixed_duty

SPARE = 1.05  # a pump must move this many times the design inflow to be counted on; our own choice
CLEARLY = 0.94  # of the underload; the controller goes from normal to underload 5 % below it, 1 % for the sensor
STEPS = 8  # between high and off, at whose ends both pumps are looked at
MOVES = 0.1  # of a pump's rated flow, below which it is counted as running dry
DRY_S = 60.0  # longest dry run that counts as none
FLOATS = ("off", "lead", "lag", "high")
WAYS = ("stuck-wet", "stuck-dry", "chattering", "wire-broken")
NO_START = ("will-not-start", "breaker-open", "thermal-trip", "left-off", "jammed")
NO_WATER = ("air-locked", "check-stuck-shut", "valve-shut")
OFTENER = 1.5  # a pump leads in its turn as well, between two flood tries; 41 an hour at the most in 1,000 interviews
TRY_BEGINS_S = 1.0  # from the start until the load is judged, at most
STOOD_S = 1.0  # that a battery must read dead before the controller takes it for dead (narrative A4)
APART_S = 3.0  # floats that turn nearer than this look like a broken cable (2 s in the controller); our own choice
ONE_FLOAT = "only the high float is left: pumping goes on blind, with rests in which water may reach the floor"
DRIVEN = "the stronger pump holds the other's check valve shut, and no current clearly tells of it"
SHUT_OUT = f"where both run, {DRIVEN}"
AGAIN = ("where both run, the stronger pump holds the other's check valve shut: stopped and tried again up to twice a "
         "minute, its motor wears out")  # fmt: skip
FAINT = "its current against a closed valve is not clearly below the underload: it may turn in still water for hours"
UNSEEN = "without current sensing a pump that moves no water is not noticed, and may run dry for hours"


@dataclass(frozen=True)
class Covered:
    """One kind of trouble: the simulator's faults, what it is, whether it is survived, for how long (s), why."""

    names: tuple
    what: str
    held: bool
    why: str
    seconds: float = inf


def covered(result):
    """Return the list of Covered rows of a sizing Result."""
    pit = _Pit(result)
    rows = []
    for n in (0, 1):
        rows += _pump(pit, n)
    rows += [*_contacts(pit), *_people(pit), *_power(pit), *_never(pit)]
    if pit.unfit:
        rows = [Covered(row.names, row.what, False, pit.unfit) for row in rows]
    return rows


def unfit(result):
    """Return why no fault at all is covered, "" where some may be."""
    return _Pit(result).unfit


def tries(result):
    """Return (seconds of a try, the most tries in an hour) of a pump that turns and moves no water; None where without
    current sensing nobody tells.

    A pump that is out is tried after 10, 30 and 60 s and then every `flood_retry` while `high` reads wet, hung up or
    up or not; else after `retry`, which is longer.  Where the pit fills and empties quickly, it is called twice in
    every cycle of the other pump: as the lead pump, and beside it (narrative R4).
    """
    if result.settings[s.SENSING] != s.SENSE_CURRENT:
        return None
    values = result.settings
    flood = OFTENER * 3600000.0 / values[s.FLOOD_RETRY_MS]
    # Cycles an hour, q (Q - q) / (Q V): most at half of what the faster pump moves, or at the design inflow below it.
    most_m3s, band_m3 = max(_Pit(result).alone_m3s), max(result.cycling.band_m3 - result.displaced_m3, 1e-3)
    inflow_m3s = min(result.design.inflow_m3s, 0.5 * most_m3s)
    cycles = 3600.0 * inflow_m3s * (1.0 - inflow_m3s / most_m3s) / band_m3 if most_m3s > 0.0 else 0.0
    return values[s.DRY_RUN_MS] / 1000.0 + TRY_BEGINS_S, 4 + ceil(max(flood, 2.0 * cycles))


def leaders(result):
    """Return the pumps (0, 1) that lead in everyday duty."""
    return (result.settings[s.PRIMARY] - 1,) if fixed_duty(result) else (0, 1)


def by_fault(rows):
    """Return {fault name: its Covered row}."""
    return {name: row for row in rows for name in row.names}


class _Pit:
    # The figures that the rules look at.
    def __init__(self, result):
        self.result, self.inputs = result, result.inputs
        self.need_m3s = SPARE * result.design.inflow_m3s
        self.high_m = result.contacts[3].wet_m
        low_m = result.contacts[0].dry_m
        self.drawn_m = tuple(low_m + i * (self.high_m - low_m) / STEPS for i in range(STEPS + 1))  # where both run
        self.seen = result.settings[s.SENSING] == s.SENSE_CURRENT
        self.blind_s = result.settings[s.BLIND_RUN_MS] / 1000.0
        self.transmitter = result.settings[s.TRANSMITTER] != 0
        self.alone_m3s = [self.flow(n) for n in (0, 1)]
        self.unfit = self._unfit()

    def flow(self, n, share=1.0, back_m2=0.0, level_m=None):
        """What pump n alone moves, at `high` unless said, with a share left by wear, past an idle line that leaks."""
        drives = [Drive(back_m2=back_m2), Drive(back_m2=back_m2)]
        drives[n] = Drive(True, share, share)
        level_m = self.high_m if level_m is None else level_m
        found = self.inputs.lines.solve(level_m, tuple(drives), Outlet())
        return found[0] + found[1]

    def both_may_run(self):
        """Whether neither pump runs without flow unseen while both run, from `high` down to `off`: a stronger one may
        hold the other's check valve shut, and a pump that turns in still water need not draw less than its underload.
        """
        return all(self._seen_at(level_m) for level_m in self.drawn_m)

    def _seen_at(self, level_m):
        moved = self._both_m3s(level_m)
        return all(self._moves_worth(n, moved[n]) or self._trips_at(n, moved[2 + n]) for n in (0, 1))

    def both_move(self):
        """Whether both pumps move water where both run, from `high` down to `off`."""
        return not (self.shut_out(0) or self.shut_out(1))

    def shut_out(self, n):
        """Whether the other pump holds the check valve of pump n shut where both run."""
        return not all(self._moves_worth(n, self._both_m3s(level_m)[n]) for level_m in self.drawn_m)

    def _both_m3s(self, level_m):
        return self.inputs.lines.solve(level_m, (Drive(True), Drive(True)), Outlet())

    def _moves_worth(self, n, flow_m3s):
        return flow_m3s > MOVES * rated_flow_m3s(self.inputs.pumps[n].curve)

    def _trips_at(self, n, through_m3s):
        # Whether a pump that moves this much draws clearly less than its underload, dead band included: every run comes
        # down to it from the inrush.
        pump = self.inputs.pumps[n]
        load = pump.motor.shut_share + (1.0 - pump.motor.shut_share) * through_m3s / rated_flow_m3s(pump.curve)
        return self.seen and load * pump.motor.rated_a * 1000.0 < CLEARLY * self.result.settings[s.UNDERLOAD_1_MA + n]

    def still_seen(self, n):
        """Whether pump n against a closed valve is taken off; its weep hole still lets some water through."""
        drives = tuple(Drive(i == n, blocked=i == n) for i in (0, 1))
        return self._trips_at(n, self.inputs.lines.solve(self.high_m, drives, Outlet())[2 + n])

    def moves(self, n, share):
        """Whether worn pump n moves water worth the name down to `off`."""
        drives = tuple(Drive(i == n, share, share) for i in (0, 1))
        return self._moves_worth(n, self.inputs.lines.solve(self.result.contacts[0].dry_m, drives, Outlet())[n])

    def trips(self, n, share):
        """Whether worn pump n draws clearly less than its underload at every level, and so is taken off."""
        drives = tuple(Drive(i == n, share, share) for i in (0, 1))
        return self._trips_at(n, self.inputs.lines.solve(self.inputs.pit.floor_m, drives, Outlet())[2 + n])

    def carries(self, n):
        return self.alone_m3s[n] >= self.need_m3s

    def _empties(self, n):
        # Whether pump n alone draws down to `off` at the design inflow: else the other is called after a while.
        return self.flow(n, level_m=self.result.contacts[0].dry_m) >= self.need_m3s

    def lasts_s(self, n):
        """How long pump n can go on at the design inflow with the mains there: a battery pump is emptied all the
        same."""
        if self.inputs.pumps[n].supply != "battery":
            return inf
        return self.battery_s(n)

    def battery_s(self, n):
        held = battery.stored(self.inputs, self.result.points, self.result.design.inflow_m3s, n)
        return held.shortest_s

    def everyday(self):
        """Pumps that share the everyday work: in fixed duty both where the pit refills while the first one rests."""
        return leaders(self.result) if self._rests_in_time() else (0, 1)

    def _rests_in_time(self):
        off, lead = self.result.contacts[:2]
        held = self.inputs.pit.volume_m3(lead.wet_m) - self.inputs.pit.volume_m3(off.dry_m)
        return held >= self.need_m3s * (self.result.settings[s.LAG_MIN_OFF_MS] / 1000.0)

    def _unfit(self):
        result = self.result
        if result.reserve.both_m3s < self.need_m3s:
            return "both pumps together do not carry the design inflow"
        if any(wait.level_m > result.inputs.pit.floor_m for wait in result.reserve.waits):
            return "the water reaches the floor during a start delay"
        lowest = max(pump.intake_m + pump.cover_m for pump in self.inputs.pumps)
        if result.contacts[0].dry_m < lowest - 1e-4:
            return "off is too low: the pumps draw air"
        if not all(self.carries(n) for n in self.everyday()):
            return "a pump that leads, or stands in for one that rests, does not carry the design inflow alone"
        if not self.both_may_run() and not all(self._empties(n) for n in self.everyday()):
            return "a pump that leads cannot draw down to off alone at the design inflow, so both run, and " + DRIVEN
        if not self.seen and not self.transmitter and self._apart_s() < APART_S:
            return "off and lead turn dry so soon after each other that the controller takes it for a broken cable"
        return ""

    def pulled_down(self, n):
        """What pump n does to its battery where the controller takes that for dead, "" where it does not.

        Then it runs with high wet alone, to exhaustion.  A reading counts once it has stood for a second, so the
        inrush of a start shorter than that does no harm (narrative A4).
        """
        long = self.inputs.pumps[n].motor.start_s >= STOOD_S
        volts = (battery.start_v if long else battery.running_v)(self.inputs, n)
        dead_v, what = self.result.settings[s.BATTERY_DEAD_MV] / 1000.0, "its start" if long else "running, it"
        told = f"{what} pulls the battery down to {volts:.1f} V; below {dead_v:.1f} V it counts as dead"
        return told if volts < dead_v else ""

    def _apart_s(self):
        # From lead dry to off dry under both pumps.
        off, lead = self.result.contacts[:2]
        moved = sum(self.inputs.lines.solve(lead.dry_m, (Drive(True), Drive(True)), Outlet())[:2])
        moved = max(moved, *(self.flow(n, level_m=lead.dry_m) for n in (0, 1)))
        held = self.inputs.pit.volume_m3(lead.dry_m) - self.inputs.pit.volume_m3(off.dry_m)
        return held / max(moved, 1e-9)


def _other(pit, n):
    # Whether the other pump stands in for pump n, why, and for how long.
    other = 1 - n
    if not pit.carries(other):
        return False, f"pump {other + 1} alone does not carry the design inflow", inf
    if pit.inputs.pumps[other].supply == "battery" and pit.pulled_down(other):
        return False, f"pump {other + 1} waits for high: {pit.pulled_down(other)}", inf
    return True, f"pump {other + 1} carries the design inflow alone", pit.lasts_s(other)


def _pump(pit, n):
    held, why, seconds = _other(pit, n)
    p, key = f"pump {n + 1}", f"pump{n + 1}"
    # Where a battery pump stands in, a selector left OFF is told by itself: nobody is called.
    alone = held and seconds < inf
    names = [f"{key}-{fault}" for fault in NO_START if fault != "left-off" or not alone]
    if pit.result.settings[s.SENSING] != s.SENSE_NOTHING:
        names.append(f"{key}-sensor-dead")
    what = f"{p} does not start, is jammed, tripped{'' if alone else ' or switched off'}"
    rows = [Covered(tuple(names), what, held, why, seconds)]
    if alone:
        rows.append(Covered((f"{key}-left-off",), f"{p} left switched OFF", held, _left_off(why), seconds))
    idle = tuple(f"{key}-{fault}" for fault in NO_WATER)
    what = f"{p} turns but moves no water: air-locked, valve closed, check valve stuck"
    told = why if pit.still_seen(n) else FAINT if pit.seen else UNSEEN
    rows.append(Covered(idle, what, held and pit.still_seen(n), told, seconds))
    rows.append(_worn(pit, n, held, why, seconds))
    rows += _returns(pit, n)
    stuck = "a welded relay leaves the pump on, in a pumped-down pit: it runs dry until somebody unplugs it"
    rows.append(Covered((f"{key}-relay-welded",), f"relay of {p} welded", False, stuck))
    # HAND obeys the underload only with lead dry.
    told = UNSEEN if not pit.seen else SHUT_OUT if pit.shut_out(n) else "underload stops it"
    hand = pit.seen and not pit.shut_out(n)
    rows.append(Covered((f"{key}-left-in-hand",), f"{p} left in HAND", hand, told))
    rows.append(Covered((f"{key}-moisture",), f"moisture in the seal of {p}", True, "it runs on, with an alarm"))
    return rows


def _left_off(why):
    # A selector out of AUTO raises a low alarm after half an hour, without the horn (narrative M1).
    return (f"{why}, on its battery alone, and not beyond; before that nobody is called: \"not in AUTO\" and \"battery "
            "low\" light the lamp without the horn, so leave both selectors at AUTO")  # fmt: skip


def _worn(pit, n, held, why, seconds):
    # A worn pump that still carries is enough; one that moves nothing must be seen, and the other must stand in.
    share = 1.0 - REGISTRY[f"pump{n + 1}-worn"].parameter.default
    what = f"pump {n + 1} worn: {1.0 - share:.0%} of its flow and head lost"
    name = (f"pump{n + 1}-worn",)
    if pit.flow(n, share, level_m=pit.result.contacts[0].dry_m) >= pit.need_m3s:
        return Covered(name, what, True, f"pump {n + 1} still carries the design inflow")
    # Beside the other pump on a shared line it may move nothing at all.
    if held and not pit.seen:
        return Covered(name, what, False, UNSEEN)
    if held and not pit.moves(n, share) and not pit.trips(n, share):
        return Covered(name, what, False, "it moves hardly any water, and its current does not clearly tell")
    return Covered(name, what, held, why, seconds)


def _returns(pit, n):
    # Through a bad check valve the other pump pumps back into the pit, and the line runs empty after every stop.
    rows, other = [], 1 - n
    state = FaultState()
    REGISTRY[f"pump{n + 1}-check-leaking"].apply(state, REGISTRY[f"pump{n + 1}-check-leaking"].parameter.default)
    outlet_m, riser = pit.inputs.discharge.outlet_m, pit.inputs.discharge.risers[n]
    areas = {"leaking": back_area_m2(state.pumps[n].leak_m3s, outlet_m), "missing": BACK_SHARE * riser.area_m2}
    for word, area in areas.items():
        what = f"check valve of pump {n + 1} {'leaks' if word == 'leaking' else 'does not close at all'}"
        left = pit.flow(other, back_m2=area) if pit.inputs.discharge.header is not None else pit.alone_m3s[other]
        good = left >= pit.need_m3s
        reason = f"pump {other + 1} carries the design inflow all the same"
        if not good:
            reason = f"pump {other + 1} pumps back through it and moves less than the design inflow"
        elif not pit.both_move():
            # What runs back fills the pit the sooner, until the pump whose valve it is must help.
            good, reason = False, AGAIN if pit.both_may_run() else SHUT_OUT
        rows.append(Covered((f"pump{n + 1}-check-{word}",), what, good, reason))
    return rows


def _contacts(pit):
    dry = pit.both_move() and (pit.seen or pit.blind_s <= DRY_S)
    why = "the other contacts show it, and pumping goes on blind for at most one draw-down"
    if not pit.both_move():
        why = AGAIN if pit.both_may_run() else SHUT_OUT
    elif not dry:
        why = f"without current sensing a pump may run dry for up to {pit.blind_s:.0f} s (blind_run)"
    rows = []
    for name in FLOATS:
        if pit.transmitter and name != "high":
            continue
        names = tuple(f"{name}-{way}" for way in WAYS)
        rows.append(Covered(names, f"the {name} float hung up, held down, chattering, its wire broken", dry, why))
    if pit.transmitter:
        names = tuple(name for name in REGISTRY if name.startswith("transmitter-"))
        held = pit.seen and pit.both_move()
        shut = AGAIN if pit.both_may_run() else SHUT_OUT
        told = "high and the motor current show it" if held else shut if pit.seen else UNSEEN
        rows.append(Covered(names, "level transmitter failed, frozen, drifting or clogged", held, told))
    else:
        rows.append(Covered(("common-wire-broken",), "common wire of the three lower floats broken", False, ONE_FLOAT))
    return rows


def _people(pit):
    return [
        Covered(("silence-stuck", "reset-stuck"), "a button stuck", True, "it stops no pump"),
        Covered(("controller-reset",), "the controller resets itself", True, "the start delay ends below the floor"),
        Covered(("expander-silent",), "the controller's I2C expander does not answer", True,
                "pumps and floats do not pass through it, and it is told"),
    ]


def _power(pit):
    supply, rows = pit.inputs.supply, []
    if supply.battery is not None:
        fed = [n for n in (0, 1) if pit.inputs.pumps[n].supply == "battery"]
        held, why = True, "no pump needs the battery while the mains is there"
        if len(fed) == 2:
            held, why = False, "both pumps hang on the battery"
        elif fed:
            held, why, _ = _other(pit, fed[0])
        names = ["battery-weak", "battery-dead", *(["charger-failed"] if supply.charger else [])]
        rows.append(Covered(tuple(names), "battery weak or dead, charger failed, with the mains there", held, why))
        rows.append(Covered(("converter-silent",), "the converter of the battery on the I2C bus does not answer", True,
                            "the battery is taken for a full one, which keeps no pump off, and it is told"))
    rows.append(_outage(pit))
    mains = [n for n in (0, 1) if pit.inputs.pumps[n].supply != "battery"]
    good = any(pit.carries(n) for n in mains)
    why = "with lag wet the mains pumps run all the same" if good else "the mains pump does not carry the inflow alone"
    if good and not pit.both_move():
        good, why = False, AGAIN if pit.both_may_run() else SHUT_OUT
    rows.append(Covered(("mains-sense-open",), "wire of the mains-present input broken", good, why))
    return rows


def _outage(pit):
    supply, what = pit.inputs.supply, "the mains is out"
    names = ("mains-lost",)
    if supply.generator is not None:
        enough = pit.inputs.power.generator_w >= pit.result.wires.generator_w
        why = "the generator carries both pumps" if enough else "the generator is too small to start the pumps"
        return Covered(names, what, enough, why)
    pumps = battery.on_battery(pit.inputs)
    if not pumps:
        return Covered(names, what, False, "nothing runs a pump: no battery, no generator")
    if supply.controller != "battery":
        return Covered(names, what, False, "the controller is dead without the mains: feed it from the battery")
    if any(pit.inputs.pumps[n].supply == "either" for n in pumps) and not _inverter_starts(pit):
        return Covered(names, what, False, "the inverter cannot start the motor")
    if not all(pit.carries(n) for n in pumps):
        return Covered(names, what, False, "the pump on the battery does not carry the design inflow alone")
    n = min(pumps, key=pit.battery_s)
    for pump in pumps:
        if pit.pulled_down(pump):
            return Covered(names, what, False, f"pump {pump + 1} waits for high: {pit.pulled_down(pump)}")
    return Covered(names, what, True, f"pump {n + 1} runs on the battery", pit.battery_s(n))


def _inverter_starts(pit):
    fed = [pump.motor for pump in pit.inputs.pumps if pump.supply == "either"]
    need = max(m.rated_a * m.locked_share * m.volts for m in fed)
    return pit.inputs.supply.inverter is not None and pit.result.wires.inverter_w >= need


def _never(pit):
    names = ("pump1-clogged", "pump2-clogged", "discharge-frozen", "discharge-burst", "controller-crash-looping",
             "mains-flapping")  # fmt: skip
    what = "inlet clogged, outlet frozen or burst, controller failing again and again, mains on and off"
    rows = [Covered(names, what, False, "the alarm calls before the floor is wet; somebody must come")]
    if pit.result.settings[s.SENSING] != s.SENSE_NOTHING or pit.transmitter or pit.inputs.supply.battery is not None:
        rows.append(Covered(("adc-stuck",), "the controller's analog converter stuck", False,
                            "both currents are lost at once: from the high float on the pumps run all the same"))
    return rows
