"""Options that several commands share."""

from enum import StrEnum


class UnitSystem(StrEnum):
    """The units of a report: US customary or SI."""

    us = "us"
    si = "si"
