"""The output folder of a sizing; files that sumpbench size did not write are never overwritten."""

import json
import os
from pathlib import Path

from host_sim.board import settings_file
from host_sim.errors import InputError
from host_sim.report.files import write
from host_sim.sizing import site_out
from host_sim.sizing.report.as_html import as_html
from host_sim.sizing.report.as_json import MADE_BY, as_json

NAMES = ("sizing.html", "settings.toml", "site.toml", "sizing.json")


def check(folder):
    """Raise InputError where results must not be written into `folder`; create nothing."""
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder} is a file: name a folder", "--out")
    taken = [name for name in NAMES if (folder / name).exists()]
    if taken and not is_ours(folder):
        raise InputError(
            f"{folder} holds {', '.join(taken)} not written by sumpbench size: name another folder", "--out"
        )
    parent = next(place for place in (folder, *folder.resolve().parents) if place.exists())
    if not os.access(parent, os.W_OK):
        raise InputError(f"{parent} is not writable: name another folder", "--out")


def is_ours(folder):
    """Tell whether the report in `folder` was written by a sizing of ours."""
    try:
        report = json.loads((Path(folder) / "sizing.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(report, dict) and report.get("made_by") == MADE_BY


def write_all(folder, page, say):
    """Write page, settings, sized site and JSON; the JSON last, since it marks the folder as complete."""
    result = page.result
    write(folder, "sizing.html", as_html(page, say))
    write(folder, "settings.toml", settings_file.to_text(result.settings))
    write(folder, "site.toml", site_out.text(result))
    write(folder, "sizing.json", json.dumps(as_json(page, say), indent=1, allow_nan=False) + "\n")
