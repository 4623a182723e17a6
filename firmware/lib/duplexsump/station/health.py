"""M3, M5: what a reset was for, how many watchdog resets lie close together, and how far to start up.

The count survives in a small file.  After a watchdog reset the file is renewed
every minute for ten minutes, so that it knows how long a life lasted; in an
ordinary life it is written once.
"""

import os

from ..control.ticks import const

# What a reset was for, as the boards tell it.
POWER_ON = const(0)
WATCHDOG = const(1)
ASKED = const(2)
CAUSES = ("power-up", "watchdog", "asked for")

# How far to start up.
FULL = const(0)
CONTROL_ONLY = const(1)
MINIMAL = const(2)
MODES = ("full", "control only", "floats only")

_MOST_TEXT = const(200)  # what is longer was not written here
WINDOW_MIN = const(10)
MOST = const(3)  # watchdog resets within WINDOW_MIN that lead to CONTROL_ONLY


class Health:
    """The boot record in `folder`, None where there is none to be had; file errors count as an empty record."""

    def __init__(self, folder: str, cause: int) -> None:
        self.path = folder + "/boots"
        self.reason_path = folder + "/reason"
        self.cause = cause
        self.ages = []  # minutes since each watchdog reset, oldest first, all within the window
        self.minute = 0
        self.reason = ""

    def begin(self) -> int:
        """Count this reset and return the mode to start in."""
        if self.cause == WATCHDOG:
            self.ages = [age for age in self._read() if age < WINDOW_MIN] + [0]
        self._write()
        self.reason = self._take_reason()
        if len(self.ages) < MOST:
            return FULL
        return CONTROL_ONLY if len(self.ages) == MOST else MINIMAL

    def minutes(self, uptime_min: int) -> bool:
        """Tell how long this life has lasted; the file is renewed while resets still lie close.

        Returns whether the first minute is just over.
        """
        if uptime_min <= self.minute:
            return False
        first = self.minute == 0
        if not self.ages:
            self.minute = uptime_min
            return first
        self.ages = [age + uptime_min - self.minute for age in self.ages]
        self.ages = [age for age in self.ages if age < WINDOW_MIN]
        self.minute = uptime_min
        self._write()
        return first

    def _read(self) -> list[int]:
        try:
            with open(self.path) as file:
                return [int(word) for word in file.read(_MOST_TEXT).split()]
        except (OSError, ValueError):
            return []

    def _write(self) -> None:
        text = " ".join([str(age) for age in self.ages])
        if not self.ages and not self._read():
            return
        try:
            with open(self.path, "w") as file:
                file.write(text)
        except OSError:
            pass

    def record(self, reason: str) -> None:
        """Leave the first reason of a stop for the next life to tell."""
        try:
            with open(self.reason_path, "w") as file:
                file.write(reason[:160])
        except OSError:
            pass

    def _take_reason(self) -> str:
        try:
            with open(self.reason_path) as file:
                reason = file.read(_MOST_TEXT)
            os.remove(self.reason_path)
            return reason
        except (OSError, ValueError):
            return ""
