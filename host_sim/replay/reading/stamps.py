"""Timestamps of all kinds into seconds, through time zones and daylight saving.

Local stamps without an offset are taken in the zone given.  The repeated hour
(daylight saving ends) is told apart by the order of the rows: times before the
jump back are in daylight saving time, those after it in standard time.  A time
in the skipped hour (daylight saving begins) is read as standard time.
"""

import re
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np

from host_sim.replay.reading.log import note

_OFFSET = re.compile(r"^(?:UTC)?([+-])(\d{1,2}):?(\d{2})?$")
_ISO = re.compile(r"^\s*(\d{4})[-/](\d{1,2})[-/](\d{1,2})[T ](\d{1,2}):(\d{2})(?::(\d{2})([.,]\d+)?)?\s*"
                  r"(Z|[+-]\d{2}:?\d{2})?\s*$")  # fmt: skip
EPOCH = datetime(1970, 1, 1)
HOUR_S = 3600.0


def zone_of(text):
    """Return a tzinfo for "UTC", an IANA name or an offset such as "+01:00".  Raises ValueError."""
    if text == "UTC":
        return UTC
    form = _OFFSET.match(text)
    if form:
        sign = -1 if form[1] == "-" else 1
        hours, minutes = int(form[2]), int(form[3] or 0)
        if hours > 14 or minutes > 59:
            raise ValueError(f'"{text}": an offset lies within 14 hours')
        return timezone(sign * timedelta(hours=hours, minutes=minutes))
    try:
        return ZoneInfo(text)
    except (KeyError, ValueError, OSError) as error:
        problem = f'"{text}" is not a time zone: write "UTC", "-05:00" or an IANA name such as "Etc/GMT+5"'
        raise ValueError(problem) from error


def joined(dates, times):
    """Return the texts of two lists of cells, date and time of day, joined with a space."""
    return [f"{str(date).strip()} {str(time).strip()}" for date, time in zip(dates, times, strict=True)]


def parse(cells, clock, issues):
    """Return (seconds, offset known) arrays of n for texts or numbers.

    Seconds are since 1970 on the stamp's own clock, or in UTC where "offset
    known" is set; nan, counted in `issues`, where a cell is no stamp.
    """
    found = np.full(len(cells), np.nan)
    known = np.zeros(len(cells), bool)
    first = 0
    for i, cell in enumerate(cells):
        try:
            found[i], known[i] = _one(cell, clock)
        except (ValueError, TypeError, OverflowError):
            first = first or i + 1
    bad = int(np.isnan(found).sum())
    note(issues, "no time", bad, "rows without a readable time, dropped", first)
    return found, known


def _one(cell, clock):
    if isinstance(cell, datetime):
        if cell.tzinfo is not None:
            return cell.timestamp(), True
        return (cell - EPOCH).total_seconds(), False
    if clock in ("unix s", "unix ms", "seconds"):
        value = float(cell) / (1000.0 if clock == "unix ms" else 1.0)
        if not np.isfinite(value) or abs(value) > 1e11:
            raise ValueError(cell)
        return value, clock != "seconds"
    if clock == "iso":
        return _iso(cell)
    when = datetime.strptime(cell.strip(), clock)
    return _one(when, clock)


def _iso(cell):
    form = _ISO.match(cell)
    if form is None:
        when = datetime.fromisoformat(cell.strip())
        return _one(when, "iso")
    y, mo, d, h, mi, s, part, offset = form.groups()
    seconds = (datetime(int(y), int(mo), int(d), int(h), int(mi), int(s or 0)) - EPOCH).total_seconds()
    if part:
        seconds += float("0." + part[1:])
    if not offset:
        return seconds, False
    if offset != "Z":
        digits = offset[1:].replace(":", "")
        shift = int(digits[:2]) * 3600 + int(digits[2:]) * 60
        seconds -= -shift if offset[0] == "-" else shift
    return seconds, True


def transitions(zone, first_s, last_s):
    """Return [(UTC s, offset before s, offset after s)] of a zone between two UTC times, to the minute."""
    found = []

    def offset(at):
        return zone.utcoffset((EPOCH + timedelta(seconds=at)).replace(tzinfo=UTC).astimezone(zone)).total_seconds()

    at, step = np.floor(first_s / HOUR_S) * HOUR_S, 24 * HOUR_S
    before = offset(at)
    while at < last_s:
        after = offset(at + step)
        if after != before:
            low, high = at, at + step
            while high - low > 60.0:
                middle = np.floor((low + high) / 120.0) * 60.0
                low, high = (middle, high) if offset(middle) == before else (low, middle)
            found.append((float(high), before, after))
        at, before = at + step, after
    return found


def to_utc(seconds, known, zone, issues):
    """Return seconds since 1970 in UTC for stamps as `parse()` gave them, in the order of the rows."""
    found = seconds.copy()
    local = ~known & ~np.isnan(seconds)
    if zone is None or not local.any():
        if zone is None:
            _set_back(seconds, local, issues)
        return found
    places = np.flatnonzero(local)
    stamps = seconds[places]
    jumps = transitions(zone, stamps.min() - 2 * 86400.0, stamps.max() + 2 * 86400.0)
    start = zone.utcoffset((EPOCH + timedelta(seconds=stamps.min() - 2 * 86400.0)).replace(tzinfo=UTC).astimezone(zone))
    offsets = np.full(len(stamps), start.total_seconds())
    for at, before, after in jumps:
        if after > before:
            never = (stamps >= at + before) & (stamps < at + after)
            offsets[stamps >= at + after] = after
            offsets[never] = before
            note(issues, "skipped hour", never.sum(),
                 "times in the hour skipped as daylight saving began, read as standard time",
                 places[never][0] + 1 if never.any() else 0)
        else:
            _fold(stamps, at, before, after, offsets, issues, places)
    found[places] = stamps - offsets
    return found


def _fold(stamps, at, before, after, offsets, issues, places):
    # The hour that comes twice lies between at + after and at + before on the wall.
    twice = (stamps >= at + after) & (stamps < at + before)
    offsets[stamps >= at + before] = after
    offsets[twice] = before
    inside = np.flatnonzero(twice)
    if not len(inside):
        return
    length = before - after
    # The jump back: the row whose stamp falls by about the hour's length against the row before it.
    falls = np.diff(stamps, prepend=stamps[0])
    back = [i for i in inside if -1.25 * length <= falls[i] <= -0.5 * length]
    if back:
        offsets[inside[inside >= back[0]]] = after
    note(issues, "repeated hour", len(inside),
         "times in the hour repeated as daylight saving ended, told apart by row order"
         if back else "times in the hour repeated as daylight saving ended, all read as daylight saving time since "
         "no second pass shows",
         places[inside[0]] + 1)  # fmt: skip


def _set_back(seconds, local, issues):
    # Without a zone a jump back by an hour is only named: the rows are then out of order.
    places = np.flatnonzero(local)
    falls = np.diff(seconds[places])
    jumps = np.flatnonzero(np.abs(falls + HOUR_S) <= 0.25 * HOUR_S)
    note(issues, "clock set back", len(jumps),
         "jumps back by about an hour, as when daylight saving ends (give [time] zone to correct them)",
         places[jumps[0] + 1] + 1 if len(jumps) else 0)
