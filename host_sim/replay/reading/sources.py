"""Tells a journal of ours from a table log, and reads the journal; levels from contacts for logs without a level."""

import tempfile
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from duplexsump.control.records import (
    CONTACT_NAMES,
    IN_CONTACTS,
    IN_LEVEL,
    IN_MAINS,
    IN_TRANSMITTER,
    OUT_PUMP_1,
    OUT_PUMP_2,
    TRANSMITTER_OK,
)
from duplexsump.control.settings import FITTED, SENSE_NOTHING, SENSING, TRANSMITTER

from host_sim.errors import InputError
from host_sim.replay.reading import doubts
from host_sim.replay.reading.log import UNKNOWN, Log, note
from host_sim.run.journal import FORMAT, Life, read_journal


def is_journal(path):
    """Tell whether a file is a journal of ours in JSON lines.  Raises InputError where it cannot be read."""
    try:
        with Path(path).open("rb") as file:
            head = file.read(200)
    except OSError as error:
        raise InputError(f"cannot be read: {error}", str(path)) from error
    return head.lstrip().startswith(b"{") and FORMAT.encode() in head


def journal(path):
    """Return the Journal of a file, a last line that was torn by a power cut left out and counted in `issues`.

    Returns (Journal, issues).  Raises InputError naming the line that cannot be used.
    """
    issues = []
    try:
        return read_journal(path), issues
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"cannot be read: {error}", str(path)) from error
    except ValueError as error:
        text = Path(path).read_text(encoding="utf-8", errors="replace")
        if text.endswith("\n") or text.count("\n") < 2:
            raise InputError(str(error)) from error
    found = _without_last(path, text)
    note(issues, "incomplete line", 1, "last line of the journal incomplete, as after a power cut, dropped",
         text.count("\n") + 1)  # fmt: skip
    return found, issues


def _without_last(path, text):
    with tempfile.TemporaryDirectory() as folder:
        whole = Path(folder) / "journal.jsonl"
        whole.write_text(text[: text.rindex("\n") + 1], encoding="utf-8")
        try:
            return read_journal(whole)
        except ValueError as error:
            raise InputError(str(error).replace(str(whole), str(path))) from error


def log_of(journal, site=None, name="journal", issues=()):
    """Return the Log of a journal.

    Where the level was measured it is taken in its steps of 10 mm; else it is
    known, given the site, at the instants at which a contact turned.
    """
    rows, last = [], None
    for record in journal.records:
        if isinstance(record, Life):
            if last is not None:
                inputs, _ = last
                rows.append((record.time_ms, inputs, None))
            continue
        last = (record.inputs, record.outputs)
        rows.append((record.time_ms, record.inputs, record.outputs))
    if not rows:
        raise InputError("has no records", name)
    last_at = {}
    for place, row in enumerate(rows):
        last_at[row[0]] = place
    rows = [rows[place] for place in last_at.values()]
    if journal.duration_ms > rows[-1][0]:
        rows.append((journal.duration_ms, *rows[-1][1:]))
    begins = datetime(1970, 1, 1) + timedelta(seconds=site.begins_s if site is not None else 0.0)
    begins += timedelta(milliseconds=rows[0][0])
    time_s = np.array([(row[0] - rows[0][0]) / 1000.0 for row in rows])
    found = Log(name, begins, time_s, issues=list(issues), rows_read=len(journal.records), every_change=True)
    words = np.array([row[1][IN_CONTACTS] for row in rows])
    for i, contact in enumerate(CONTACT_NAMES):
        if journal.settings[FITTED] >> i & 1:
            found.contacts[contact] = (words >> i & 1).astype(np.int8)
    found.mains = np.array([row[1][IN_MAINS] for row in rows], np.int8)
    for n, place in ((0, OUT_PUMP_1), (1, OUT_PUMP_2)):
        found.pumps[n] = np.array([0 if row[2] is None else row[2][place] for row in rows], np.int8)
    if journal.settings[SENSING] != SENSE_NOTHING:
        found.bands = tuple(np.array([row[1][2 + n] for row in rows], np.int8) for n in (0, 1))
    if journal.settings[TRANSMITTER]:
        good = np.array([row[1][IN_TRANSMITTER] == TRANSMITTER_OK for row in rows])
        zero = site.transmitter.zero_m if site is not None and site.transmitter is not None else 0.0
        steps = np.array([row[1][IN_LEVEL] for row in rows])
        found.level_m = np.where(good, zero + 0.01 * (steps + 0.5), np.nan)
    elif site is not None:
        found.level_m, found.levels_at_contacts_only = _turn_levels(found, site), True
    return found


def with_levels(log, site):
    """Return a Log as it is where it has a level, else with the level at the instants at which a contact turned.

    A log of pump states alone stays without a level.  Raises InputError where it has no level and none of the
    site's contacts ever turns, and where a contact's sense is inverted.
    """
    if log.level_m is not None and not np.isnan(log.level_m).all():
        doubts.contact_sense(log, site)
        return log
    log.level_m = None
    doubts.contact_sense(log, site)
    if any(values is not None and (values >= 0).any() for values in log.pumps) and not log.contacts:
        return log
    log.level_m, log.levels_at_contacts_only = _turn_levels(log, site), True
    if np.isnan(log.level_m).all():
        problem = "has no level, and no contact of the site ever turns in it: the water cannot be followed"
        raise InputError(problem, log.name)
    return log


def _turn_levels(log, site):
    # The level at every row at which exactly one contact turned, where the site knows that contact.
    levels, turns = np.full(len(log.time_s), np.nan), np.zeros(len(log.time_s), int)
    for i, name in enumerate(CONTACT_NAMES):
        contact = site.contacts[i]
        if contact is None or name not in log.contacts:
            continue
        states = log.contact_states(name)
        rows = 1 + np.flatnonzero((states[1:] != states[:-1]) & (states[:-1] != UNKNOWN))
        levels[rows] = np.where(states[rows] == 1, contact.wet_m, contact.dry_m)
        turns[rows] += 1
    levels[turns != 1] = np.nan
    return levels
