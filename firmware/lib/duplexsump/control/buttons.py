"""A2: silence and reset, from the push buttons or over the link; a stuck button; the horn test."""

from . import timers as tm
from .records import (
    CMD_INSPECTED,
    CMD_REPLACED,
    CMD_RESET,
    CMD_SHELVE,
    CMD_SILENCE,
    CMD_TEST,
    IN_COMMAND,
    IN_RESET,
    IN_SILENCE,
    SHELVE_END,
    STATE,
)
from .ticks import const

STUCK_MS = const(30000)
HOLD_MS = const(3000)
TEST_MS = const(5000)


class Buttons:
    """`silence`, `reset`, `inspected`, `replaced` are true in the step of the press edge; `shelve`: see CMD_SHELVE."""

    FIELDS = (
        ("silence_down", STATE, 0, 0),
        ("reset_down", STATE, 0, 0),
        ("command", STATE, 0, 0),
        ("stuck", STATE, 0, 0),
        ("held", STATE, 0, 0),  # silence held with no alarm: the test goes on while it is held
        ("linked", STATE, 0, 0),  # a test asked for over the link
    )

    def __init__(self, timers: "tm.Timers") -> None:
        self.timers = timers
        self.silence_down = 0
        self.reset_down = 0
        self.command = 0
        self.stuck = False
        self.held = False
        self.linked = 0
        self.silence = 0
        self.reset = 0
        self.inspected = 0
        self.replaced = 0
        self.shelve = 0

    def begin(self, inputs: list[int]) -> None:
        """A button held at power-up, or a command left standing, is no press edge."""
        self.silence_down = inputs[IN_SILENCE]
        self.reset_down = inputs[IN_RESET]
        self.command = inputs[IN_COMMAND]

    def step(self, inputs: list[int], nothing: int) -> None:
        """Read buttons and commands; `nothing`: no alarm of any kind."""
        command = inputs[IN_COMMAND] & ~self.command
        shelve = inputs[IN_COMMAND] // CMD_SHELVE & SHELVE_END
        self.shelve = 0 if shelve == self.command // CMD_SHELVE & SHELVE_END else shelve
        self.command = inputs[IN_COMMAND]
        self.silence = command & CMD_SILENCE or inputs[IN_SILENCE] > self.silence_down
        self.reset = command & CMD_RESET or inputs[IN_RESET] > self.reset_down
        self.inspected = command & CMD_INSPECTED
        self.replaced = command & CMD_REPLACED
        self.silence_down = inputs[IN_SILENCE]
        self.reset_down = inputs[IN_RESET]
        self._down(self.silence_down or self.reset_down)
        self._hold(self.silence_down and nothing and not self.stuck)
        if command & CMD_TEST and nothing:
            self.linked = 1
            self.timers.arm(tm.TEST_RUN, TEST_MS)
        if self.timers.rang[tm.TEST_RUN] or not nothing:
            self.linked = 0
            self.timers.stop(tm.TEST_RUN)

    def _down(self, down: int) -> None:
        self.stuck = self.timers.on_delay(tm.BUTTON, self.stuck, down, STUCK_MS)

    def _hold(self, trying: int) -> None:
        self.held = self.timers.on_delay(tm.TEST_HOLD, self.held, trying, HOLD_MS)

    def test(self) -> int:
        """Tell whether horn, beacon, alarm relay and service relay are being tried."""
        return self.held or self.linked
