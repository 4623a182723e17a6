"""Works out the daily look from what the gateway kept: water, starts, run time, inflow, wear, battery, floor, dates.

"All is well" only if every line is; each line carries its own verdict.
"""

from duplexsump.control import alarm_table
from duplexsump.control import settings as s

from hil.remote import reading as parts
from hil.remote import words

DAY_S = 86400.0
WORN_PERCENT = 25  # as the alarm of that name
CARRIED = 0.7  # of one pump's rate; more inflow than this leaves little room (common practice, no source)
SHORT_MIN = 3  # less than this leaves nobody time to act; common practice, no source
TESTED_DAYS = 30  # without a run for so long nothing has proved the pumps; common practice


def daily_look(gateway, now):
    """Return the look at `now` of a `gateway.Gateway`: {"at", "well", "lines": [...], "plots": {...}, "alarms": [...]}.

    A line is {"name", "value", "unit", "text", "well"}; volumes in mL, rates in mL/min, times in min or days.
    """
    book = gateway.book
    day, week = book.minutes(now - DAY_S, now), book.minutes(now - 8 * DAY_S, now - DAY_S)
    lines = _pumping(book, day, week, now)
    values = gateway.reading.values if gateway.reading else None
    lines += _now(gateway, values, now)
    lines += _dates(gateway, values, now)
    alarms = [
        {"began": began, "name": name, "text": _text(name), "priority": priority, "ended": ended}
        for began, name, priority, ended, _ in book.alarms(now - DAY_S, now + 1.0)
    ]
    serious = [alarm for alarm in alarms if alarm["priority"] != "low"]
    lines.append(_line("alarms", len(alarms), "", not serious))
    return {"at": now, "well": all(line["well"] for line in lines), "lines": lines, "alarms": alarms[-30:],
            "plots": _plots(book, now)}  # fmt: skip


def _text(name):
    return next((row[alarm_table.TEXT] for row in alarm_table.TABLE if row[alarm_table.NAME] == name), name)


def _line(name, value, unit, well, text=""):
    return {"name": name, "value": value, "unit": unit, "well": bool(well), "text": text}


def _rise(minutes, name):
    # How far a counter rose over the lines of a stretch; a counter that fell began anew.
    return sum(max(0, b[name] - a[name]) for a, b in zip(minutes, minutes[1:], strict=False))


def _span_min(lines):
    return max(1.0, (lines[-1]["at"] - lines[0]["at"]) / 60.0)


def _pumping(book, day, week, now):
    covered = len(day) / 1440.0
    if not day:
        return [_line("record of the day", 0, "%", False, "nothing was read in the last 24 h")]
    lines = (
        [] if covered > 0.95 else [_line("record of the day", round(100 * covered), "%", False, "of the day was read")]
    )
    water, best = 0.0, max(day[-1]["rate_1"], day[-1]["rate_2"])
    for n in (1, 2):
        run_s, starts = _rise(day, f"run_{n}"), _rise(day, f"starts_{n}")
        rate = day[-1][f"rate_{n}"]
        water += run_s / 60.0 * rate
        lines.append(_line(f"pump {n} starts", starts, "", True))
        lines.append(_line(f"pump {n} run time", run_s / 60.0, "min", True))
    if not best:
        return [_line("water pumped", None, "mL", True, "no pump rate has been measured yet"), *lines]
    lines.insert(0, _line("water pumped", round(water), "mL", True))
    inflow = round(water / _span_min(day))
    lines.append(_line("inflow", inflow, "mL/min", inflow < CARRIED * best))
    if week:
        before = sum(_rise(week, f"run_{n}") / 60.0 * week[-1][f"rate_{n}"] for n in (1, 2)) / _span_min(week)
        lines.append(_line("inflow of the week before", round(before), "mL/min", True))
    lines.append(_line("inflow over pump rate", round(100 * inflow / best), "%", inflow < CARRIED * best))
    return lines


def _now(gateway, values, now):
    if not gateway.up or values is None:
        return [_line("controller", None, "", False, "does not answer")]
    lines = []
    for n in (1, 2):
        wear = values[f"wear_{n}"]
        lines.append(_line(f"pump {n} wear", wear, "%", wear < WORN_PERCENT, _trend(gateway.book, n, now)))
    if parts.has_battery(gateway.settings):
        battery = gateway.states["battery"][1]
        lines.append(_line("battery", battery["mv"], "mV", battery["band"] == "good", battery["band"]))
        loaded, at = battery["loaded_mv"], battery["loaded_at"]
        low = gateway.settings[s.BATTERY_LOADED_MV]
        if loaded is None:
            lines.append(_line("battery under load", None, "mV", True, "no run on the battery seen yet"))
        else:
            lines.append(_line("battery under load", loaded, "mV", loaded >= low, words.moment(at)))
    floor = gateway.states["floor"][1]
    minutes = floor["at_least_min"]
    if floor["storm"] and minutes is not None:  # no verdict on a pit that the gateway hardly knows
        why = "allowing for a steep storm: under 30 days of record"
        lines.append(_line("time to floor", minutes, "min", True, why))
    else:
        lines.append(_line("time to floor", minutes, "min", minutes is None or minutes >= SHORT_MIN, floor["why"]))
    return lines


def _trend(book, n, now):
    # What the wear was when the record of minutes begins, a week ago or more.
    first = book.first_minute()
    if first is None or now - first["at"] < 7 * DAY_S:
        return ""
    return f"({first[f'wear_{n}']} % {(now - first['at']) / DAY_S:.0f} days ago)"


def _pour(gateway, now):
    # With `off` dry for so long nothing has proved that water starts a pump: pour some and test.
    last, first = gateway.book.last_wet(), gateway.book.first_minute()
    since = last if last is not None else first["at"] if first else now
    days, limit = (now - since) / DAY_S, gateway.settings[s.POUR_DAYS] if gateway.settings else 0
    text = "" if last is not None else "at least: dry since the record begins"
    return _line("days without water", round(days), "days", not limit or days < limit, text)


def _dates(gateway, values, now):
    lines = []
    if values is not None:
        days = values["inspection"] / 1440.0
        limit = gateway.settings[s.INSPECTION_DAYS] if gateway.settings else 0
        lines.append(_line("days since inspection", round(days), "days", not limit or days < limit))
        lines.append(_pour(gateway, now))
    for n in (1, 2):
        last = gateway.book.last_run(n)
        if last is None:
            lines.append(_line(f"pump {n} last run", None, "", True, "none seen yet"))
        else:
            days = (now - last[1]) / DAY_S
            lines.append(_line(f"pump {n} last run", round(days, 2), "days", days < TESTED_DAYS))
    return lines


def _plots(book, now, days=14):
    # A value a day: water in mL and starts; the newest last.
    water, starts, battery, rate = [], [], [], []
    for back in range(days, 0, -1):
        lines = book.minutes(now - back * DAY_S, now - (back - 1) * DAY_S)
        if len(lines) < 2:
            for row in (water, starts, battery, rate):
                row.append(None)
            continue
        water.append(round(sum(_rise(lines, f"run_{n}") / 60.0 * lines[-1][f"rate_{n}"] for n in (1, 2))))
        starts.append(sum(_rise(lines, f"starts_{n}") for n in (1, 2)))
        battery.append(min(line["battery"] for line in lines))
        rate.append(max(lines[-1]["rate_1"], lines[-1]["rate_2"]))
    return {"water pumped": water, "starts": starts, "lowest battery": battery, "pump rate": rate}
