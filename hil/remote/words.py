"""What is published, in the words of the trade: one line for the worst, rows for the rest."""

import time

from host_sim import units as edge

M3S_PER_ML_MIN = 1e-6 / 60.0
M3_PER_ML = 1e-6
PUMP_STATES = {"retry": "waiting to try again", "locked": "locked out"}


def moment(at):
    """Return a time (s since 1970-01-01) as local date and time, "" for None."""
    return "" if at is None else time.strftime("%Y-%m-%d %H:%M", time.localtime(at))


def flow(ml_min, system):
    """Return a flow in mL/min as a text in the units of a system."""
    value = edge.convert(ml_min * M3S_PER_ML_MIN, "flow", system)
    return f"{value:.{1 if system == 'us' else 2}f} {edge.unit('flow', system)}"


def volume(ml, system):
    """Return a volume in mL as a text in the units of a system."""
    value = edge.convert(ml * M3_PER_ML, "volume", system)
    return f"{value:,.0f} {edge.unit('volume', system)}"


def floor_time(fields):
    """Return topic `floor` as a text: "at least 25 min", or why there is no figure."""
    if fields is None or fields.get("at_least_min") is None:
        return f"no figure: {(fields or {}).get('why') or 'not known yet'}"
    return at_least(fields["at_least_min"])


def at_least(minutes):
    """Return the wording of a time to floor in min."""
    return f"at least {span(minutes)}" if minutes else "perhaps less than 1 min"


def span(minutes):
    """Return a time in min as a text: "25 min", "3 h 20 min", "2 days"."""
    minutes = int(minutes)
    if minutes >= 48 * 60:
        return f"{minutes // 1440} days"
    if minutes >= 120:
        return f"{minutes // 60} h {minutes % 60} min" if minutes % 60 else f"{minutes // 60} h"
    return f"{minutes} min"


def headline(states):
    """Return (whether all is well, one line) of the published states {topic name: fields}."""
    board = states.get("board")
    if board is None:
        return False, "The controller has not answered yet."
    if not board["up"]:
        return False, f"The controller has not answered since {moment(board['since'])}: the pit is not watched."
    active = [a for a in states.get("alarms", {}).get("alarms", ()) if a["active"]]
    if active:
        return active[0]["priority"] == "low", f"{len(active)} alarm{'s' if len(active) > 1 else ''}: " + "; ".join(
            a["text"] for a in active[:4])  # fmt: skip
    return True, "No alarm."


def rows(states, system="us"):
    """Return [(name, text)] of the published states."""
    found = []
    state, level, pumps = states.get("state"), states.get("level"), states.get("pumps")
    if level is not None:
        above, below = level["above"], level["below"]
        text = f"above {above}" if above else "below every contact" if below else "not known"
        found.append(("water", text + (f", below {below}" if above and below else "")))
        if level["transmitter_mm"] is not None:
            value = edge.convert(level["transmitter_mm"] / 1000.0, "length", system)
            found.append(("level transmitter", f"{value:.0f} {edge.unit('length', system)} above its datum"))
    if state is not None:
        found.append(("suspect contacts", ", ".join(state["suspect"]) or "none"))
        found.append(("supply", "mains on" if state["mains"] else "MAINS OUT"))
    if pumps is not None:
        for n, pump in enumerate(pumps["pumps"], 1):
            on = "ON" if state and n in state["pumps_on"] else "off"
            text = f"{on}, {PUMP_STATES.get(pump['state'], pump['state'])}"
            text += "" if state is None or n in state["available"] else ", not available"
            text += "" if pump["last_fault"] == "none" else f"; last fault: {pump['last_fault']}"
            text += f"; {pump['starts']} start{'' if pump['starts'] == 1 else 's'}, {pump['run_s'] / 3600:.1f} h"
            rate = (
                f"; {flow(pump['rate_ml_min'], system)}, wear {pump['wear_percent']} %" if pump["rate_ml_min"] else ""
            )
            found.append((f"pump {n}", text + rate))
        found.append(
            (
                "inflow",
                f"{flow(pumps['inflow_ml_min'], system)} at the last fill"
                if pumps["inflow_ml_min"]
                else "not measured yet",
            )
        )
    battery = states.get("battery")
    if battery is not None and battery["mv"] is not None:
        text = (
            f"{battery['mv'] / 1000:.1f} V, {battery['band']}, {'charging' if battery['charging'] else 'not charging'}"
        )
        if battery["loaded_mv"]:
            text += f"; {battery['loaded_mv'] / 1000:.1f} V under load on {moment(battery['loaded_at'])}"
        found.append(("battery", text))
    found.append(("time to floor if both pumps stopped now", floor_time(states.get("floor"))))
    return found
