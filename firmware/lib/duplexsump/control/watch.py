"""What each alarm stands for: from the controller's state to the alarm table."""

from . import alarm_table as at
from . import pump as pm
from . import settings as s
from . import timers as tm
from .exercise import DAY_MIN
from .records import (
    BATTERY_GOOD,
    CURRENT_NONE,
    FAULT_CONVERTER,
    FAULT_EXPANDER,
    FAULT_STORAGE,
    HIGH,
    IN_BOARD,
    IN_CHATTER,
    IN_CURRENT_1,
    LEAD,
    const,
)

_BACK_PERCENT = const(15)  # J3: a worn pump is back when it is no more than this below its first rate

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Controller

MONTH_MIN = const(43830)  # 365.25 / 12 days
_CHATTERS_MS = const(60000)
DARK_WET = const(2)  # A4: the controller was without power, and the water is at lag or high

def tell_alarms(c: "Controller", inputs: list[int]) -> None:
    """Tell the alarms of controller `c` what holds in this step."""
    _house(c)
    _level(c, inputs)
    _supply(c)
    _pump(c, 0)
    _pump(c, 1)
    _people(c)
    _board(c, inputs[IN_BOARD])


def _level(c: "Controller", inputs: list[int]) -> None:
    alarms = c.alarms
    alarms.tell(at.HIGH_WATER, c.contacts.wet & HIGH)
    alarms.tell(at.LEVEL_LOST, _lost(c))
    alarms.tell(at.FLOAT_WIRING, c.belief.wiring, c.belief.wiring)
    alarms.tell(at.NOT_KEEPING_UP, _behind(c, alarms.active))
    _suspects(c, c.belief.told())
    alarms.tell(at.CHATTERING, _chatters(c, inputs), inputs[IN_CHATTER])
    alarms.tell(at.POUR_AND_TEST, c.exercise.pour())


def _behind(c: "Controller", active: list[int]) -> object:
    # Once both pumps are told to be unavailable none is left that could keep up.  What stood for so long that it is
    # looked at (L3) stays told.
    if active[at.NO_PUMP] and not active[at.NOT_KEEPING_UP]:
        return False
    return c.pair.behind() or _helpless(c) or (c.belief.looked and c.contacts.wet & LEAD)


def _helpless(c: "Controller") -> object:
    # R2: the level does not fall under the one pump that is available; of two the other may keep up.
    return c.demand.boost and c.pair.available != 3


def _own(c: "Controller", i: int) -> int:
    # A1: of two pumps that are both out "both pumps unavailable" tells, and none of their own that was not told before.
    return c.alarms.active[i] or not (c.alarms.active[at.NO_PUMP] and _out(c) == 3)


def _lost(c: "Controller") -> object:
    # L6: a `high` that hangs wet is one alarm, however often it is believed and the water comes and goes below it.
    if c.alarms.active[at.LEVEL_LOST] and c.contacts.wet & HIGH:
        return True
    return c.blind.reason


def _suspects(c: "Controller", suspects: int) -> None:
    # L5: where the transmitter stands for a float there is no float to look at.
    stands_for = suspects & c.transmitter.virtual
    suspects &= ~stands_for
    c.alarms.tell(at.OUT_OF_SEQUENCE, suspects or c.transmitter.apart, suspects)
    c.alarms.tell(at.TRANSMITTER_FAILED, stands_for or c.transmitter.failed())


def _chatters(c: "Controller", inputs: list[int]) -> bool:
    # L1: two honest turns of a float that bounces may chatter for a moment.
    return c.timers.on_delay(tm.CHATTERS, c.alarms.active[at.CHATTERING], inputs[IN_CHATTER], _CHATTERS_MS)


def _house(c: "Controller") -> None:
    # Mains lost counts against a pump only when its own alarm does (A4: after mains_grace).
    out = _useless(c) if c.alarms.active[at.NO_PUMP] else 0
    ready = c.pair.available & ~(c.supply.doubted() | c.silent() | out) != 0
    if not c.supply.lost:
        for n in range(2):
            waiting = c.pumps[n].state < pm.RETRY and not c.pumps[n].open and not out & (1 << n)
            if waiting and c.selectors.auto(n) and not c.supply.fed & (1 << n) and not c.supply.on_battery & (1 << n):
                ready = True
    c.alarms.tell(at.NO_PUMP, not ready)


def _useless(c: "Controller") -> int:
    # A1: once told, a pump that is out is of use when it has run loaded, and not because a rest is over; one on a
    # battery that was found low with the mains there, not because it has come up between two runs.
    stuck = (1 if _runs_on(c, 0) else 0) | (2 if _runs_on(c, 1) else 0)
    return _out(c) | stuck | (c.supply.on_battery if _drains(c) else 0)


def _runs_on(c: "Controller", n: int) -> object:
    # S6: a pump that would not stop is told until it is off without a current; while it is commanded nothing shows it.
    drawing = c.pumps[n].on() or c.forces.inputs[IN_CURRENT_1 + n] != CURRENT_NONE
    return c.pumps[n].welded or (drawing and c.alarms.active[at.WILL_NOT_STOP + n])


def _out(c: "Controller") -> int:
    return (1 if c.pumps[0].out else 0) | (2 if c.pumps[1].out else 0)


def _supply(c: "Controller") -> None:
    alarms = c.alarms
    alarms.tell(at.MAINS_LOST, c.supply.lost or c.dark == DARK_WET)
    alarms.tell(at.BATTERY_LOW, _low(c))
    alarms.tell(at.CHARGER_FAILED, c.supply.not_charging)
    alarms.tell(at.BATTERY_FAILED, _failed(c) and (alarms.active[at.BATTERY_FAILED] or not _low(c)))
    alarms.tell(at.BATTERY_OLD, _battery_old(c))
    alarms.tell(at.MAINS_UNSTEADY, c.supply.unsteady)
    alarms.tell(at.CLOCK_FAULT, c.clock_fault)
    alarms.tell(at.INSPECTION_DUE, c.inspection_min >= c.settings[s.INSPECTION_DAYS] * DAY_MIN)


def _low(c: "Controller") -> object:
    return c.supply.low or _drains(c)


def _drains(c: "Controller") -> object:
    # A4: the battery carries the house though the mains is there, where no pump on the mains can be relied on.
    supply = c.supply
    if not supply.mains or not supply.on_battery or c.pair.available & ~(supply.on_battery | _out(c)):
        return False
    return supply.spent or supply.battery != BATTERY_GOOD or c.alarms.active[at.BATTERY_LOW]


def _failed(c: "Controller") -> object:
    return c.supply.gone or c.supply.flat or c.exercise.flat


def _board(c: "Controller", faults: int) -> None:
    # M8, M3: what of the board itself is out.
    silent = faults & (FAULT_EXPANDER | FAULT_CONVERTER)
    c.alarms.tell(at.EXPANDER_SILENT, silent, silent)
    c.alarms.tell(at.STORAGE_FAILED, faults & FAULT_STORAGE)


def _battery_old(c: "Controller") -> bool:
    months = c.settings[s.BATTERY_AGE]
    return bool(c.supply.fitted and months) and c.battery_min >= months * MONTH_MIN


def _pump(c: "Controller", n: int) -> None:
    pump = c.pumps[n]
    told = _unavailable(c, n)
    c.alarms.tell(at.UNAVAILABLE + n, told, pump.cause)
    told = _runs_on(c, n)
    c.alarms.tell(at.WILL_NOT_STOP + n, told)
    c.alarms.tell(at.EXERCISE_FAILED + n, c.exercise.failed & (1 << n))
    c.alarms.tell(at.PUMP_SUSPECT + n, c.pair.suspect(n))
    c.alarms.tell(at.MOISTURE + n, pump.moist)
    c.alarms.tell(at.SHORT_CYCLING + n, pump.short)
    told = _worn(c, n)
    c.alarms.tell(at.PUMP_WORN + n, told)
    c.alarms.tell(at.PUMP_WEAK + n, c.history.is_weak(n) or (told and c.alarms.active[at.PUMP_WEAK + n]))
    c.alarms.tell(at.CHECK_LEAKS + n, c.history.leaking(n))


def _unavailable(c: "Controller", n: int) -> object:
    # What a lost mains or a dead battery takes away is told by their own alarms.
    return (c.pumps[n].open or (c.pumps[n].out and not _doubted(c, n))) and _own(c, at.UNAVAILABLE + n)


def _doubted(c: "Controller", n: int) -> int:
    # R1: a pump that moves nothing is not blamed while the other, started for it, may find the pit empty.
    other = c.pumps[1 - n]
    trying = c.timers.running(tm.RECENT + n) or (other.on() and not other.loaded)
    return trying and c.pumps[n].cause == pm.NOT_PUMPING and not c.alarms.active[at.UNAVAILABLE + n]


def _worn(c: "Controller", n: int) -> int:
    # J3: what was told stands until the figures are well back: at the limit they come and go.
    if c.alarms.active[at.PUMP_WORN + n]:
        return c.history.wear_percent(n) > _BACK_PERCENT or c.history.is_worn(n)
    return c.history.is_worn(n)


def _people(c: "Controller") -> None:
    alarms = c.alarms
    alarms.tell(at.INPUTS_FORCED_LONG, c.forces.long)
    alarms.tell(at.INPUTS_FORCED, c.forces.active)
    alarms.tell(at.SELECTOR_AWAY, c.selectors.away_long)
    alarms.tell(at.NOT_IN_AUTO, c.selectors.away)
    alarms.tell(at.BUTTON_STUCK, c.buttons.stuck)
