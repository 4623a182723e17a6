"""Virtual boards, in lockstep, that differ from the usual one as boards and benches on site do."""

from duplexsump.control import settings as s
from duplexsump.station import registers as r

from hil.kits import base, wires
from hil.kits.virtual import VirtualKit, bench_settings

# Nothing here is a default: limits that do not follow from the settings show.
OTHER = {
    "debounce": 600,
    "sequence_time": 15000,
    "normally_closed": 0,
    "pump_down_lead": 12000,
    "pump_down_lag": 15000,
    "pump_down_high": 18000,
    "blind_run": 28000,
    "no_current_1": 300,
    "no_current_2": 300,
    "underload_1": 3000,
    "underload_2": 3000,
    "rated_1": 6000,
    "rated_2": 6000,
    "overload_1": 7200,
    "overload_2": 7200,
    "min_off": 45000,
    "lag_min_off": 18000,
    "flood_min_off": 8000,
    "start_spacing": 4000,
    "generator_spacing": 8000,
    "min_run": 4000,
    "max_run": 900000,
    "boot_hold": 7000,
    "start_proof": 2500,
    "duty": 1,
    "primary": 2,
    "retry": 480000,
    "retries": 2,
    "dry_run": 6000,
    "flood_retry": 90000,
    "overload_time": 4000,
    "mains_settle": 12000,
    "flood_settle": 6000,
    "battery_low": 23800,
    "battery_loaded": 22000,
    "battery_dead": 21000,
    "exercise_run": 12000,
    "hand_limit": 120000,
    "force_timeout": 40000,
    "not_keeping_up": 420000,
    "quiet": 600000,
    "remind_high": 1500000,
    "remind_other": 36000000,
}
ON_A_RIG = frozenset(wires.WIRES) - {"generator", "moisture_1", "moisture_2", "level"}
FORCED = frozenset({*wires.FLOATS, *r.FORCES, "pump_1", "pump_2", "horn", "beacon", "relay", "service", "light"})


def settings(**changes):
    """Return the settings of a bench's board with changes, checked as a set."""
    values = bench_settings()
    for name, value in changes.items():
        values[s.index(name)] = value
    assert s.check(values) == []
    return values


class RigKit(VirtualKit):
    """A virtual board that can do no more than a real one with a rig: no settings, no hang, no days in a stride."""

    wires = ON_A_RIG
    abilities = frozenset({"power"})
    may_change_settings = False


class ForcedKit(VirtualKit):
    """A virtual board with no wire but the test jumper: inputs are forced over the link, as without a rig."""

    place = "virtual, forced"
    wires = FORCED
    abilities = frozenset({"forces"})
    may_change_settings = False
    mask = value = 0
    refreshed_ms = None

    def need(self, what):
        """A force knows a current that is none or normal, not how much."""
        if what == "current":
            raise base.Missing("a force knows a current that is none or normal, not how much", what)
        super().need(what)

    def reset(self):
        """Start afresh, with the jumper made and nothing forced but rest."""
        self.mask = self.value = 0
        self.raw[wires.WIRES["jumper"].place] = 1
        self.refreshed_ms = None
        super().reset()
        self.run_ms(300)
        self.refreshed_ms = self.now_ms()
        for name in sorted(FORCED & set(wires.INPUTS)):
            self._put(name, self.driven[name])

    def _put(self, name, value):
        if self.refreshed_ms is None:
            return
        bit = 1 << r.FORCES.index(name)
        if name in wires.FLOATS:
            value ^= 1 if self.settings[s.NORMALLY_CLOSED] & wires.WIRES[name].bit else 0
        if name.startswith("current") and value not in (0, *range(*self._normal())):
            raise base.Missing(f"{name} = {value} mA: a force knows none and normal", name)
        self.mask |= bit
        self.value = self.value | bit if value else self.value & ~bit
        self._force()

    def _normal(self):
        return self.settings[s.UNDERLOAD_1_MA], self.settings[s.OVERLOAD_1_MA]

    def _force(self):
        self.refreshed_ms = self.now_ms()
        self.link.write_bits(r.FORCE_VALUE_AT, [self.value >> i & 1 for i in range(r.N_FORCES)])
        self.link.write_bits(r.FORCE_MASK_AT, [self.mask >> i & 1 for i in range(r.N_FORCES)])

    def run_ms(self, ms):
        """Let time pass; the forces are refreshed before they lapse."""
        until = self.now_ms() + ms
        while self.refreshed_ms is not None and until - self.refreshed_ms > 20000:
            super().run_ms(max(0, self.refreshed_ms + 20000 - self.now_ms()))
            self._force()
        super().run_ms(until - self.now_ms())

    def run_to_move(self, limit_ms):
        """Let time pass until an output changes, at most `limit_ms`; forces are refreshed before they lapse."""
        super().run_to_move(min(limit_ms, 20000))
        if self.refreshed_ms is not None and self.now_ms() - self.refreshed_ms >= 20000:
            self._force()
