"""What the pit survives at its design inflow, and what it does not: one row a kind of trouble."""

from math import inf

from host_sim.sizing.covered import covered, tries
from host_sim.sizing.report.rows import Row, section

NOTE = (
    "Covered: with this one fault and nothing else wrong, at the design inflow, the floor stays dry and no pump runs "
    "for over a minute at a time without moving water"
)


def note(result):
    """Return what "covered" means, in words."""
    found = tries(result)
    if found is None:
        return f"{NOTE}."
    return (f"{NOTE}; one that moves none is stopped and tried again, at most {found[0]:.0f} s a try and {found[1]} "
            "tries an hour (at high water, or with the high float hung up), until the trouble is mended.")  # fmt: skip


def covers(result, say):
    """Return the Section of covered and uncovered faults."""
    return section("covered", "Faults covered", [_row(row, say) for row in covered(result)],
                   f"{note(result)}  The rules are held against the simulator.")


def _row(row, say):
    word = "covered" if row.held else "not covered"
    if row.held and row.seconds < inf:
        word += f" for {say(row.seconds, 'time')}"
    return Row(f"covered.{row.names[0]}", row.what, f"{word}: {row.why}", within=row.held)
