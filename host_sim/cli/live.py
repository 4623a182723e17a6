"""`sumpbench live`: a living pit behind a page of this machine."""

import tomllib
from pathlib import Path

from host_sim.living import server, static
from host_sim.report.console import CAUTIONS_LINE, console
from host_sim.site.chosen import read
from host_sim.site.load import packaged


def run(site, host, port, own):
    """Serve a living pit until interrupted.  Raises InputError for a site or port that cannot be used."""
    plan, _, _ = read(site, [], None)
    path = Path(plan.path) if site else packaged("demo")
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    screen = console()
    if host not in server.LOOPBACK:
        screen.print(f"Listening at {host}: every machine that reaches it can work this simulated pit.", style="bold")

    def told(url):
        screen.print(f"The living pit: open {url} in a browser; Ctrl-C ends it.")
        screen.print(CAUTIONS_LINE)

    try:
        server.serve(data, path.parent, str(path), host, port, told, own)
    except KeyboardInterrupt:
        screen.print("Ended.")


def write(out, pyodide):
    """Write the page as a folder of plain files.  Raises InputError for a folder that cannot be used."""
    size = static.build(out, pyodide)
    screen = console()
    screen.print(f"Written to {out}: {size / 1e6:.1f} MB.  To see it: python -m http.server --directory {out}")
    screen.print(CAUTIONS_LINE)
