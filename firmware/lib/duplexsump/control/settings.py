"""Every setting of the controller: name, unit, range, default, source, meaning.

A settings record is a plain list of integers in the order of TABLE.  Settings
are checked as a set: `check()` returns every refusal, each naming the setting,
the value, what is allowed and why.
"""

try:
    from micropython import const
except ImportError:  # CPython

    def const(value: int) -> int:
        return value


PRACTICE = "common practice, no source"
SIZING = "from sizing; the default fits an 18 in pit with contacts at 6, 14, 16 and 18 in and a 34.6 gpm pump"
OWN = "our own choice"

DEBOUNCE_MS = const(0)
SEQUENCE_TIME_MS = const(1)
FITTED = const(2)
NORMALLY_CLOSED = const(3)
TRANSMITTER = const(4)
LEVEL_SPAN_MM = const(5)
LEVEL_OFF_MM = const(6)
LEVEL_LEAD_MM = const(7)
LEVEL_LAG_MM = const(8)
LEVEL_GAP_MM = const(9)
PUMP_DOWN_LEAD_MS = const(10)
PUMP_DOWN_LAG_MS = const(11)
PUMP_DOWN_HIGH_MS = const(12)
BLIND_RUN_MS = const(13)
NO_DRAW_DOWN_MS = const(14)
SENSING = const(15)
NO_CURRENT_1_MA = const(16)
NO_CURRENT_2_MA = const(17)
UNDERLOAD_1_MA = const(18)
UNDERLOAD_2_MA = const(19)
RATED_1_MA = const(20)
RATED_2_MA = const(21)
OVERLOAD_1_MA = const(22)
OVERLOAD_2_MA = const(23)
SENSOR_RANGE_1_MA = const(24)
SENSOR_RANGE_2_MA = const(25)
MIN_OFF_MS = const(26)
LAG_MIN_OFF_MS = const(27)
FLOOD_MIN_OFF_MS = const(28)
START_SPACING_MS = const(29)
GENERATOR_SPACING_MS = const(30)
MIN_RUN_MS = const(31)
MAX_RUN_MS = const(32)
BOOT_HOLD_MS = const(33)
START_PROOF_MS = const(34)
RETRY_MS = const(35)
RETRIES = const(36)
DRY_RUN_MS = const(37)
FLOOD_RETRY_MS = const(38)
OVERLOAD_MS = const(39)
STARTS_PER_HOUR = const(40)
MOISTURE_TRIPS = const(41)
DUTY = const(42)
PRIMARY = const(43)
SUPPLY_1 = const(44)
SUPPLY_2 = const(45)
BATTERY_PUMPS = const(46)
MAINS_SETTLE_MS = const(47)
FLOOD_SETTLE_MS = const(48)
BATTERY_LOW_MV = const(49)
BATTERY_LOADED_MV = const(50)
BATTERY_DEAD_MV = const(51)
CHARGER_FITTED = const(52)
EXERCISE_DAYS = const(53)
EXERCISE_RUN_MS = const(54)
POUR_DAYS = const(55)
HAND_LIMIT_MS = const(56)
FORCE_TIMEOUT_MS = const(57)
INSPECTION_DAYS = const(58)
MAINS_GRACE_MS = const(59)
NOT_KEEPING_UP_MS = const(60)
QUIET_MS = const(61)
REMIND_HIGH_MS = const(62)
REMIND_OTHER_MS = const(63)
CALLS = const(64)
SERVICE_CALL_MS = const(65)
BAND_VOLUME_ML = const(66)
MAINS_FITTED = const(67)
BATTERY_AGE = const(68)
SHELVE_TIME_MS = const(69)
N_SETTINGS = const(70)

SENSE_NOTHING = const(0)
SENSE_FEEDBACK = const(1)
SENSE_CURRENT = const(2)

ALTERNATE = const(0)
FIXED = const(1)
RUN_TIME = const(2)

MAINS = const(0)
BATTERY = const(1)
EITHER = const(2)

_HOUR = const(3600000)
_DAY = const(86400000)

# name, unit, least, most, default, source, meaning
TABLE = (
    ("debounce", "ms", 200, 5000, 1000, PRACTICE, "a contact changes after holding its new value this long"),
    ("sequence_time", "ms", 5000, 120000, 20000, OWN, "a wet contact over a dry one this long is a float out of sequence"),
    ("fitted", "contacts", 1, 15, 15, OWN, "float contacts fitted: off 1, lead 2, lag 4, high 8, added up"),
    ("normally_closed", "contacts", 0, 15, 8, OWN, "float contacts that open when wet, so that a broken wire reads wet"),
    ("transmitter", "", 0, 1, 0, OWN, "1 when a 4-20 mA level transmitter is fitted"),
    ("level_span", "mm", 500, 10000, 1000, SIZING, "level at 20 mA above the level at 4 mA"),
    ("level_off", "mm", 0, 10000, 150, SIZING, "transmitter level of the off contact"),
    ("level_lead", "mm", 0, 10000, 360, SIZING, "transmitter level of the lead contact"),
    ("level_lag", "mm", 0, 10000, 410, SIZING, "transmitter level of the lag contact"),
    ("level_gap", "mm", 20, 1000, 80, PRACTICE, "float and transmitter may differ by this much"),
    ("pump_down_lead", "ms", 0, 1800000, 16000, SIZING, "one pump, no inflow: from lead dry to off dry; 0 = not known"),
    ("pump_down_lag", "ms", 0, 1800000, 20000, SIZING, "one pump, no inflow: from lag dry to off dry; 0 = not known"),
    ("pump_down_high", "ms", 0, 1800000, 23000, SIZING, "one pump, no inflow: from high dry to off dry; 0 = not known"),
    ("blind_run", "ms", 10000, 1800000, 35000, SIZING, "one full-pit draw-down, the longest run on a level not believed"),
    ("no_draw_down", "ms", 30000, 3600000, 300000, PRACTICE, "transmitter: the level must have fallen within this run"),
    ("sensing", "", 0, 2, 0, OWN, "per pump: 0 nothing, 1 run feedback, 2 motor current"),
    ("no_current_1", "mA", 50, 20000, 500, PRACTICE, "below this the motor draws nothing"),
    ("no_current_2", "mA", 50, 20000, 500, PRACTICE, "the same of pump 2"),
    ("underload_1", "mA", 100, 60000, 4500, PRACTICE, "below this the pump moves no water"),
    ("underload_2", "mA", 100, 60000, 4500, PRACTICE, "the same of pump 2"),
    ("rated_1", "mA", 200, 60000, 8000, "the motor's data plate", "rated current; three times this is a locked rotor"),
    ("rated_2", "mA", 200, 60000, 8000, "the motor's data plate", "the same of pump 2"),
    ("overload_1", "mA", 300, 90000, 9600, PRACTICE, "above this the motor is overloaded"),
    ("overload_2", "mA", 300, 90000, 9600, PRACTICE, "the same of pump 2"),
    ("sensor_range_1", "mA", 5000, 200000, 30000, OWN, "motor current of pump 1 that drives its input to full scale"),
    ("sensor_range_2", "mA", 5000, 200000, 30000, OWN, "the same of pump 2"),
    ("min_off", "ms", 10000, 1800000, 60000, PRACTICE, "rest after a stop"),
    ("lag_min_off", "ms", 5000, 600000, 20000, OWN, "rest with lag wet, or with lead wet and no pump running"),
    ("flood_min_off", "ms", 3000, 300000, 10000, OWN, "rest with high wet, believed or not"),
    ("start_spacing", "ms", 1000, 60000, 3000, PRACTICE, "between starts of any two pumps"),
    ("generator_spacing", "ms", 1000, 120000, 10000, PRACTICE, "the same while a generator carries the house"),
    ("min_run", "ms", 1000, 60000, 5000, PRACTICE, "a pump runs at least this long"),
    ("max_run", "ms", 60000, 7200000, 1200000, PRACTICE, "below lag the lead hands over after this run"),
    ("boot_hold", "ms", 2000, 60000, 10000, PRACTICE, "outputs stay off this long after a power-up"),
    ("start_proof", "ms", 500, 15000, 3000, PRACTICE, "current or feedback must be there within this time"),
    ("retry", "ms", 60000, 7200000, 600000, PRACTICE, "rest of a pump after a trip"),
    ("retries", "", 1, 10, 3, PRACTICE, "trips in a row that lock a pump out"),
    ("dry_run", "ms", 2000, 60000, 8000, PRACTICE, "underload this long is no water or no flow"),
    ("flood_retry", "ms", 60000, 1800000, 120000, OWN, "with high wet, a pump that is out is tried this often"),
    ("overload_time", "ms", 1000, 30000, 5000, PRACTICE, "overload this long trips the pump"),
    ("starts_per_hour", "", 2, 60, 15, "the motor's maker; " + PRACTICE, "starts of one pump in an hour that its motor bears"),
    ("moisture_trips", "", 0, 1, 0, PRACTICE, "1 when moisture in the seal chamber trips the pump"),
    ("duty", "", 0, 2, 0, PRACTICE, "0 alternate, 1 fixed, 2 run-time balancing"),
    ("primary", "", 1, 2, 1, OWN, "the pump that leads in fixed duty"),
    ("supply_1", "", 0, 2, 0, OWN, "pump 1 is fed by 0 mains, 1 battery, 2 either"),
    ("supply_2", "", 0, 2, 0, OWN, "pump 2 is fed by 0 mains, 1 battery, 2 either"),
    ("battery_pumps", "", 1, 2, 1, PRACTICE, "pumps that may run on the battery at once"),
    ("mains_settle", "ms", 1000, 120000, 15000, PRACTICE, "mains counts as back after this long"),
    ("flood_settle", "ms", 1000, 60000, 5000, OWN, "the same with high wet"),
    ("battery_low", "mV", 5000, 60000, 11900, PRACTICE, "below this at rest the battery is low (12 V lead-acid)"),
    ("battery_loaded", "mV", 5000, 60000, 11000, PRACTICE, "below this with a pump on it the battery is low"),
    ("battery_dead", "mV", 4000, 60000, 10500, PRACTICE, "below this the battery carries no pump"),
    ("charger_fitted", "", 0, 1, 0, OWN, "1 when a charger reports that it charges"),
    ("exercise", "days", 1, 60, 7, PRACTICE, "an idle pump is exercised after this long"),
    ("exercise_run", "ms", 5000, 60000, 10000, PRACTICE, "length of an exercise run"),
    ("pour_test", "days", 1, 365, 30, PRACTICE, "off dry this long asks for a bucket of water and a test"),
    ("hand_limit", "ms", 10000, 3600000, 300000, PRACTICE, "HAND goes back to AUTO after this run"),
    ("force_timeout", "ms", 5000, 600000, 60000, OWN, "forced inputs lapse this long after the last refresh"),
    ("inspection", "days", 1, 730, 90, PRACTICE, "an inspection is due this long after the last"),
    ("mains_grace", "ms", 10000, 3600000, 300000, PRACTICE, "an outage shorter than this, with lag dry, is no alarm"),
    ("not_keeping_up", "ms", 60000, 7200000, 600000, PRACTICE, "both pumps running this long do not keep up"),
    ("quiet", "ms", 60000, 7200000, 900000, PRACTICE, "a silenced alarm that comes back stays quiet this long"),
    ("remind_high", "ms", 300000, 86400000, 1800000, PRACTICE, "high water still there sounds again after this long"),
    ("remind_other", "ms", 600000, 86400000, 43200000, PRACTICE, "other alarms still there sound again after this long"),
    ("calls", "", 0, 1, 0, OWN, "0: one relay makes both calls for help; 1: the service relay makes its own"),
    ("service_call", "ms", 60000, 3600000, 600000, OWN, "one relay: a call for service holds it this long, once a day"),
    ("band_volume", "mL", 0, 17000000, 33360, SIZING, "water between off and lead; 0 = not known"),
    ("mains_fitted", "", 0, 1, 1, OWN, "1 when a mains-present input is wired; 0: the mains counts as present"),
    ("battery_age", "months", 0, 240, 48, PRACTICE, "a standby battery is old after this long; 0: nobody counts"),
    ("shelve_time", "ms", 600000, 86400000, 28800000, PRACTICE, "a shelved alarm makes no sound and no call this long"),
)

NAME = const(0)
UNIT = const(1)
LEAST = const(2)
MOST = const(3)
DEFAULT = const(4)
SOURCE = const(5)
MEANING = const(6)


def defaults() -> list[int]:
    """Return a new settings record that holds every default."""
    return [TABLE[i][4] for i in range(N_SETTINGS)]


def index(name: str) -> int:
    """Return the place of the setting `name`.  Raises ValueError naming the nearest thing to do."""
    for i in range(N_SETTINGS):
        if TABLE[i][0] == name:
            return i
    raise ValueError("unknown setting %r: the settings command lists them all" % (name,))


def _ranges(values: list[int], refusals: list[str]) -> None:
    for i in range(N_SETTINGS):
        unit, least, most = TABLE[i][1], TABLE[i][2], TABLE[i][3]
        value = values[i]
        if not isinstance(value, int) or not least <= value <= most:
            text = "%s = %r: a whole number from %d to %d" % (TABLE[i][0], value, least, most)
            refusals.append(text + (" " + unit if unit else ""))
        elif unit == "ms" and value % 100:
            refusals.append("%s = %d ms: a whole number of 100 ms steps" % (TABLE[i][0], value))


# (lower, upper, strictly, reason)
_ORDER = (
    (FLOOD_MIN_OFF_MS, LAG_MIN_OFF_MS, False, "the rest may only shrink as the water rises"),
    (LAG_MIN_OFF_MS, MIN_OFF_MS, False, "the rest may only shrink as the water rises"),
    (FLOOD_SETTLE_MS, MAINS_SETTLE_MS, False, "a flood may only shorten the settling"),
    (START_SPACING_MS, GENERATOR_SPACING_MS, False, "a generator needs at least the usual spacing"),
    (MIN_RUN_MS, DRY_RUN_MS, False, "a dry run must not be cut short before it is told from a start"),
    (DEBOUNCE_MS, SEQUENCE_TIME_MS, True, "a float must have time to follow its neighbour"),
    (START_PROOF_MS, DRY_RUN_MS, True, "a start is proved before its load is judged"),
    (DRY_RUN_MS, BLIND_RUN_MS, True, "a blind run must be long enough to judge its load"),
    (START_PROOF_MS, EXERCISE_RUN_MS, True, "an exercise must outlast the start proof"),
    (EXERCISE_RUN_MS, MAX_RUN_MS, True, "an exercise is a short run"),
    (FLOOD_RETRY_MS, RETRY_MS, False, "a flood may only shorten the rest after a trip"),
    (BLIND_RUN_MS, MAX_RUN_MS, False, "a run on no believed level is not a long run"),
    (FLOOD_MIN_OFF_MS, FLOOD_RETRY_MS, True, "a retry keeps the rest"),
    (START_PROOF_MS, FLOOD_MIN_OFF_MS, True, "a failed start must end before the next"),
    (REMIND_HIGH_MS, REMIND_OTHER_MS, False, "high water is never less urgent than the rest"),
)


def _order(values: list[int], refusals: list[str]) -> None:
    for low, high, strictly, why in _ORDER:
        a, b = values[low], values[high]
        if a > b or (strictly and a == b):
            names = (TABLE[low][0], a, "below" if strictly else "at most", TABLE[high][0], b, why)
            refusals.append("%s = %d: must be %s %s = %d, because %s" % names)


def _currents(values: list[int], refusals: list[str]) -> None:
    if values[SENSING] == SENSE_CURRENT:
        for n in range(2):
            _currents_of(n, values, refusals)


def _currents_of(n: int, values: list[int], refusals: list[str]) -> None:
    none, under, rated = values[NO_CURRENT_1_MA + n], values[UNDERLOAD_1_MA + n], values[RATED_1_MA + n]
    over, reach, k = values[OVERLOAD_1_MA + n], values[SENSOR_RANGE_1_MA + n], n + 1
    if under <= none:
        refusals.append("underload_%d = %d mA: must be above no_current_%d = %d mA" % (k, under, k, none))
    if not under < rated <= over < 3 * rated:
        refusals.append("pump %d: underload %d, rated %d, overload %d, locked rotor %d mA: must rise in this order"
                        % (k, under, rated, over, 3 * rated))
    if 3 * rated > reach:
        refusals.append("sensor_range_%d = %d mA: three times rated_%d, %d mA, must lie within it, or a locked rotor "
                        "is not seen: fit a sensor that reaches so far" % (k, reach, k, 3 * rated))


def _contacts(values: list[int], refusals: list[str]) -> None:
    fitted = values[FITTED]
    if not fitted & 8:
        refusals.append("fitted = %d: the high float (8) must be there, on its own pair of wires" % fitted)
    if values[NORMALLY_CLOSED] & ~fitted:
        refusals.append("normally_closed = %d: names a contact that is not fitted (%d)" % (values[3], fitted))
    if values[TRANSMITTER]:
        off, lead, lag = values[LEVEL_OFF_MM], values[LEVEL_LEAD_MM], values[LEVEL_LAG_MM]
        if not off + 20 <= lead or not lead + 20 <= lag or not lag < values[LEVEL_SPAN_MM]:
            refusals.append("level_off %d, level_lead %d, level_lag %d mm: must rise by 20 mm or more "
                            "and lie within level_span = %d mm" % (off, lead, lag, values[LEVEL_SPAN_MM]))
        return
    if not fitted & 2:
        refusals.append("fitted = %d: the lead float (2) must be there, or a transmitter" % fitted)
    if not fitted & 1 and values[SENSING] != SENSE_CURRENT:
        refusals.append("fitted = %d with sensing = %d: without the off float (1) and without motor current nothing tells "
                        "an empty pit from a hung float: fit the off float, or current sensors (sensing = 2)"
                        % (fitted, values[SENSING]))
    elif not fitted & 1 and not values[PUMP_DOWN_LEAD_MS]:
        refusals.append("fitted = %d with pump_down_lead = 0: fit the off float (1) or give a pump-down time" % fitted)


def _times(values: list[int], refusals: list[str]) -> None:
    lead, lag, high = values[PUMP_DOWN_LEAD_MS], values[PUMP_DOWN_LAG_MS], values[PUMP_DOWN_HIGH_MS]
    if lag and lead > lag:
        refusals.append("pump_down_lead = %d: must be at most pump_down_lag = %d, which starts higher" % (lead, lag))
    if high and lag > high:
        refusals.append("pump_down_lag = %d: must be at most pump_down_high = %d, which starts higher" % (lag, high))
    if max(lead, lag, high) > values[BLIND_RUN_MS]:
        refusals.append("blind_run = %d: must be at least the longest pump-down time, %d"
                        % (values[BLIND_RUN_MS], max(lead, lag, high)))
    if values[SENSING] != SENSE_CURRENT and values[BLIND_RUN_MS] > 120000:
        refusals.append("blind_run = %d: at most 120000 ms without current sensing, "
                        "because nothing else ends a dry run" % values[BLIND_RUN_MS])


def _supply(values: list[int], refusals: list[str]) -> None:
    if not values[BATTERY_DEAD_MV] < values[BATTERY_LOADED_MV] <= values[BATTERY_LOW_MV]:
        names = (values[BATTERY_DEAD_MV], values[BATTERY_LOADED_MV], values[BATTERY_LOW_MV])
        refusals.append("battery_dead %d, battery_loaded %d, battery_low %d mV: must rise in this order" % names)
    for n in range(2):
        if values[SUPPLY_1 + n] == EITHER and not values[MAINS_FITTED]:
            refusals.append("supply_%d = 2 (either) with mains_fitted = 0: wire the mains-present input, because "
                            "nothing else tells when the pump is on the battery" % (n + 1))


def check(values: list[int]) -> list[str]:
    """Return a list of refusals for a settings record, each a sentence; empty when it may be used."""
    if len(values) != N_SETTINGS:
        return ["settings record of %d values: must hold %d" % (len(values), N_SETTINGS)]
    refusals = []
    _ranges(values, refusals)
    if not refusals:
        for rule in (_order, _currents, _contacts, _times, _supply):
            rule(values, refusals)
    return refusals
