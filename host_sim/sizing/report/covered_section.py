"""What the pit survives at its design inflow, and what it does not: one row a kind of trouble."""

from math import inf

from host_sim.sizing.covered import covered
from host_sim.sizing.report.rows import Row, section

NOTE = (
    "Covered: at the design inflow the floor stays dry and no pump runs dry for over a minute, with this one fault "
    "and nothing else wrong.  The rules are held against the simulator."
)


def covers(result, say):
    """Return the Section of covered and uncovered faults."""
    return section("covered", "Faults covered", [_row(row, say) for row in covered(result)], NOTE)


def _row(row, say):
    word = "covered" if row.held else "not covered"
    if row.held and row.seconds < inf:
        word += f" for {say(row.seconds, 'time')}"
    return Row(f"covered.{row.names[0]}", row.what, f"{word}: {row.why}", within=row.held)
