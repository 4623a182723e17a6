"""What `sumpbench watch` shows: one screen of a running board, as a rich table of the register values."""

import time

from duplexsump.control import alarm_table, alarms
from duplexsump.control import settings as s
from duplexsump.control.pump import CAUSES, STATES
from duplexsump.control.records import CONTACT_NAMES, CURRENT_NAMES
from duplexsump.station import registers as r
from rich.console import Group
from rich.table import Table
from rich.text import Text

from host_sim import alarm_words, units

SELECTORS = ("AUTO", "OFF", "HAND")
RESETS = ("power-up", "watchdog reset", "requested reset")
OUTPUTS = ("HORN", "beacon", "alarm relay energized", "service relay energized", "status light")
CURRENTS = dict(zip(CURRENT_NAMES, ("no current", "underload", "normal", "overload", "locked rotor"), strict=True))
ALARM_STATES = {alarms.RETURNED: "cleared, unacknowledged"}
FLOW_DECIMALS = {"us": 1, "si": 2}
M3S_PER_ML_MIN = 1e-6 / 60.0


def _names(mask, names):
    return ", ".join(name for i, name in enumerate(names) if mask >> i & 1) or "none"


def contact_line(states):
    """Return the contacts in words, the highest first: "high dry, lag dry, lead WET (suspect), off WET"."""
    words = []
    for i in reversed(range(4)):
        word = f"{CONTACT_NAMES[i]} {'WET' if states['wet'] >> i & 1 else 'dry'}"
        words.append(word + (" (suspect)" if states["suspect"] >> i & 1 else ""))
    return ", ".join(words)


def alarm_lines(alarm_states):
    """Return [(priority, text, state, what to do)] of every alarm that is not normal, the most urgent first."""
    found = []
    for state, row in zip(alarm_states, alarm_table.TABLE, strict=True):
        if state:
            priority = alarm_table.PRIORITIES[row[alarm_table.PRIORITY]]
            words = ALARM_STATES.get(state, alarms.STATES[state].replace("_", ", "))
            found.append((priority, row[alarm_table.TEXT], words, alarm_words.of(row[alarm_table.NAME]).do))
    return found


def flow(ml_min, system):
    """Return a flow register (mL/min) as a text in the units of a system, "us" or "si"."""
    value = units.convert(ml_min * M3S_PER_ML_MIN, "flow", system)
    return f"{value:.{FLOW_DECIMALS[system]}f} {units.unit('flow', system)}"


class Recent:
    """What one reading does not show: the last run, the water of today.  Seen while looking on, nothing before.

    `see(values, states, now)` returns a text for the screen; `now` in s since 1970-01-01.
    """

    def __init__(self, client):
        self.began = [None, None]
        self.last = ""
        self.counters = None  # the run times when looking on, or the day, began
        self.day = None

    def see(self, values, states, now):
        """Return (last run, mL pumped, since when) after one more reading."""
        day = time.localtime(now).tm_yday
        if self.day != day:
            self.day, self.since = day, now
            self.counters = [values["run_1"], values["run_2"]]
        for n in range(2):
            on = states["outputs"] >> n & 1
            if on and self.began[n] is None:
                self.began[n] = now
            elif not on and self.began[n] is not None:
                at = time.strftime("%H:%M", time.localtime(self.began[n]))
                self.last = f"pump {n + 1} at {at}, {now - self.began[n]:.0f} s"
                self.began[n] = None
        seconds = [max(0, values[f"run_{n + 1}"] - self.counters[n]) for n in range(2)]
        return self.last, sum(s_ / 60.0 * values[f"rate_{n + 1}"] for n, s_ in enumerate(seconds)), self.since


def build(values, states, alarm_states, sensing, port, system="us", recent=None):
    """Return one screen, its figures in the units of `system`.  `sensing` is the board's setting of that name.

    `recent`: what `Recent.see` returned, None to leave it out.
    """
    head = Table.grid(padding=(0, 2))
    cause = RESETS[min(2, values["reset_cause"])]
    head.add_row("board", f"{port}, up {values['uptime']} min since {cause}, firmware {values['firmware']:08x}")
    head.add_row("floats", contact_line(states))
    head.add_row("pumps called", f"{values['demand']}" + (", blind pumping" if values["blind"] else ""))
    head.add_row("outputs on", _names(states["outputs"] >> 2, OUTPUTS))
    supply = "mains on" if states["mains"] else "MAINS OUT"
    head.add_row("supply", f"{supply}, battery {values['battery'] / 1000:.1f} V" if values["battery"] else supply)
    head.add_row("inflow", f"{flow(values['inflow'], system)} at the last fill")
    if recent is not None:
        last, ml, since = recent
        amount = units.convert(ml * 1e-6, "volume", system)
        begin = time.strftime("%H:%M", time.localtime(since))
        head.add_row("water", f"{amount:,.0f} {units.unit('volume', system)} pumped since {begin}")
        head.add_row("last run", last or f"none seen since {begin}")
    head.add_row("inspection", f"{values.get('inspection', 0) // 1440} days since the last")
    segments = f"segments {values['journal_first']} to {values['journal_last']}"
    head.add_row("journal", f"{segments}, {values['storage_faults']} file errors")
    return Group(head, Text(""), _pumps(values, states, sensing, system), Text(""), _alarms(alarm_states))


def _pumps(values, states, sensing, system):
    table = Table(box=None, header_style="bold", pad_edge=False)
    headings = ("pump", "output", "state", "selector", "current", "starts", "run time", "pump rate", "wear",
                "last fault")  # fmt: skip
    for heading in headings:
        table.add_column(heading)
    for n in (1, 2):
        current = "not sensed"
        if sensing == s.SENSE_CURRENT:
            band = CURRENTS[CURRENT_NAMES[values[f"current_band_{n}"]]]
            current = f"{values[f'current_{n}'] / 1000:.1f} A, {band}"
        elif sensing == s.SENSE_FEEDBACK:
            current = "run feedback on" if values[f"current_{n}"] else "run feedback off"
        table.add_row(
            str(n), "ON" if states["outputs"] >> (n - 1) & 1 else "off", STATES[values[f"pump_{n}_state"]],
            SELECTORS[values[f"selector_{n}"]], current, str(values[f"starts_{n}"]),
            f"{values[f'run_{n}'] / 3600:.2f} h", flow(values[f"rate_{n}"], system),
            f"{values[f'wear_{n}']} %", CAUSES[values[f"pump_{n}_cause"]],
        )  # fmt: skip
    return table


def _alarms(alarm_states):
    lines = alarm_lines(alarm_states)
    if not lines:
        return Text("No alarms.")
    table = Table(box=None, header_style="bold", pad_edge=False)
    for heading in ("priority", "alarm", "state", "what to do"):
        table.add_column(heading)
    for line in lines:
        table.add_row(*line)
    return table


def read(client):
    """Return (values, states, alarm states, sensing) from a board, for `build`."""
    alarm_states = client.words(r.ALARM_STATES_AT, alarm_table.COUNT)
    sensing = client.words(2 * s.SENSING + 1, 1, 3)[0]
    return client.values(), client.states(), alarm_states, sensing
