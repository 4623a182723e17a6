"""The closed loop: plant, inputs, bands, the real controller, relays, plant.

Event-driven on the firmware's 100 ms grid: the controller is stepped when a
raw value may have crossed a threshold, when one of its timers is due, and at
the tick after its outputs changed.  `ticking=True` steps it every 100 ms instead; the
journal is the same, record for record.
"""

import time

from duplexsump.control.records import N_INPUTS, OUT_PUMP_1, OUT_PUMP_2

from host_sim.errors import InputError
from host_sim.plant.plant import TICK_MS, Plant
from host_sim.run.controllers import Duplex, FloatSwitch, single_site
from host_sim.run.journal import Journal, firmware_checksum
from host_sim.run.recorder import Recorder
from host_sim.run.schedule import RESET_MS, Schedule

PROGRESS_STEPS = 2000


class Night:
    """One run while it is being simulated.  Without `curves` its trace has no curves."""

    plant: Plant
    raw: list
    recorder: Recorder
    schedule: Schedule
    end_ms: int
    down_until_ms: int
    steps: int

    def __init__(self, site, seed, control, faults, curves=True):
        self.site = site
        self.control = control
        self.plant = Plant(site, seed)
        self.raw = [0] * N_INPUTS
        self.recorder = Recorder(site, control, self.plant, seed, curves)
        self.schedule = Schedule(self, faults)
        self.end_ms = round(site.duration_s * 10.0) * 100
        self.down_until_ms = 0
        self.steps = 0

    # Called by the schedule.

    def note(self, now_ms, kind, **data):
        """Record an event."""
        self.recorder.event(now_ms / 1000.0, kind, **data)

    def note_fault(self, now_ms, fault, on):
        """Record that a fault begins or ends."""
        self.recorder.fault(now_ms / 1000.0, fault, on)

    def reset(self, now_ms):
        """Reset the controller: it is off until it has booted."""
        if self.control.name != "duplex":
            return
        self.down_until_ms = now_ms + RESET_MS
        self.schedule.at(self.down_until_ms, lambda now, order: None)
        if self.control.powered:
            self.control.power_down(now_ms)
            self.control.retained[0] = 0  # as the station does: a reset is no loss of power
            self.recorder.dead(now_ms / 1000.0, True, "reset")
            self.plant.command(now_ms, 0, 0)

    # Power of the controller.

    def _fed(self):
        plant = self.plant
        if plant.mains:
            return True
        return self.site.supply.controller == "battery" and plant.maker.battery_ok(plant.trajectory.head.mode)

    def _power(self, now_ms: int):
        control = self.control
        if control.name != "duplex":
            return
        alive = self._fed() and now_ms >= self.down_until_ms
        if alive and not control.powered:
            control.power_up(now_ms)
            self.recorder.dead(now_ms / 1000.0, False, "powered up")
        elif not alive and control.powered:
            control.power_down(now_ms)
            self.recorder.dead(now_ms / 1000.0, True, "power lost")
            self.plant.command(now_ms, 0, 0)

    # The loop.

    def run(self, ticking, progress):
        """Run to the end and return the Trace."""
        began = time.perf_counter()
        now: int = 0
        following: int
        while True:
            following = self.instant(now)
            if now >= self.end_ms:
                break
            if ticking:
                following = now + TICK_MS
            following = min(following, self.end_ms)
            if following / 1000.0 > self.recorder.next_point_s:
                self.recorder.fill(following / 1000.0)
            now = following
            if progress is not None and self.steps % PROGRESS_STEPS == 0:
                progress(now / self.end_ms)
        if progress is not None:
            progress(1.0)
        return self.recorder.finish(now / 1000.0, self.steps, time.perf_counter() - began)

    def instant(self, now: int) -> int:
        """Do everything that happens at one instant, in ms; return the next instant to look at."""
        limit: int
        due: int
        schedule, plant, control, raw = self.schedule, self.plant, self.control, self.raw
        if schedule.next_ms() <= now:
            schedule.now(now)
        self._power(now)
        plant.sample(now, raw)
        self.steps += 1
        limit = min(self.end_ms, schedule.next_ms())
        if limit <= now:
            limit = now + TICK_MS
        if not control.powered:
            self.recorder.look(now, raw)
            return plant.wake(now, limit, control.thresholds(raw))
        control.step(now, raw)
        out: list = control.out
        if plant.commands[0] != out[OUT_PUMP_1] or plant.commands[1] != out[OUT_PUMP_2]:
            plant.command(now, out[OUT_PUMP_1], out[OUT_PUMP_2])
            limit = min(limit, now + TICK_MS)
        self.recorder.look(now, raw)
        if limit <= now + TICK_MS:
            return limit
        due = control.due_ms(now)
        if due < limit:
            limit = due
        return plant.wake(now, limit, control.thresholds(raw)) if limit > now + TICK_MS else limit


def run(site, faults=None, seed=None, controller="duplex", ticking=False, progress=None, offset_ms=0, curves=True):
    """Run a site's scenario and return its `host_sim.run.trace.Trace`.

    `faults` are added to the site's own; `seed` overrides the site's.
    `controller` is "duplex" (the firmware) or "single" (one pump on one float
    switch).  `progress` is called with the share that is done.  `offset_ms`
    shifts the controller's own clock.  Without `curves` the trace has no curves, which saves time.
    Raises InputError for another controller.
    """
    if controller not in ("duplex", "single"):
        raise InputError(f'controller "{controller}": must be "duplex" or "single"')
    seed = site.seed if seed is None else seed
    given = list(site.faults) + list(faults or [])
    if controller == "single":
        site = single_site(site)
        control = FloatSwitch(site)
    else:
        control = Duplex(site, offset_ms)
    night = Night(site, seed, control, given, curves)
    trace = night.run(ticking, progress)
    if control.records is not None:
        end_ms = night.end_ms
        trace.journal = Journal(list(site.settings), firmware_checksum(), site.name, seed, end_ms, control.records)
    return trace
