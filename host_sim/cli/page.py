"""`sumpbench page`: the living pit as a folder of plain files."""

from host_sim.living import static
from host_sim.report.console import CAUTIONS_LINE, console


def write(out, npm):
    """Write the page as a folder of plain files.  Raises InputError for a folder that cannot be used."""
    size = static.build(out, npm)
    screen = console()
    screen.print(f"Written to {out}: {size / 1e6:.1f} MB.  To see it: python -m http.server --directory {out}")
    screen.print(CAUTIONS_LINE)
