"""Journals that a board wrote, as its segments lie in a folder."""

from pathlib import Path

from host_sim.board import readback
from host_sim.errors import InputError


def journals_in(folder):
    """Return the Journals of a folder of a board's segments, one for each set of settings.

    Raises InputError where it has none, and for a segment that cannot be read.
    """
    names = sorted(Path(folder).glob("*.seg"))
    if not names:
        raise InputError("has no *.seg files: name a folder of a board's journal segments", str(folder))
    segments = []
    for item in names:
        try:
            segments.append(readback.read_segment(item.read_bytes()))
        except InputError as error:
            raise InputError(error.problems, str(item)) from error
    segments.sort(key=lambda segment: segment.number)
    return readback.to_journals(segments, Path(folder).name)
