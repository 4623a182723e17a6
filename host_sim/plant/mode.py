"""The mode of the plant between two changes: which motors run, through which pipes, and the rates that follow.

A Mode is made from the commands, the fault_state and the few things that
change by themselves (heat, a flat battery, inrush, drained risers).
"""

from math import inf, sqrt

from host_sim.plant import battery as batteries
from host_sim.plant.discharge import BACK_SHARE, Drive, Outlet, back_area_m2, rated_flow_m3s
from host_sim.plant.friction import ORIFICE_CD, G
from host_sim.plant.totals import STALLED

STOPPED, TURNING, AIR = "stopped", "turning", "air"
INVERTER_V = 12.0  # battery voltage for the inverter's current; our own choice


class Mode:
    """One mode; fields by motor are pairs."""

    states: tuple
    why: tuple
    live: tuple
    energised: bool
    hot: tuple
    flat: bool
    regime: object
    drain_m3s: tuple
    back: float
    lines: bool
    line_m3: tuple
    rated_a: tuple
    rated_m3s: tuple
    heat_s: tuple
    opens_at: tuple
    closes_at: tuple
    lag_s: float
    watched: bool
    rush: tuple
    fixed_load: tuple
    until: float
    battery: object
    battery_factor: tuple
    idle_a: float
    charge_a: float
    charge_efficiency: float
    battery_share: float
    dead_battery: bool
    charging: bool

    def loads(self, row: tuple, volume_m3: float) -> tuple:
        """Return each motor's current as a share of rated."""
        fixed_1, fixed_2 = self.fixed_load
        if fixed_1 is None:
            fixed_1 = row[4] + row[5] * volume_m3
        if fixed_2 is None:
            fixed_2 = row[6] + row[7] * volume_m3
        return fixed_1, fixed_2

    def battery_amps(self, loads: tuple) -> float:
        """Return the current out of the battery, before any charging."""
        factor_1, factor_2 = self.battery_factor
        return self.idle_a + loads[0] * factor_1 + loads[1] * factor_2

    def depth_rate(self, amps: float, depth: float) -> float:
        """Return the change of the battery's depth of discharge for each second."""
        if self.dead_battery:
            return 0.0
        rate = batteries.depth_rate(self.battery, amps, self.battery_share, self.charge_a, self.charge_efficiency)
        if (rate > 0.0 and depth >= 1.0) or (rate < 0.0 and depth <= 0.0):
            return 0.0
        return rate


class ModeMaker:
    """Makes modes for a plant: `make(trajectory)` is called at every change."""

    plant: "Plant"
    regimes: dict

    def __init__(self, site, lines, plant):
        self.site = site
        self.lines = lines
        self.plant = plant
        self.faults, self.regimes = None, {}
        pumps = site.pumps
        self.rated_m3s = tuple(rated_flow_m3s(p.curve) for p in pumps)
        self.rated_a = tuple(p.motor.rated_a for p in pumps)
        self.heat_s = tuple(p.motor.heat_s for p in pumps)
        self.opens_at = tuple(p.motor.opens_at for p in pumps)
        self.closes_at = tuple(p.motor.closes_at for p in pumps)
        self.line_m3 = tuple(self._line(riser) for riser in site.discharge.risers)

    def _line(self, riser):
        header = self.site.discharge.header
        return riser.volume_m3 + (header.volume_m3 if header else 0.0)

    def battery_ok(self, trajectory):
        """Whether the battery gives power."""
        return self.site.supply.battery is not None and not trajectory.flat and not self.plant.fault_state.battery_dead

    def on_battery(self, n: int) -> bool:
        """Whether pump n runs on the battery now."""
        supply = self.site.pumps[n].supply
        return supply == "battery" or (supply == "either" and not self.plant.mains)

    def _powered(self, n: int, trajectory: "Trajectory"):
        if not self.on_battery(n):
            return self.plant.mains
        if not self.battery_ok(trajectory):
            return False
        inverter = self.site.supply.inverter
        motor = self.site.pumps[n].motor
        if self.site.pumps[n].supply == "battery" or inverter is None or not inverter.limit_w:
            return True
        return motor.rated_a * motor.locked_share * motor.volts <= inverter.limit_w

    def _state(self, n: int, trajectory: "Trajectory") -> tuple:
        # (state, why it does not turn)
        plant, fault = self.plant, self.plant.fault_state.pumps[n]
        if not ((plant.commands[n] and plant.selectors[n] != "off") or fault.welded):
            return STOPPED, ""
        if fault.breaker_open or not self._powered(n, trajectory):
            return STOPPED, "no supply"
        if trajectory.hot[n] or fault.thermal_open:
            return STOPPED, "thermal open"
        if fault.will_not_start:
            return STOPPED, "will not start"
        if fault.jammed:
            return STALLED, "stalled"
        if fault.air_locked:
            return AIR, "dry"
        return TURNING, ""

    def _drive(self, n, state, other_turns):
        fault = self.plant.fault_state.pumps[n]
        turning = state == TURNING
        back = 0.0
        if not turning and other_turns and self.site.discharge.header is not None:
            back = self._back_m2(n)
        return Drive(
            turning,
            1.0 - fault.worn,
            1.0 - fault.worn,
            1.0 - fault.clogged,
            fault.valve_shut or fault.check == "shut",
            back,
        )

    def _back_m2(self, n):
        fault = self.plant.fault_state.pumps[n]
        if fault.valve_shut or fault.check in ("good", "shut"):
            return 0.0
        if fault.check == "missing":
            return BACK_SHARE * self.site.discharge.risers[n].area_m2
        return back_area_m2(fault.leak_m3s, self.site.discharge.outlet_m)

    def _drain(self, n: int, trajectory: "Trajectory", flowing) -> float:
        # An emptying upright line runs at half its first flow on average, and so it is taken to.
        if flowing or trajectory.line[n] is None or trajectory.line[n] >= self.line_m3[n]:
            return 0.0
        area = self._back_m2(n)
        return 0.5 * ORIFICE_CD * area * sqrt(2.0 * G * self.site.discharge.outlet_m)

    def make(self, trajectory: "Trajectory"):
        """Return the Mode for the state at the tail of a trajectory."""
        plant, site = self.plant, self.site
        mode = Mode()
        found = [self._state(n, trajectory) for n in (0, 1)]
        states = [state for state, _ in found]
        turns = [state == TURNING for state in states]
        mode.states, mode.why = tuple(states), (found[0][1], found[1][1])
        mode.live = (states[0] != STOPPED, states[1] != STOPPED)
        mode.energised = any(mode.live)
        self._inrush(mode, trajectory)
        mode.hot, mode.flat = trajectory.hot, trajectory.flat
        c = plant.fault_state
        mode.regime = self._regime(mode.states, turns, c)
        fed = any(turns) if site.discharge.header is not None else False
        mode.drain_m3s = (self._drain(0, trajectory, turns[0] or fed), self._drain(1, trajectory, turns[1] or fed))
        mode.back = sum(mode.drain_m3s)
        mode.lines = trajectory.line != (None, None)
        mode.line_m3 = self.line_m3
        mode.rated_a, mode.rated_m3s = self.rated_a, self.rated_m3s
        mode.heat_s, mode.opens_at, mode.closes_at = self.heat_s, self.opens_at, self.closes_at
        mode.lag_s = c.transmitter_value if c.transmitter == "clogged" else 0.0
        mode.watched = True
        self._battery(mode, trajectory)
        return mode

    def _regime(self, states: tuple, turns: list, c):
        # Kept by the states of both pumps for as long as the same faults are in force.
        if c is not self.faults:
            self.faults, self.regimes = c, {}
        found = self.regimes.get(states)
        if found is None:
            drives = (self._drive(0, states[0], turns[1]), self._drive(1, states[1], turns[0]))
            found = self.lines.regime(drives, Outlet(c.frozen, c.burst, c.returned if c.burst else 0.0))
            self.regimes[states] = found
        return found

    def _inrush(self, mode: Mode, trajectory: "Trajectory"):
        before = trajectory.mode
        rush, fixed, until = list(trajectory.rush), [None, None], inf
        for n in (0, 1):
            motor = self.site.pumps[n].motor
            state = mode.states[n]
            if mode.live[n] and (before is None or not before.live[n]):
                rush[n] = trajectory.t + motor.start_s
            if not mode.live[n]:
                fixed[n] = 0.0
            elif state == STALLED or rush[n] > trajectory.t:
                fixed[n] = motor.locked_share
                if state != STALLED:
                    until = min(until, rush[n])
            elif state == AIR:
                fixed[n] = motor.dry_share
        trajectory.rush = tuple(rush)
        mode.rush, mode.fixed_load, mode.until = trajectory.rush, tuple(fixed), until

    def _battery(self, mode: Mode, trajectory: "Trajectory"):
        supply, c = self.site.supply, self.plant.fault_state
        mode.battery = supply.battery
        mode.battery_factor = (0.0, 0.0)
        mode.idle_a = mode.charge_a = 0.0
        mode.charge_efficiency, mode.battery_share, mode.dead_battery = 1.0, c.battery_share, c.battery_dead
        mode.charging = False
        if supply.battery is None:
            return
        factors = [0.0, 0.0]
        for n in (0, 1):
            pump = self.site.pumps[n]
            if mode.live[n] and self.on_battery(n):
                factors[n] = pump.motor.rated_a
                if pump.supply == "either":
                    watts = pump.motor.volts * pump.motor.power_factor
                    efficiency = supply.inverter.efficiency if supply.inverter else 1.0
                    factors[n] *= watts / (INVERTER_V * efficiency)
        mode.battery_factor = tuple(factors)
        if not self.plant.mains:
            mode.idle_a = 0.0 if trajectory.flat else supply.battery.idle_a
        elif supply.charger and not c.not_charging:
            mode.charge_a, mode.charge_efficiency = supply.charger.amps, supply.charger.efficiency
            mode.charging = True
            trajectory.flat = mode.flat = False if trajectory.depth < 1.0 else trajectory.flat
