"""What the alarms of a run ask a person to do, each named once, the most urgent first."""

from duplexsump.control import alarm_table as at

from host_sim import alarm_words


def raised(trace):
    """Return the rows of the firmware's alarm table that were raised in a run, in the table's order."""
    names = {alarm.name for alarm in trace.alarms}
    return [row for row in at.TABLE if row[at.NAME] in names]


def advice(trace):
    """Return (alarm with its priority, what to do and what not to do) for each alarm raised in a run."""
    found = []
    for row in raised(trace):
        words = alarm_words.of(row[at.NAME])
        head = f"{row[at.TEXT]} ({at.PRIORITIES[row[at.PRIORITY]]})"
        found.append((head, f"{words.wrong} {words.do} {words.never}"))
    return found


def written(trace):
    """Return the same as lines of text, none where no alarm was raised."""
    return [f"{head}: {text}" for head, text in advice(trace)]
