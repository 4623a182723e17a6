"""The register map: one table, from which the board answers and the documentation is printed.

A row is (name, unit, width, meaning, getter).  For bits `width` is their number
and the getter returns a mask; for words it is 1 or 2 (high word first), a
negative number is sent as two's complement.  Rows of a space lie one behind the
other from the space's first address on.  Addresses are counted from 0.
"""

from ..control import alarm_table
from ..control import settings as s
from ..control.records import (
    IN_BATTERY,
    IN_BOARD,
    IN_CHARGER,
    IN_CHATTER,
    IN_CONTACTS,
    IN_CURRENT_1,
    IN_CURRENT_2,
    IN_GENERATOR,
    IN_JUMPER,
    IN_LEVEL,
    IN_MAINS,
    IN_MOISTURE_1,
    IN_MOISTURE_2,
    IN_RESET,
    IN_SELECTOR_1,
    IN_SELECTOR_2,
    IN_SILENCE,
    IN_THERMAL_1,
    IN_THERMAL_2,
    IN_TRANSMITTER,
)
from ..control.ticks import const

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Station

MAP_VERSION = const(5)  # 5: no alarms of lockouts
SIGNATURE = const(0x5342)

# Coils: a command bit acts once when written 1 and reads 0; force bits stay until they lapse (M2).
COMMANDS = (
    ("silence", "acknowledge what there is, stop the horn"),
    ("reset", "end lockouts, latched alarms and suspicion"),
    ("inspected", "record that somebody has inspected the pit"),
    ("test", "horn, beacon, alarm relay and service relay for 5 s, with no alarm"),
    ("battery_replaced", "record that the standby battery is new"),
)
FORCES = ("off", "lead", "lag", "high", "mains", "current_1", "current_2", "thermal_1", "thermal_2")
N_COMMANDS = const(5)
N_FORCES = const(9)
FORCE_MASK_AT = const(16)
FORCE_VALUE_AT = const(32)
N_COILS = const(41)

# Holding registers: the settings two words each, then what asks for something.
COMMIT_AT = const(170)
SHELVE_AT = const(171)
CLOCK_AT = const(180)
WINDOW_AT = const(184)  # journal segment (2 words), offset (2 words)
MAINTENANCE_AT = const(190)
RESET_AT = const(191)
COMMIT_KEY = const(0x0C17)
MAINTENANCE_KEY = const(0x4D36)
RESET_KEY = const(0x5253)
CONTROL_ROWS = (
    (COMMIT_AT, 1, "commit", "write 3095 (0x0C17): check the staged settings as a set and put them in force; "
     "any refusal discards them all (see refusal)"),
    (SHELVE_AT, 1, "shelve", "write 1 + the number of an alarm: it makes no sound and no call for shelve_time "
     "(never high water); 63: no alarm is shelved; reads the same, 0: none"),
    (CLOCK_AT, 2, "clock", "clock time in s since 1970-01-01, 0: not set; only for people who read the journal"),
    (WINDOW_AT, 2, "journal_segment", "segment that the journal window shows"),
    (WINDOW_AT + 2, 2, "journal_offset", "byte of the segment at which the window begins"),
    (MAINTENANCE_AT, 1, "maintenance", "write 19766 (0x4D36): reset into maintenance, outputs safe, for 10 min at "
     "most; refused while lead is wet"),
    (RESET_AT, 1, "restart", "write 21075 (0x5253): reset the board"),
)  # fmt: skip

# Input registers.
TEXT_AT = const(400)
REFUSAL_WORDS = const(60)
REASON_AT = const(460)
REASON_WORDS = const(40)
WINDOW_HEAD_AT = const(1000)  # segment (2), offset (2), bytes that hold (1)
WINDOW_DATA_AT = const(1005)
WINDOW_WORDS = const(120)


def _outputs(st: "Station") -> int:
    out = st.controller.out
    return out[0] | out[1] << 1 | out[2] << 2 | out[3] << 3 | out[4] << 4 | out[5] << 5 | out[6] << 6


def _open_thermal(st: "Station") -> int:
    return st.inputs[IN_THERMAL_1] | st.inputs[IN_THERMAL_2] << 1


def _pressed(st: "Station") -> int:
    return st.raw[IN_SILENCE] | st.raw[IN_RESET] << 1


def _moisture(st: "Station") -> int:
    return st.raw[IN_MOISTURE_1] | st.raw[IN_MOISTURE_2] << 1


# Discrete inputs; an alarm's bits are worked out one by one, for more than 30 of them are no small integer.
BIT_ROWS = (
    ("wet", 4, "contacts off, lead, lag, high, debounced: 1 = wet", lambda st: st.controller.contacts.wet),
    ("believed", 4, "the same among those that are believed", lambda st: st.controller.belief.wet),
    ("suspect", 4, "contacts that are not believed", lambda st: st.controller.belief.suspect),
    ("chattering", 4, "contacts held wet because they chatter", lambda st: st.inputs[IN_CHATTER]),
    ("outputs", 7, "pump 1, pump 2, horn, beacon, alarm relay, service relay, status light", _outputs),
    ("available", 2, "pumps 1, 2 in AUTO, supplied, not resting for retry, not locked out",
     lambda st: st.controller.pair.available),
    ("mains", 1, "mains present", lambda st: st.inputs[IN_MAINS]),
    ("charging", 1, "charger reports that it charges", lambda st: st.inputs[IN_CHARGER]),
    ("jumper", 1, "test jumper made", lambda st: st.inputs[IN_JUMPER]),
    ("thermal", 2, "thermal contacts of pumps 1, 2 open", _open_thermal),
    ("clock_fault", 1, "the clock jumped or a step came a day late", lambda st: st.controller.clock_fault),
    ("storage_fault", 1, "the journal cannot be written", lambda st: 1 if st.recorder.failing else 0),
    ("staged", 1, "settings are staged that differ from those in force", lambda st: 1 if st.staging() else 0),
    ("closed", 4, "contacts off, lead, lag, high as read at the last tick: 1 = electrically closed",
     lambda st: st.raw[IN_CONTACTS]),
    ("pressed", 2, "push buttons silence, reset as read at the last tick", _pressed),
    ("moisture", 2, "moisture in the seal chamber of pumps 1, 2", _moisture),
    ("generator", 1, "the mains comes from a generator", lambda st: st.raw[IN_GENERATOR]),
    ("board_faults", 3, "of the board's own parts: I2C expander silent (what it reads counts as not made), converter "
     "beside it silent or stuck (the battery counts as full), storage", lambda st: st.raw[IN_BOARD]),
)  # fmt: skip
ALARMS_ACTIVE_AT = const(64)  # one bit an alarm, in the order of the alarm table: its condition holds
ALARMS_STANDING_AT = const(112)  # one bit an alarm: not normal
N_BITS = ALARMS_STANDING_AT + alarm_table.COUNT

WORD_ROWS = (
    ("signature", "", 1, "0x5342, by which a client knows what it speaks to", lambda st: SIGNATURE),
    ("map_version", "", 1, "version of this register map", lambda st: MAP_VERSION),
    ("firmware", "", 2, "checksum of the firmware: CRC-32 of its sources", lambda st: st.checksum),
    ("mode", "", 1, "0 full, 1 control only", lambda st: st.mode),
    ("reset_cause", "", 1, "0 power-up, 1 watchdog, 2 asked for", lambda st: st.board.RESET_CAUSE),
    ("now", "ms", 2, "the controller's time, a 30-bit ring", lambda st: st.controller.now),
    ("uptime", "min", 2, "since the last power-up", lambda st: st.controller.uptime_min),
    ("clock", "s", 2, "since 1970-01-01, 0: not set", lambda st: st.wall_now_s()),
    ("inspection", "min", 2, "since the last inspection was recorded", lambda st: st.controller.inspection_min),
    ("demand", "", 1, "pumps that the level asks for", lambda st: st.controller.demand.demand),
    ("blind", "", 1, "blind pumping: why, 0 none", lambda st: int(st.controller.blind.reason)),
    ("lead", "", 1, "pump that leads now: 1, 2, 0 none", lambda st: st.controller.pair.lead + 1),
    ("pump_1_state", "", 1, "0 idle, 1 starting, 2 running, 3 retry, 4 locked out",
     lambda st: st.controller.pumps[0].state),
    ("pump_2_state", "", 1, "the same of pump 2", lambda st: st.controller.pumps[1].state),
    ("pump_1_cause", "", 1, "last fault: 0 none, 1 failed to start, 2 run lost, 3 not pumping, 4 overload, 5 moisture, "
     "6 thermal contact", lambda st: st.controller.pumps[0].cause),
    ("pump_2_cause", "", 1, "the same of pump 2", lambda st: st.controller.pumps[1].cause),
    ("selector_1", "", 1, "0 auto, 1 off, 2 hand", lambda st: st.inputs[IN_SELECTOR_1]),
    ("selector_2", "", 1, "the same of pump 2", lambda st: st.inputs[IN_SELECTOR_2]),
    ("current_1", "mA", 2, "current of pump 1, or 1 while run feedback is made", lambda st: st.raw[IN_CURRENT_1]),
    ("current_2", "mA", 2, "the same of pump 2", lambda st: st.raw[IN_CURRENT_2]),
    ("current_band_1", "", 1, "0 none, 1 under, 2 normal, 3 over, 4 locked rotor",
     lambda st: st.inputs[IN_CURRENT_1]),
    ("current_band_2", "", 1, "the same of pump 2", lambda st: st.inputs[IN_CURRENT_2]),
    ("loop", "uA", 1, "loop current of the level transmitter", lambda st: st.raw[IN_LEVEL]),
    ("level", "mm", 1, "level above the transmitter's datum, signed", lambda st: st.bands.level_mm(st.raw[IN_LEVEL])),
    ("transmitter", "", 1, "0 ok, 1 low, 2 high", lambda st: st.inputs[IN_TRANSMITTER]),
    ("battery", "mV", 2, "battery voltage", lambda st: st.raw[IN_BATTERY]),
    ("battery_band", "", 1, "0 good, 1 low, 2 dead", lambda st: st.inputs[IN_BATTERY]),
    ("starts_1", "", 2, "starts of pump 1", lambda st: st.controller.pumps[0].starts),
    ("starts_2", "", 2, "starts of pump 2", lambda st: st.controller.pumps[1].starts),
    ("run_1", "s", 2, "run time of pump 1", lambda st: st.controller.history.run_s[0]),
    ("run_2", "s", 2, "run time of pump 2", lambda st: st.controller.history.run_s[1]),
    ("trips_1", "", 2, "trips of pump 1", lambda st: st.controller.pumps[0].trips),
    ("trips_2", "", 2, "trips of pump 2", lambda st: st.controller.pumps[1].trips),
    ("lag_reached", "", 2, "how often the water has reached lag", lambda st: st.controller.history.lag_reached),
    ("long_runs", "", 2, "runs past max_run", lambda st: st.controller.history.long_runs),
    ("hand_overruns", "", 2, "runs in HAND that met hand_limit", lambda st: st.controller.history.hand_overruns),
    ("inflow", "mL/min", 2, "inflow by the last fill", lambda st: st.controller.history.inflow_ml_min),
    ("rate_1", "mL/min", 2, "pump rate of pump 1", lambda st: st.controller.history.rate_ml_min[0]),
    ("rate_2", "mL/min", 2, "pump rate of pump 2", lambda st: st.controller.history.rate_ml_min[1]),
    ("wear_1", "%", 1, "loss of pump rate since new, pump 1", lambda st: st.controller.history.wear_percent(0)),
    ("wear_2", "%", 1, "the same of pump 2", lambda st: st.controller.history.wear_percent(1)),
    ("peak_inflow", "mL/min", 2, "the highest inflow of late, half forgotten in a season",
     lambda st: st.controller.history.peak_ml_min),
    ("exercises_1", "", 1, "the last four exercises of pump 1, two bits each, the newest lowest: 0 none, 1 passed, "
     "2 the battery did not bear it, 3 failed", lambda st: st.controller.exercise.verdicts[0]),
    ("exercises_2", "", 1, "the same of pump 2", lambda st: st.controller.exercise.verdicts[1]),
    ("battery_age", "min", 2, "since a new standby battery was recorded", lambda st: st.controller.battery_min),
    ("settings_slot", "", 1, "0 slot a, 1 slot b, -1 no sound slot: the defaults hold", lambda st: st.store.slot),
    ("settings_sequence", "", 2, "how often settings have been put in force", lambda st: st.store.sequence),
    ("journal_first", "", 2, "oldest segment", lambda st: st.recorder.journal.first),
    ("journal_last", "", 2, "the open segment", lambda st: st.recorder.journal.number),
    ("journal_bytes", "", 2, "bytes of the open segment", lambda st: st.recorder.journal.size),
    ("journal_records", "", 2, "records since the power-up", lambda st: st.recorder.journal.records),
    ("journal_flushes", "", 2, "flushes since the power-up", lambda st: st.recorder.journal.flushes),
    ("storage_faults", "", 1, "file errors since the power-up", lambda st: st.recorder.faults),
    ("passes", "", 2, "passes of the loop, a ring of 28 bits", lambda st: st.passes),
    ("longest_pass", "ms", 1, "longest pass since the power-up", lambda st: st.longest_pass_ms),
    ("overruns", "", 1, "passes of over 500 ms", lambda st: st.overruns),
    ("bad_frames", "", 2, "frames that were dropped since the power-up", lambda st: st.bad_frames()),
    ("heap_free", "bytes", 2, "free after a collection at a quiet instant, 0: none yet", lambda st: st.heap_free),
)  # fmt: skip
ALARM_STATES_AT = const(200)  # one word an alarm: 0 normal .. 5, see the alarm states
N_SETTING_WORDS = 2 * s.N_SETTINGS
