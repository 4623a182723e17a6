"""The daily look as a text: one verdict, one line a figure, the alarms with their dates."""

from hil.remote import words

KINDS = {"mL": words.volume, "mL/min": words.flow}


def value(line, system="us"):
    """Return a line's figure as a text in the units of a system."""
    number, unit = line["value"], line["unit"]
    if number is None:
        return line["text"] or "not known"
    if unit in KINDS:
        return KINDS[unit](number, system)
    if unit == "mV":
        return f"{number / 1000:.1f} V" + (f" ({line['text']})" if line["text"] else "")
    if unit == "min" and line["name"] == "time to floor":
        return words.at_least(number) + (f" ({line['text']})" if line["text"] else "")
    if unit == "min":
        return f"{number:.0f} min"
    if unit == "days" and "run" in line["name"]:
        return "today" if number < 1 else f"{number:.0f} days ago"
    text = f"{number:g} {unit}".strip()
    return f"{text} {line['text']}".strip()


def message(look, pit, system="us"):
    """Return (title, body) of a daily message.  Raises KeyError and the like where `look` has not the shape of one."""
    bad = [line["name"] for line in look["lines"] if not line["well"]]
    title = f"Pit {pit}: " + (
        "all is well" if look["well"] and not bad else "look at " + ", ".join(str(b) for b in bad[:4])
    )
    width = max(len(line["name"]) for line in look["lines"])
    lines = [f"{'' if line['well'] else '! '}{line['name']:{width}}  {value(line, system)}" for line in look["lines"]]
    for alarm in look["alarms"]:
        until = f"until {words.moment(alarm['ended'])}" if alarm["ended"] else "still active"
        lines.append(f"  {words.moment(alarm['began'])}  {alarm['text']} ({alarm['priority']}), {until}")
    return title[:150], "\n".join(lines)[:6000]
