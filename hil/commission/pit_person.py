"""A simulated person at a simulated pit: follows instructions, answers what can be seen there, skips the rest."""

import copy

from duplexsump.control.records import CONTACT_NAMES

from host_sim.plant.equipment import Inflow
from host_sim.plant.fault_state import AS_IS, DRY, WET

PRESSED_MS = 500
HOSE_M3S = 0.0007  # 11 gpm: a garden hose
WALK_MS = 2000  # from a pump's start to the cut: in mid draw-down
SIMULATED = "simulated pit"
MOST_ASKED = 5  # of one question in a row: whoever has no answer that fits skips it
READ = ("plate", "clamp", "battery", "bucket")  # beginnings of the keys of what is read from a plate or a meter
NO_SUCH = {
    "horn": "no bedroom and no ears",
    "leaks": "its pipes do not leak and its valves have no unions",
    "volts_1": "its mains has no cable and no terminals",
    "volts_2": "its mains has no cable and no terminals",
    "volts_both": "its mains has no cable and no terminals",
    "left_cover": "it has no cover",
    "instructed": "it has no owner",
    "installer": "nobody was there",
    "license": "nobody was there",
    "owner": "it has no owner",
    "next_check": "the next check is that of the real pit",
}
ANSWERS = {
    "safety": "yes",
    "weather": "none: an invented pit",
    "water_table": "a steady inflow, no water table",
    "unplugged": "yes",
    "plugged": "",
    "tripped": "no",
    "thermal": "none",
    "others": "nothing",
    "remarks": "none",
}


class PitPerson:
    """Works on a `host_sim.board.pit.Pit`.  `hose_m3s` is what the hose gives; `answers` override the person's own.

    `jumper(made)` inserts or removes the test jumper, `screen`, a
    `terminal.Screen`, shows every text.
    `heard` is everything that was said.
    """

    def __init__(self, pit, hose_m3s=HOSE_M3S, answers=None, jumper=None, screen=None):
        self.pit = pit
        self.hose_m3s = hose_m3s
        self.answers = {**ANSWERS, **(answers or {})}
        self.jumper = jumper or (lambda made: None)
        self.screen = screen
        self.in_place = bool(screen and screen.in_place)
        self.heard = []
        self.later = []  # (ms, work), in order of making
        self.last, self.asked = "", 0  # the question that was asked last, and how often in a row
        self.base = pit.plant.trajectory.inflow

    # What the dialogue calls.

    def say(self, text):
        """Hear a text."""
        self.heard.append(text)
        if self.screen:
            self.screen.say(text)

    def waiting(self, text):
        """See how long a wait has taken; what it says is not kept."""
        if self.screen:
            self.screen.waiting(text)

    def does(self, key):
        """Do what was asked."""
        name, _, rest = key.partition("_")
        if key in ("hose_on", "hose_off"):
            self.hose(key == "hose_on")
        elif key in ("unplug", "plug"):
            for n in (0, 1):
                self.pump(n, breaker_open=key == "unplug")
        elif name in ("lift", "lower"):
            self.float(rest, WET if name == "lift" else DRY)
        elif key.startswith("let_go_"):
            self.float(key.removeprefix("let_go_"), AS_IS)
        elif name == "selector":
            pump, position = rest.split("_")
            self.pit.schedule.select(self.pit.now_ms, int(pump) - 1, position)
        elif key in ("silence", "reset"):
            self.press(key)
        elif name == "valve":
            self._valve(int(rest) - 1)
        elif name in ("trip", "untrip"):
            self.pump(int(rest) - 1, breaker_open=name == "trip")
        elif name in ("drop", "undrop"):
            self.pump(int(rest) - 1, thermal_open=name == "drop")
        elif key == "cut":
            self.after(WALK_MS, lambda: self.mains(False))
        elif key == "restore":
            self.mains(True)
        elif key == "jumper_out":
            self.jumper(False)

    def read(self, key, prompt):
        """Return the answer to a question."""
        self.heard.append(prompt)
        self.asked = self.asked + 1 if key == self.last else 1
        self.last = key
        if self.asked > MOST_ASKED and key != "late":
            return f"skip {SIMULATED}: nobody there knows an answer that fits"
        if key in self.answers:
            return self.answers[key]
        if key in NO_SUCH:
            return f"skip {SIMULATED}: {NO_SUCH[key]}"
        return self._looks(key)

    def poll(self):
        """Do what is due by now; a simulated person types nothing meanwhile."""
        due = [work for ms, work in self.later if ms <= self.pit.now_ms]
        self.later = [item for item in self.later if item[0] > self.pit.now_ms]
        for work in due:
            work()

    # What it can see.

    def _looks(self, key):
        name, _, rest = key.partition("_")
        fault_state = self.pit.plant.fault_state
        if name == "valve" or key == "left_valves":
            good = not any(pump.valve_shut for pump in fault_state.pumps)
        elif name == "check":
            good = fault_state.pumps[int(rest) - 1].check == "good"
        elif key == "outlet":
            good = not fault_state.frozen and not fault_state.burst
        elif name == "device":
            good = True
        elif name in ("stayed", "plug"):
            good = fault_state.pumps[int(rest[-1]) - 1].breaker_open
        elif name in READ:
            return self._reads(name, rest)
        else:
            return "fault" if key == "late" else f"skip {SIMULATED}: nobody there can tell"
        return "yes" if good else "no"

    def _reads(self, name, rest):
        # A meter in the simulated pit; a pump that has stopped meanwhile draws nothing, and is skipped.
        plant = self.pit.plant
        if name == "battery":
            return f"{plant.battery_v:.2f} V"
        if name == "bucket":
            return f"skip {SIMULATED}: there is no bucket in it"
        n = int(rest[-1]) - 1
        motor = plant.site.pumps[n].motor
        if name == "plate":
            return f"{motor.volts:g} V" if rest.startswith("volts") else f"{motor.rated_a:g} A"
        amps = plant.current[n]
        return f"{amps:.1f} A" if amps > 0.0 else f"skip {SIMULATED}: the pump stood still when the meter was read"

    # What it can do.

    def after(self, ms, work):
        """Do something after a time."""
        self.later.append((self.pit.now_ms + ms, work))

    def hose(self, on):
        """Open or shut the hose."""
        rates = [rate + (self.hose_m3s if on else 0.0) for rate in self.base.rates_m3s]
        plant = self.pit.plant

        def work():
            plant.trajectory.inflow = Inflow(self.base.times_s, rates, self.base.heads_m)

        plant.change(self.pit.now_ms, work)

    def float(self, name, state):
        """Hold a float wet or dry by hand, or let it go."""
        fault_state = copy.deepcopy(self.pit.plant.fault_state)
        fault_state.contacts[CONTACT_NAMES.index(name)] = state
        self.pit.plant.set_fault_state(self.pit.now_ms, fault_state)

    def pump(self, n, **changes):
        """Change something about a pump (0 or 1): a field of `host_sim.plant.fault_state.PumpCondition`."""
        fault_state = copy.deepcopy(self.pit.plant.fault_state)
        for field, value in changes.items():
            setattr(fault_state.pumps[n], field, value)
        self.pit.plant.set_fault_state(self.pit.now_ms, fault_state)

    def _valve(self, n):
        self.pump(n, valve_shut=True)
        self.pump(n, valve_shut=False)

    def press(self, name):
        """Press a button for half a second."""
        self.pit.plant.press(name, True)
        self.after(PRESSED_MS, lambda: self.pit.plant.press(name, False))

    def mains(self, on):
        """Cut the supply, or put it back."""
        self.pit.schedule.grid = on
        self.pit.schedule.mains(self.pit.now_ms)
