"""Rows and sections: the figures of a report, each with its value, limit and source."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One figure: `value` in SI with its kind (see say.py), or a text with kind "text"."""

    key: str
    label: str
    value: object
    kind: str = "text"
    limit: str = ""  # name of a limits.Limit it is held against
    bound: object = None  # the site's own bound in SI where it is not the limit's
    within: object = None  # True, False, or None where there is nothing to be within
    source: str = ""


@dataclass(frozen=True)
class Section:
    """A part of the report."""

    key: str
    title: str
    rows: tuple
    note: str = ""


def section(key, title, rows, note=""):
    """Return a Section."""
    return Section(key, title, tuple(rows), note)
