"""What the alarms of a run ask a person to do, each named once, the most urgent first."""

from duplexsump.control import alarm_table as at

from host_sim import alarm_words
from host_sim.report import calls


def raised(trace):
    """Return the rows of the firmware's alarm table that were raised in a run, in the table's order."""
    names = {alarm.name for alarm in trace.alarms}
    return [row for row in at.TABLE if row[at.NAME] in names]


def advice(trace):
    """Return (alarm with its priority, its words but for the reason) for each alarm raised in a run."""
    found = []
    for row in raised(trace):
        words = alarm_words.of(row[at.NAME])
        head = f"{row[at.TEXT]} ({at.PRIORITIES[row[at.PRIORITY]]})"
        found.append((head, f"{words.wrong} Likely: {words.causes}. Do: {words.do} Caution: {words.never}"))
    return found


def written(trace):
    """Return the same as lines of text, none where no alarm was raised; the last says how long an alarm calls."""
    return [f"{head}: {text}" for head, text in advice(trace)] + ([calls.UNSEEN] if calling(trace) else [])


def calling(trace):
    """Whether an alarm of a run called anybody: a low one does not."""
    return any(alarm_words.call(row) != "none" for row in raised(trace))
