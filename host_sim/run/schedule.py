"""Events at given instants: faults, people, flapping mains, a generator, a crashing controller.

A heap of (instant, order, work): events of one instant run in the order in
which they were scheduled, so a run is the same every time.
"""

import heapq

from host_sim.plant import noise
from host_sim.plant.fault_state import FaultState
from host_sim.plant.plant import Plant

NEVER_MS = 1 << 60
RESET_MS = 500  # from a reset to the end of the boot; common practice for a microcontroller


class Schedule:
    """The events of a run; `now(ms)` carries out what is due."""

    plant: Plant
    heap: list

    def __init__(self, night, faults):
        self.night = night
        self.plant = night.plant
        self.heap = []
        self.order = 0
        self.active = []
        self.grid = True  # the mains as switched by people
        self.flap_on = True
        self.flaps = 0
        self.generator_due = None
        self.crash_due = None
        for fault in faults:
            self.begin_at(round(fault.start_s * 10.0) * 100, fault)
            if fault.end_s is not None and not fault.kind.at_once:
                self.end_at(round(fault.end_s * 10.0) * 100, fault)
        for action in night.site.actions:
            self.act_at(action)

    def at(self, time_ms, work, *args):
        """Schedule work at an instant; returns a token that identifies it."""
        self.order += 1
        heapq.heappush(self.heap, (time_ms, self.order, work, args))
        return self.order

    def begin_at(self, time_ms, fault):
        """Have a fault begin at an instant."""
        self.at(time_ms, self._begin, fault)

    def end_at(self, time_ms, fault):
        """Have a fault that was given to `begin_at` end at an instant."""
        self.at(time_ms, self._end, fault)

    def act_at(self, action):
        """Have an Action carried out at its instant."""
        self.at(action.at_ms, self._act, action)

    def next_ms(self) -> int:
        """Return the next instant, or a time beyond every run."""
        return self.heap[0][0] if self.heap else NEVER_MS

    def now(self, now_ms):
        """Carry out everything due at an instant."""
        while self.heap and self.heap[0][0] <= now_ms:
            _, order, work, args = heapq.heappop(self.heap)
            work(now_ms, order, *args)

    # Faults.

    def _begin(self, now_ms, _order, fault):
        self.active.append(fault)
        self.night.note_fault(now_ms, fault, True)
        if fault.name == "controller-reset":
            self.active.remove(fault)
            self.night.note_fault(now_ms, fault, False)
            self.night.reset(now_ms)
            return
        self._apply(now_ms)

    def _end(self, now_ms, _order, fault):
        self.active.remove(fault)
        self.night.note_fault(now_ms, fault, False)
        self._apply(now_ms)

    def _apply(self, now_ms):
        fault_state = FaultState()
        for fault in self.active:
            fault.kind.apply(fault_state, fault.value)
        old = self.plant.fault_state
        self.plant.set_fault_state(now_ms, fault_state)
        if fault_state.flapping_s != old.flapping_s:
            self.flap_on = True
            self.flap_token = None
            if fault_state.flapping_s:
                self.flap_token = self.at(now_ms, self._flap)
        if fault_state.crash_s and not old.crash_s:
            self.crash_due = self.at(now_ms, self._crash)
        self._selectors(now_ms, old, fault_state)
        self.mains(now_ms)

    def _selectors(self, now_ms, old, new):
        for n in (0, 1):
            if old.pumps[n].selector != new.pumps[n].selector:
                self.select(now_ms, n, new.pumps[n].selector or "auto")

    def select(self, now_ms, n, position):
        """Turn a selector."""
        if self.plant.selectors[n] == position:
            return

        def work():
            self.plant.selectors[n] = position

        self.plant.change(now_ms, work)
        self.night.note(now_ms, "selector", pump=n + 1, position=position)

    def _flap(self, now_ms, order):
        mean = self.plant.fault_state.flapping_s
        if not mean or order != self.flap_token:
            return
        self.flap_on = not self.flap_on
        self.flaps += 1
        share = 1.0 + 0.9 * noise.uniform(self.plant.seed, self.flaps, noise.FLAPPING)
        self.flap_token = self.at(now_ms + max(1, round(mean * share * 10.0)) * 100, self._flap)
        self.mains(now_ms)

    def _crash(self, now_ms, order):
        seconds = self.plant.fault_state.crash_s
        if not seconds or order != self.crash_due:
            return
        self.night.reset(now_ms)
        self.crash_due = self.at(now_ms + max(RESET_MS, round(seconds * 10.0) * 100), self._crash)

    # Mains and generator.

    def mains(self, now_ms):
        """Determine whether the house has power; start and stop the generator."""
        grid = self.grid and self.flap_on and not self.plant.fault_state.mains_lost
        generator = self.plant.site.supply.generator
        running = self.plant.generator
        if grid:
            self.generator_due = None
            running = False
        elif generator is not None and not running and self.generator_due is None:
            self.generator_due = self.at(now_ms + round(generator.after_s * 10.0) * 100, self._generator)
        self._feed(now_ms, grid or running, running)

    def _generator(self, now_ms, order):
        if order == self.generator_due:
            self.generator_due = None
            self._feed(now_ms, True, True)

    def _feed(self, now_ms, mains, generator):
        plant = self.plant
        if plant.mains == mains and plant.generator == generator:
            return

        def work():
            plant.mains, plant.generator = mains, generator

        plant.change(now_ms, work)

    # People.

    def _act(self, now_ms, _order, action):
        if action.what in ("silence", "reset"):
            self._press(now_ms, _order, action.what, True)
            self.at(now_ms + action.for_ms, self._press, action.what, False)
        elif action.what == "mains":
            self.grid = action.value == "on"
            self.mains(now_ms)
        elif action.what == "inflow":
            self.plant.set_inflow(now_ms, action.flow_m3s)
        else:
            self.select(now_ms, int(action.what[-1]) - 1, action.value)

    def _press(self, now_ms, _order, name, pressed):
        self.plant.press(name, pressed)
        self.night.note(now_ms, "button", name=name, pressed=pressed)
