"""What the readings themselves show to be misread: a wrong clock, a decimal comma, an inverted contact.

None of these is put right in silence: each is refused in words that say what to set in the mapping.
"""

import re

import numpy as np
from duplexsump.control.records import CONTACT_NAMES

from host_sim.errors import InputError

SCRAMBLED = 0.1  # of the rows out of order, from which on the stamps themselves are doubted; our own choice
ROUGHER = 3.0  # times the steps from row to row, once sorted; our own choice
LEAST_ROWS = 30
COMMA = re.compile(r"^\s*[-+]?\d{1,6},\d+\s*$")
BEYOND_M = 0.03  # of a contact's height: nearer than this a reading decides nothing
MOSTLY = 0.8  # of the rows that decide, on the wrong side: the sense is inverted and no float hung


def stamps_scrambled(seconds, columns, source):
    """Raise InputError where rows are far out of order, and their readings go on smoothly as they stand in the file.

    `seconds` is an array of n (nan: no stamp), `columns` arrays of n readings.
    A file written newest row first is in order too.
    """
    kept = np.flatnonzero(~np.isnan(seconds))
    steps = np.diff(seconds[kept])
    if len(kept) < LEAST_ROWS or not len(steps):
        return
    back = min(float((steps < 0.0).mean()), float((steps > 0.0).mean()))
    if back < SCRAMBLED:
        return
    order = kept[np.argsort(seconds[kept], kind="stable")]
    for values in columns:
        as_filed, as_sorted = (_roughness(values[rows]) for rows in (kept, order))
        if as_sorted > ROUGHER * as_filed > 0.0 or as_sorted > as_filed == 0.0:
            raise InputError(f"its times go back in {back:.0%} of the rows, yet the readings follow one another as "
                             "they stand in the file: the times are misread or wrong. Check the format in [time] (day "
                             "and month in the wrong order?), or give the log times that rise", source)  # fmt: skip


def _roughness(values):
    values = values[~np.isnan(values)]
    return float(np.abs(np.diff(values)).mean()) if len(values) > LEAST_ROWS else 0.0


def decimal_comma(name, unreadable, decimal, source):
    """Raise InputError where cells without a number have a decimal comma; `unreadable` is (one cell, how many, of)."""
    cell, count, total = unreadable
    if decimal == "." and count > 0.5 * total and COMMA.match(cell):
        raise InputError(f'column "{name}": "{cell.strip()}" has a decimal comma ({count} of {total} cells): set '
                         'decimal = "," in [file] of the mapping', source)  # fmt: skip


def contact_sense(log, site):
    """Raise InputError where a contact reads the opposite of the water all along: its sense is inverted.

    A float that hangs is on the wrong side of the water one way; one that is
    inverted is wrong both ways.  Without a level the contacts are held against each other.
    """
    names = [name for i, name in enumerate(CONTACT_NAMES) if name in log.contacts and site.contacts[i] is not None]
    level = log.level_m is not None and not log.levels_at_contacts_only
    wrong = [name for name in names if _opposite(log, site, name)] if level else _upside_down(log, names)
    if wrong:
        columns = ", ".join(wrong)
        raise InputError(f"contact {columns}: reads wet while the water is below it and dry while it is above. A "
                         "normally-closed contact opens as the water rises: list what it reads then under wet, such as "
                         f'wet = ["0"] in [contacts.{wrong[0]}] of the mapping', log.name)  # fmt: skip


def _opposite(log, site, name):
    contact, states = site.contacts[CONTACT_NAMES.index(name)], log.contact_states(name)
    good = (states >= 0) & ~np.isnan(log.level_m)
    states, level = states[good], log.level_m[good]
    below = level < contact.dry_m - BEYOND_M
    if below.sum() < LEAST_ROWS or (states[below] == 1).mean() < MOSTLY:
        return False
    turns = np.flatnonzero(np.diff(states))
    if not len(turns):
        # Wet all along is a short as well, unless another contact is inverted beyond doubt.
        return any(_opposite(log, site, other) for other in ("off", "lead") if other in log.contacts and other != name)
    # It turns dry as the water rises past it, and wet again as it falls: a short does neither.
    near = np.abs(level[turns] - contact.wet_m) < BEYOND_M + contact.wet_m - contact.dry_m
    up = states[turns] == 1
    return near.mean() > MOSTLY and up.any() and (~up).any() and level[turns[up]].mean() > level[turns[~up]].mean()


def _upside_down(log, names):
    # Dry below a wet one in most rows, and in order once every contact is turned over.
    if len(names) < 2:
        return []
    states = np.array([log.contact_states(name) for name in names])
    known = (states >= 0).all(axis=0)
    if known.sum() < 2:
        return []
    rows = states[:, known]
    wrong = (np.diff(rows, axis=0) > 0).any(axis=0).mean()
    turned = (np.diff(1 - rows, axis=0) > 0).any(axis=0).mean()
    return names if wrong > MOSTLY and turned < 1.0 - MOSTLY else []
