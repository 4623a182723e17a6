"""The words of the watchman's messages: a title that tells it all, and a body that says what to do and what not to."""

from hil.remote import words

MOST = 6  # alarms that a message says more of than their names


def opening(pit, mine, waited_s):
    """Return the title of an episode's first message; `waited_s`: for how long nobody has acknowledged, or None."""
    more = f" and {len(mine) - 1} more" if len(mine) > 1 else ""
    late = "" if waited_s is None else f" (nobody has acknowledged it for {words.span(waited_s / 60.0)})"
    return f"{mine[0]['priority'].upper()}: pit {pit}: {mine[0]['text']}{more}{late}"


def also(pit, ripe, mine):
    """Return the title of an update that has something new."""
    return f"{ripe[0]['priority'].upper()}: pit {pit}: also {', '.join(c['text'] for c in ripe[:3])}{_count(mine)}"


def update(pit, cleared, mine):
    """Return the title of an update of what has cleared."""
    return f"UPDATE: pit {pit}: cleared: {', '.join(cleared[:3])}{_count(mine)}"


def again(pit, mine):
    """Return the title of a reminder."""
    return f"HIGH: pit {pit}: {mine[0]['text']} (still active, nobody has acknowledged it)"


def all_clear(pit, cleared, began, ended):
    """Return (title, body) of the end of an episode."""
    took = words.span((ended - began) / 60.0)
    return f"ALL CLEAR: pit {pit}", f"Cleared: {', '.join(cleared)}.\nIt began {words.moment(began)} and lasted {took}."


def body(state, mine, cleared, floor):
    """Return what follows the title: each alarm, what to do and not to do, what has cleared, the time to floor."""
    parts = [_alarm(c, state["first"][c["name"]]) for c in mine[:MOST]]
    if mine[MOST:]:
        parts.append("Besides: " + ", ".join(c["text"] for c in mine[MOST:]))
    if cleared:
        parts.append("Cleared: " + ", ".join(cleared))
    silent = [c for c in mine if c["silence"]]
    if floor is not None:
        when = "when last heard" if silent else "now"
        parts.append(f"Time to floor if both pumps stopped {when}: {words.at_least(floor)}.")
    if mine and all(c["name"] in state["acknowledged"] for c in mine):
        parts.append(f"Acknowledged {state['by']}.")
    elif mine:
        press = "" if len(silent) == len(mine) else "Press silence at the pit, or "
        parts.append(f"{press or 'To take charge '}run sumpbench acknowledge, so that nobody else is called.")
    return "\n".join(parts)


def _alarm(condition, first):
    lines = [f"{condition['priority'].upper()}: {condition['text']}, since {words.moment(first)}"]
    lines += [f"  {condition[part]}" for part in ("wrong", "cause") if condition[part]]
    lines.append(f"  What to do: {condition['do']}")
    lines += [f"  Caution: {condition['never']}"] if condition["never"] else []
    return "\n".join(lines)


def _count(mine):
    return f" ({len(mine)} alarms active)" if len(mine) > 1 else ""
