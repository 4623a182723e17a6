"""M2: inputs forced over the link, for a test without a rig; only with the test jumper made."""

from . import settings as s
from . import timers as tm
from .records import (
    AGAIN,
    CURRENT_NONE,
    CURRENT_NORMAL,
    FORCE_ALL,
    FORCE_CURRENT_1,
    FORCE_CURRENT_2,
    FORCE_MAINS,
    FORCE_THERMAL_1,
    FORCE_THERMAL_2,
    HIGH,
    IN_CONTACTS,
    IN_CURRENT_1,
    IN_CURRENT_2,
    IN_FORCE_MASK,
    IN_FORCE_REFRESH,
    IN_FORCE_VALUE,
    IN_JUMPER,
    IN_MAINS,
    IN_THERMAL_1,
    IN_THERMAL_2,
    N_INPUTS,
    STATE,
)
from .ticks import const

LONG_MS = const(600000)
_CONTACTS = const(15)


class Forces:
    """`inputs` is the input record with the forces in it; outputs are never forced."""

    FIELDS = (
        ("active", STATE, 0, AGAIN),  # forces in effect, a mask
        ("refresh", STATE, 0, 0),
        ("lapsed", STATE, 0, 0),  # not refreshed in time, or cancelled by real high water
        ("long", STATE, 0, 0),  # for over 10 min
        ("real_high", STATE, 0, 0),  # the unforced high contact, debounced
    )

    def __init__(self, settings: list[int], timers: "tm.Timers") -> None:
        self.settings = settings
        self.timers = timers
        self.forced = [0] * N_INPUTS  # what the core works with while anything is forced
        self.inputs = self.forced
        self.active = 0
        self.refresh = 0
        self.lapsed = 1
        self.long = False
        self.real_high = False

    def begin(self, inputs: list[int]) -> None:
        """Nothing is forced after a power-up until it is asked for anew."""
        self.active = 0
        self.lapsed = 1
        self.refresh = inputs[IN_FORCE_REFRESH]

    def step(self, inputs: list[int]) -> None:
        """Set `self.inputs` to what the core works with: `inputs` itself, or a copy with the forces applied."""
        self._high(inputs[IN_CONTACTS] & HIGH)
        if inputs[IN_FORCE_REFRESH] != self.refresh:
            self.refresh = inputs[IN_FORCE_REFRESH]
            self.lapsed = 0
            self.timers.arm(tm.FORCE, self.settings[s.FORCE_TIMEOUT_MS])
        if self.timers.rang[tm.FORCE] or not inputs[IN_JUMPER] or self.real_high:
            self.lapsed = 1
            self.timers.stop(tm.FORCE)
        self._effect(0 if self.lapsed else inputs[IN_FORCE_MASK] & FORCE_ALL)
        self.inputs = inputs
        if self.active:
            self._copy(inputs)
            self._apply(self.forced, self.active, inputs[IN_FORCE_VALUE])

    def _copy(self, inputs: list[int]) -> None:
        self.inputs = self.forced
        for i in range(N_INPUTS):
            self.forced[i] = inputs[i]

    def _high(self, high: int) -> None:
        self.real_high = self.timers.on_delay(tm.REAL_HIGH, self.real_high, high, self.settings[s.DEBOUNCE_MS])

    def _effect(self, active: int) -> None:
        self.active = active
        self.long = self.timers.on_delay(tm.FORCE_LONG, self.long, active != 0, LONG_MS)

    def _apply(self, mine: list[int], active: int, value: int) -> None:
        contacts = active & _CONTACTS
        mine[IN_CONTACTS] = (mine[IN_CONTACTS] & ~contacts) | (value & contacts)
        if active & FORCE_MAINS:
            mine[IN_MAINS] = 1 if value & FORCE_MAINS else 0
        if active & FORCE_CURRENT_1:
            mine[IN_CURRENT_1] = CURRENT_NORMAL if value & FORCE_CURRENT_1 else CURRENT_NONE
        if active & FORCE_CURRENT_2:
            mine[IN_CURRENT_2] = CURRENT_NORMAL if value & FORCE_CURRENT_2 else CURRENT_NONE
        # A thermal contact can be forced open, never closed: people and motors first.
        if active & value & FORCE_THERMAL_1:
            mine[IN_THERMAL_1] = 1
        if active & value & FORCE_THERMAL_2:
            mine[IN_THERMAL_2] = 1


