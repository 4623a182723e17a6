"""What a board can read: settings that ask for an input which it lacks, or for more than it reads, are refused (M4).

A board tells its inputs as rows (place in the raw record, pin, full scale; 0 for
a contact), and how much of the full scale it reads, in percent.
"""

from ..control import settings as s
from ..control.bands import BATTERY_BAND_MV
from ..control.records import (
    IN_BATTERY,
    IN_CHARGER,
    IN_CURRENT_1,
    IN_LEVEL,
    IN_MAINS,
    IN_MOISTURE_1,
)


def _row(inputs: list, place: int) -> "tuple[int, int, int] | None":
    for row in inputs:
        if row[0] == place:
            return row
    return None


def refusal(values: list[int], inputs: "list[tuple[int, int, int]] | None", reach: int) -> str:
    """Return why a board cannot run with a settings record, in at most 120 letters; nothing when it can.

    `inputs` None: a board that is given every reading.
    """
    if inputs is None:
        return ""
    for setting, place in (
        (s.TRANSMITTER, IN_LEVEL),
        (s.CHARGER_FITTED, IN_CHARGER),
        (s.MOISTURE_TRIPS, IN_MOISTURE_1),
        (s.MAINS_FITTED, IN_MAINS),
    ):
        if values[setting] and _row(inputs, place) is None:
            return "%s = 1: this board has no input for it, set it to 0" % s.TABLE[setting][0]
    return _currents(values, inputs, reach) or _battery(values, inputs, reach)


def _currents(values: list[int], inputs: list, reach: int) -> str:
    for n in range(2):
        most = values[s.SENSOR_RANGE_1_MA + n] * reach // 100
        if values[s.SENSING] == s.SENSE_CURRENT and 3 * values[s.RATED_1_MA + n] > most:
            return ("sensor_range_%d: this board reads %d mA of it, a locked rotor draws %d: fit a larger sensor"
                    % (n + 1, most, 3 * values[s.RATED_1_MA + n]))
        if values[s.SENSING] and _row(inputs, IN_CURRENT_1 + n) is None:
            return "sensing = %d: this board has no input for it, set it to 0" % values[s.SENSING]
    return ""


def _battery(values: list[int], inputs: list, reach: int) -> str:
    if values[s.SUPPLY_1] == s.MAINS and values[s.SUPPLY_2] == s.MAINS:
        return ""
    row = _row(inputs, IN_BATTERY)
    if row is None:
        return "a pump on the battery: this board has no input for its voltage"
    loop = _row(inputs, IN_LEVEL)
    if values[s.TRANSMITTER] and loop is not None and loop[1] == row[1]:
        return ("transmitter and a pump on the battery: both read at GP%d here; use floats, or a board with a pin for "
                "each" % row[1])
    most = row[2] * reach // 100
    if values[s.BATTERY_LOW_MV] + BATTERY_BAND_MV > most:
        return "battery_low = %d mV: this board reads up to %d mV" % (values[s.BATTERY_LOW_MV], most)
    return ""
