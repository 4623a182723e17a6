"""What `sumpbench watch` shows: one screen of a running board, as a rich table from what the link gave."""

from duplexsump.control import alarm_table, alarms
from duplexsump.control.pump import CAUSES, STATES
from duplexsump.control.records import CONTACT_NAMES, CURRENT_NAMES
from rich.console import Group
from rich.table import Table
from rich.text import Text

from host_sim import alarm_words

SELECTORS = ("AUTO", "OFF", "HAND")
RESETS = ("power-up", "watchdog", "asked for")


def _names(mask, names):
    return ", ".join(name for i, name in enumerate(names) if mask >> i & 1) or "none"


def contact_line(states):
    """Return the contacts as words, top one first: "high dry, lag dry, lead WET, off WET (suspect)"."""
    words = []
    for i in reversed(range(4)):
        word = f"{CONTACT_NAMES[i]} {'WET' if states['wet'] >> i & 1 else 'dry'}"
        words.append(word + (" (not believed)" if states["suspect"] >> i & 1 else ""))
    return ", ".join(words)


def alarm_lines(states, alarm_states):
    """Return [(priority, text, state, what to do)] of every alarm that is not normal, the most urgent first."""
    found = []
    for i, row in enumerate(alarm_table.TABLE):
        if alarm_states[i]:
            priority = alarm_table.PRIORITIES[row[alarm_table.PRIORITY]]
            state = alarms.STATES[alarm_states[i]].replace("_", ", ")
            found.append((priority, row[alarm_table.TEXT], state, alarm_words.of(row[alarm_table.NAME]).do))
    return found


def build(values, states, alarm_states, sensing, port):
    """Return one screen.  `sensing` is the setting of that name: without it there is no current to show."""
    head = Table.grid(padding=(0, 2))
    head.add_row("board", f"{port}, up {values['uptime']} min after {RESETS[min(2, values['reset_cause'])]}, "
                 f"firmware {values['firmware']:08x}")
    head.add_row("contacts", contact_line(states))
    head.add_row("asks for", f"{values['demand']} pump(s)" + (", blind pumping" if values["blind"] else ""))
    names = ("HORN", "beacon", "alarm relay energised", "service relay energised", "status light")
    head.add_row("outputs", _names(states["outputs"] >> 2, names))
    supply = "mains present" if states["mains"] else "MAINS OUT"
    head.add_row("supply", f"{supply}, battery {values['battery'] / 1000:.1f} V" if values["battery"] else supply)
    head.add_row("inflow", f"{values['inflow'] / 1000:.1f} L/min at the last fill")
    head.add_row("journal", f"segments {values['journal_first']} to {values['journal_last']}, "
                 f"{values['storage_faults']} file errors")
    return Group(head, Text(""), _pumps(values, states, sensing), Text(""), _alarms(states, alarm_states))


def _pumps(values, states, sensing):
    table = Table(box=None, header_style="bold", pad_edge=False)
    for heading in ("pump", "output", "state", "selector", "current", "starts", "run time", "pump rate", "last fault"):
        table.add_column(heading)
    for n in (1, 2):
        current = "not sensed"
        if sensing == 2:
            current = f"{values[f'current_{n}'] / 1000:.1f} A {CURRENT_NAMES[values[f'current_band_{n}']]}"
        elif sensing == 1:
            current = "feedback made" if values[f"current_{n}"] else "no feedback"
        table.add_row(
            str(n), "ON" if states["outputs"] >> (n - 1) & 1 else "off", STATES[values[f"pump_{n}_state"]],
            SELECTORS[values[f"selector_{n}"]], current, str(values[f"starts_{n}"]),
            f"{values[f'run_{n}'] / 3600:.2f} h",
            f"{values[f'rate_{n}'] / 1000:.0f} L/min", CAUSES[values[f"pump_{n}_cause"]],
        )  # fmt: skip
    return table


def _alarms(states, alarm_states):
    lines = alarm_lines(states, alarm_states)
    if not lines:
        return Text("No alarm.")
    table = Table(box=None, header_style="bold", pad_edge=False)
    for heading in ("priority", "alarm", "state", "what to do"):
        table.add_column(heading)
    for line in lines:
        table.add_row(*line)
    return table


def read(client):
    """Return (values, states, alarm states, sensing) from a board, for `build`."""
    from duplexsump.control import settings as s
    from duplexsump.station import registers as r

    alarm_states = client.words(r.ALARM_STATES_AT, alarm_table.COUNT)
    sensing = client.words(2 * s.SENSING + 1, 1, 3)[0]
    return client.values(), client.states(), alarm_states, sensing
