"""Every short timer of the controller: one list of deadlines, one place that disarms them.

A timer is armed for at most 24 h.  `expire()` runs first in every step: it
disarms each timer that is due and marks it as having rung, for that step only,
so no deadline outlives its use whoever forgets to look at it.
"""

from .records import DEADLINE
from .ticks import NEVER, const

# One timer each.
SEQUENCE = const(0)  # L2: a wet contact over a dry one
DRAW = const(1)  # L3: stop by time
OVERDRAW = const(2)  # L4: off still wet though lead has long been dry
STOPPED = const(3)  # L4: how long the provisional stop lasts
ALONE = const(4)  # L3: lead or lag wet alone, nothing moving
SIGNAL = const(5)  # L5: transmitter out of range
FROZEN = const(6)  # L5: proved running without movement
GAP = const(7)  # L5: floats and transmitter apart
BLIND_RUN = const(8)  # L6
BLIND_REST = const(9)
LONG_RUN = const(10)  # D4
BOTH = const(11)  # D5: both pumps running
NO_DRAW = const(12)  # R2: the level does not fall
EXERCISE = const(13)  # D7
FLOOD_TRY = const(14)  # R3: when a pump that is out is tried next
BOOT = const(15)  # S4
CHATTERS = const(16)  # L1: a contact has chattered for long
SHELVE = const(17)  # A2: a shelved alarm
SPACING = const(18)  # S2
SETTLE = const(19)  # A4
SETTLE_FLOOD = const(20)
MAINS_ALARM = const(21)
CHARGER = const(22)
AWAY = const(23)  # M1: a selector not in AUTO
AWAY_LONG = const(24)
FORCE = const(25)  # M2: refresh of the forces
FORCE_LONG = const(26)
BUTTON = const(27)  # A2: a button held
TEST_HOLD = const(28)  # A2: silence held with no alarm
TEST_RUN = const(29)
BELL = const(30)  # A2: the horn's 1 min every 12 h
ALARM = const(31)  # A2: soonest of the quiet, reminder and horn deadlines
CHATTER = const(32)  # L1: soonest of the chatter deadlines
REAL_HIGH = const(79)  # M2
UNSTEADY = const(80)  # A4: losses of the mains
UNSEEN = const(81)  # A4: lag wet without a mains
LAG_LONG = const(82)  # D5: lag wet
LEAD_LONG = const(83)  # D5: the water not below lead
FICKLE = const(84)  # L2: a fickle contact stands wet

# Per contact: base + 0 .. 3.
DEBOUNCE = const(33)
TURNED = const(37)  # L7: turned within the last 2 s

# Per pump: base + 0 or 1.
REST = const(41)  # S1, the three rests
REST_LAG = const(43)
REST_FLOOD = const(45)
PROOF = const(47)  # S5
LOST = const(49)  # S5b
WELD = const(51)  # S6
OVER = const(53)  # S7
INRUSH = const(55)
ROTOR = const(57)
DRY = const(59)  # R1
LOAD = const(61)  # loaded for 1 s
STEADY = const(63)  # R4: loaded for dry_run
MIN_RUN = const(65)  # S3
RETRY = const(67)  # S5
RECENT = const(69)  # S5: a fault just before a mains loss
HOUR = const(71)  # S8: the oldest start in the last hour
SHORT_DAY = const(73)  # S8: once a day
OVER_HOUR = const(75)  # R3: tries after an overcurrent
HAND = const(77)  # M1
BATTERY_GONE = const(85)  # A4: dead at rest
BATTERY_FLAT = const(86)  # A4: low at rest
CALL = const(87)  # A3: a call for service on the one relay
HAND_DRY = const(88)  # M1: by hand with no contact wet and no current sensed, 89 for pump 2
SAG = const(90)  # A4: the battery reads otherwise than it counts
BEARS = const(91)  # A4: a spent battery bears its pump, or the mains is back
DARK = const(92)  # A4: powered again, and the water below lag
CHARGED = const(93)  # A4: the mains is there
ALONE_LONG = const(94)  # L3: lead wet over a wet off, nothing moving
BORNE = const(95)  # A4: the water stands at lag or high over the one pump that the battery bears
PAUSE = const(96)  # L5: between the two looks
N_TIMERS = const(97)

NAMES = (
    "sequence draw overdraw stopped alone signal frozen gap blind_run blind_rest long_run both no_draw exercise "
    "flood_try boot chatters shelve spacing settle settle_flood mains_alarm charger away away_long force "
    "force_long button test_hold test_run bell alarm chatter"
).split() + [name + "_" + tail for name in ("debounce", "turned") for tail in ("off", "lead", "lag", "high")]
NAMES += [
    name + tail
    for name in (
        "rest rest_lag rest_flood proof lost weld over inrush rotor dry load steady min_run retry recent hour "
        "short_day over_hour hand"
    ).split()
    for tail in ("_1", "_2")
]
NAMES += "real_high unsteady unseen lag_long lead_long fickle battery_gone battery_flat call".split()
NAMES += ["hand_dry_1", "hand_dry_2", "sag", "bears", "dark", "charged", "alone_long", "borne", "pause"]


class Timers:
    """All deadlines (`at`), what rang in this step (`rang`) and the instant of the step (`now`)."""

    FIELDS = (("at", DEADLINE, N_TIMERS, 0),)

    def __init__(self) -> None:
        self.at = [NEVER] * N_TIMERS
        self.rang = [False] * N_TIMERS
        self.any = False
        self.now = 0

    def expire(self, now: int) -> None:
        """Begin a step at `now`: disarm what is due, mark it as having rung."""
        self.now = now
        if self.any:
            self._forget()
        at = self.at
        for i in range(N_TIMERS):
            t = at[i]
            if t >= 0 and (now - t) & 0x3FFFFFFF < 0x20000000:
                at[i] = NEVER
                self.rang[i] = True
                self.any = True

    def _forget(self) -> None:
        self.any = False
        for i in range(N_TIMERS):
            self.rang[i] = False

    def arm(self, i: int, delay_ms: int) -> None:
        """Arm timer `i` for `delay_ms` (100 ms .. 24 h) from now; it has not rung."""
        self.at[i] = (self.now - 0x3FFFFFFF - 1 + delay_ms) & 0x3FFFFFFF
        self.rang[i] = False

    def stop(self, i: int) -> None:
        """Disarm timer `i`; it has not rung."""
        self.at[i] = NEVER
        self.rang[i] = False

    def running(self, i: int) -> bool:
        """Tell whether timer `i` is armed."""
        return self.at[i] >= 0

    def left_ms(self, i: int) -> int:
        """Return the time left on a running timer."""
        return (self.at[i] - self.now) & 0x3FFFFFFF

    def on_delay(self, i: int, already: int, condition: object, delay_ms: int) -> bool:
        """Return True once `condition` has held for `delay_ms`, by timer `i`, for as long as it holds.

        `already` is what this returned in the step before; a caller that passes
        False must see to it that the condition ends when the timer has rung.
        """
        if not condition:
            self.at[i] = NEVER
            return False
        if already or self.rang[i]:
            return True
        if self.at[i] < 0:
            self.arm(i, delay_ms)
        return False

    def next_ms(self, least: int) -> int:
        """Return the delay in ms to the soonest armed deadline, `least` at the most."""
        at = self.at
        now = self.now
        for i in range(N_TIMERS):
            t = at[i]
            if t >= 0 and (t - now) & 0x3FFFFFFF < least:
                least = (t - now) & 0x3FFFFFFF
        return least
