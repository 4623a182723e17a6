"""What each alarm stands for: from the controller's state to the alarm table."""

from . import alarm_table as at
from . import pump as pm
from . import settings as s
from . import timers as tm
from .exercise import DAY_MIN
from .records import HIGH, IN_CHATTER, const

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Controller

MONTH_MIN = const(43830)  # 365.25 / 12 days
_CHATTERS_MS = const(60000)

def tell_alarms(c: "Controller", inputs: list[int]) -> None:
    """Tell the alarms of controller `c` what holds in this step."""
    _level(c, inputs)
    _house(c)
    _supply(c, inputs)
    _pump(c, 0)
    _pump(c, 1)
    _people(c)


def _level(c: "Controller", inputs: list[int]) -> None:
    alarms = c.alarms
    alarms.tell(at.HIGH_WATER, c.contacts.wet & HIGH)
    alarms.tell(at.LEVEL_LOST, c.blind.reason)
    alarms.tell(at.FLOAT_WIRING, c.belief.wiring, c.belief.wiring)
    alarms.tell(at.NOT_KEEPING_UP, c.pair.behind() or c.demand.boost)
    out_of_order = (c.belief.order | c.belief.evidence) & c.belief.fitted
    alarms.tell(at.OUT_OF_SEQUENCE, out_of_order or c.transmitter.apart, out_of_order)
    alarms.tell(at.TRANSMITTER_FAILED, c.transmitter.failed())
    alarms.tell(at.CHATTERING, _chatters(c, inputs), inputs[IN_CHATTER])
    alarms.tell(at.POUR_AND_TEST, c.exercise.pour())


def _chatters(c: "Controller", inputs: list[int]) -> bool:
    # L1: two honest turns of a float that bounces may chatter for a moment.
    return c.timers.on_delay(tm.CHATTERS, c.alarms.active[at.CHATTERING], inputs[IN_CHATTER], _CHATTERS_MS)


def _house(c: "Controller") -> None:
    # Mains lost counts against a pump only when its own alarm does (A4: after mains_grace).
    ready = c.pair.available & ~(c.supply.unseen | c.silent()) != 0
    if not c.supply.lost:
        for n in range(2):
            waiting = c.pumps[n].state < pm.RETRY and not c.pumps[n].open
            if waiting and c.selectors.auto(n) and not c.supply.fed & (1 << n) and not c.supply.on_battery & (1 << n):
                ready = True
    c.alarms.tell(at.NO_PUMP, not ready)


def _supply(c: "Controller", inputs: list[int]) -> None:
    alarms = c.alarms
    alarms.tell(at.MAINS_LOST, c.supply.lost)
    alarms.tell(at.BATTERY_LOW, c.supply.battery_low(inputs))
    alarms.tell(at.CHARGER_FAILED, c.supply.not_charging)
    alarms.tell(at.BATTERY_FAILED, c.supply.gone or c.supply.flat or c.exercise.flat)
    alarms.tell(at.BATTERY_OLD, _battery_old(c))
    alarms.tell(at.MAINS_UNSTEADY, c.supply.unsteady)
    alarms.tell(at.CLOCK_FAULT, c.clock_fault)
    alarms.tell(at.INSPECTION_DUE, c.inspection_min >= c.settings[s.INSPECTION_DAYS] * DAY_MIN)


def _battery_old(c: "Controller") -> bool:
    months = c.settings[s.BATTERY_AGE]
    return bool(c.supply.fitted and months) and c.battery_min >= months * MONTH_MIN


def _pump(c: "Controller", n: int) -> None:
    pump = c.pumps[n]
    # What a lost mains takes away is told by mains lost.
    unfed = c.supply.lost and c.supply.on_battery & ~c.supply.fed & (1 << n)
    c.alarms.tell(at.UNAVAILABLE + n, pump.out or pump.open or unfed, pump.cause)
    c.alarms.tell(at.WILL_NOT_STOP + n, pump.welded)
    c.alarms.tell(at.EXERCISE_FAILED + n, c.exercise.failed & (1 << n))
    c.alarms.tell(at.PUMP_SUSPECT + n, c.pair.suspect(n))
    c.alarms.tell(at.LOCKOUT + n, pump.state == pm.LOCKED or pump.held == pm.LOCKED, pump.cause)
    c.alarms.tell(at.MOISTURE + n, pump.moist)
    c.alarms.tell(at.SHORT_CYCLING + n, pump.short)
    c.alarms.tell(at.PUMP_WORN + n, c.history.is_worn(n))
    c.alarms.tell(at.PUMP_WEAK + n, c.history.is_weak(n))
    c.alarms.tell(at.CHECK_LEAKS + n, c.history.leaking(n))


def _people(c: "Controller") -> None:
    alarms = c.alarms
    alarms.tell(at.INPUTS_FORCED_LONG, c.forces.long)
    alarms.tell(at.INPUTS_FORCED, c.forces.active)
    alarms.tell(at.SELECTOR_AWAY, c.selectors.away_long)
    alarms.tell(at.NOT_IN_AUTO, c.selectors.away)
    alarms.tell(at.BUTTON_STUCK, c.buttons.stuck)
