"""What of a board's table a settings record has no use for: nothing is built, bought or proved for it."""

from duplexsump.control import records
from duplexsump.control import settings as s

SENSORS, LOOP, BATTERY = "no current sensors", "no level transmitter", "its pin reads the loop"
FLOAT, MAINS, CHARGER = "no such float", "mains relay not fitted", "charger's contact not fitted"


def absent(rows, values):
    """Return {name of a Signal: why} of those that a settings record (a list) leaves out.

    Raises nothing.  Example: a site without current sensors, {"current 1": "no current sensors", ...}.
    """
    found = {}
    loops = [one.pin for one in rows if one.electrical == "loop" and values[s.TRANSMITTER]]
    for one in rows:
        why = _why(one, values, loops)
        if why:
            found[one.name] = why
    return found


def _why(one, values, loops):
    if one.electrical == "current":
        return "" if values[s.SENSING] else SENSORS
    if one.electrical == "loop":
        return "" if values[s.TRANSMITTER] else LOOP
    if one.electrical == "battery":
        return BATTERY if one.pin in loops else ""
    if one.place == records.IN_CONTACTS:
        return "" if values[s.FITTED] & one.level else FLOAT
    if one.place == records.IN_MAINS:
        return "" if values[s.MAINS_FITTED] else MAINS
    if one.place == records.IN_CHARGER:
        return "" if values[s.CHARGER_FITTED] else CHARGER
    return ""
