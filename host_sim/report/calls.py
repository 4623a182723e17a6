"""What each priority of alarm means to the people in the house: relays, horn, reminders, for how long (A2, A3).

Times are those of the firmware: its stages of the horn, and the settings as delivered.
"""

from duplexsump.control import alarms
from duplexsump.control import settings as s

from host_sim.report.clock import lasting

# How long an alarm that has cleared goes on calling, for a screen that shows one.
UNSEEN = (
    "A high or medium alarm that has cleared calls for an hour more; then only the beacon stays on, until somebody has "
    "looked and presses SILENCE: the cause may come back."
)


def _setting(place):
    return lasting(s.TABLE[place][s.DEFAULT] / 1000)


def _rings(first):
    # [(s after the first sound, s that the horn sounds)] of the stages from `first` on, up to the one that lasts 0 ms.
    found, at_ms, stage = [], 0, first
    while alarms.BELL_MS[stage]:
        if stage & 1:
            found.append((at_ms / 1000, alarms.BELL_MS[stage] / 1000))
        at_ms += alarms.BELL_MS[stage]
        stage += 1
    return found


def _minutes(times):
    words = [f"{round(at_s / 60)}" for at_s, _ in times]
    return f"{', '.join(words[:-1])} and {words[-1]} min"


def words():
    """Return {"high", "medium", "low": a paragraph}: who is called, how, and for how long."""
    medium, high = _rings(alarms.MEDIUM_BELL), _rings(alarms.HIGH_BELL)
    gap_ms = alarms.BELL_MS[alarms.RETURNED_BELL]
    over = [(at_s + gap_ms / 1000, long_s) for at_s, long_s in _rings(alarms.RETURNED_BELL + 1)]
    late = f"{lasting(alarms.BELL_ON_MS / 1000)} every {lasting((alarms.BELL_ON_MS + alarms.BELL_OFF_MS) / 1000)}"
    call = _setting(s.SERVICE_CALL_MS)
    cleared = (f"Cleared, but acknowledged by nobody: {lasting(over[0][1])} of horn {_minutes(over)} after that and no "
               "more; the relay {relay} until then, the beacon stays on until somebody presses SILENCE.")  # fmt: skip
    again = f"Acknowledged and still there after {_setting(s.REMIND_OTHER_MS)} (`remind_other`), it sounds anew."
    return {
        "high": "HIGH: the floor may soon be wet. The alarm relay drops. The horn sounds as long as high water stands; "
        f"for the others {lasting(high[0][1])}, then {lasting(high[1][1])} each hour for {len(high) - 1} h, then "
        f"{late} until somebody acknowledges it (SILENCE). {again[:-1]}; high water after "
        f"{_setting(s.REMIND_HIGH_MS)} (`remind_high`). {cleared.format(relay='stays dropped')}",
        "medium": f"MEDIUM: something needs a person within days. The service relay drops (with one relay wired, the "
        f"alarm relay for {call} a day, `service_call`). The horn sounds for {lasting(medium[0][1])}, then "
        f"{lasting(medium[1][1])} at {_minutes(medium[1:])}, then {late} until somebody acknowledges it (SILENCE). "
        f"{again} {cleared.format(relay=f'stays dropped (the one relay: {call} a day)')}",
        "low": "LOW: something to see to at the next visit. No relay drops and no horn sounds; it is listed.",
    }  # fmt: skip
