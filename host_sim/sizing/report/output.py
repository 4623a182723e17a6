"""The output folder of a sizing; files that sumpbench size did not write are never overwritten."""

import json

from host_sim.board import settings_file
from host_sim.report import files
from host_sim.report.files import write
from host_sim.sizing import site_out
from host_sim.sizing.report.as_html import as_html
from host_sim.sizing.report.as_json import MADE_BY, as_json

NAMES = ("sizing.html", "settings.toml", "site.toml", "sizing.json")


def check(folder):
    """Raise InputError where results must not be written into `folder`; create nothing."""
    files.check(folder, NAMES, "sizing.json", {"made_by": MADE_BY}, "sizing")


def write_all(folder, page, say, when="", place="", customer=""):
    """Write page, settings, sized site and JSON; the JSON last, since it marks the folder as complete.

    `when`, `place` and `customer` stand at the page's head, as `as_html` has them.
    """
    result = page.result
    write(folder, "sizing.html", as_html(page, say, when, place, customer))
    write(folder, "settings.toml", settings_file.to_text(result.settings))
    write(folder, "site.toml", site_out.text(result))
    write(folder, "sizing.json", json.dumps(as_json(page, say), indent=1, allow_nan=False) + "\n")
