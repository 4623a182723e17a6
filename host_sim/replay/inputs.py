"""What every replay command is given: the site, the settings, the mapping, the folder for the results."""

import sys
from dataclasses import replace
from pathlib import Path

import typer
from rich.text import Text

from host_sim.errors import InputError
from host_sim.replay import openloop, whatif
from host_sim.replay.reading import mapping as maps
from host_sim.replay.reading import mapping_prompt
from host_sim.report import files
from host_sim.site.chosen import read as read_site

MADE_BY = "sumpbench replay"
SUMMARY = "account.json"
NAMES = ("strip.png", "strip.html", "account.txt", SUMMARY)
SWEEP = "sweep.png"
MAP_SUFFIX = ".map.toml"


def check_folder(out):
    """Raise InputError where results must not be written into a folder."""
    files.check(out, (*NAMES, SWEEP), SUMMARY, {"made_by": MADE_BY}, "replay")


def site_of(name):
    """Return the Site of a file or packaged scenario, without its faults and people.  Raises InputError."""
    if name is None:
        raise InputError(
            "a log needs its pit (shape, contacts, pumps, pipes): name a site file (--site FILE.toml) or a packaged "
            "site (--site demo)",
            "--site",
        )
    plan = read_site(name, [], None)[0]
    plan.faults, plan.actions = [], []
    return plan


def settings_for_levels(plan, texts):
    """Return the settings of a site judged by its level, with NAME=VALUE texts; None without any.

    Raises InputError.
    """
    if not texts:
        return None
    return openloop.settings_for(replace(plan, settings=whatif.settings_of(plan, texts)))


def beside(path):
    """Return the path of the mapping that is kept beside a log."""
    return Path(str(path) + MAP_SUFFIX)


def mapping_of(screen, path, mapping, ask):
    """Return the Mapping of a log: asked for, given, or kept beside it.  Raises InputError."""
    kept = beside(path)
    if ask:
        try:
            found = mapping_prompt.ask(path, lambda asked, usual: typer.prompt(asked, default=usual, show_default=True))
        except typer.Abort as error:
            if sys.stdin.isatty():
                raise
            raise InputError("the input ended before every question was answered: answer each, Enter alone to accept "
                             "what is offered", "--map") from error  # fmt: skip
        files.write(kept.parent, kept.name, maps.as_toml(found), "--map")
        screen.print(Text(f"The mapping is saved in {kept}"))
        return found
    if mapping is not None:
        return maps.load(mapping)
    if kept.exists():
        return maps.load(kept)
    raise InputError(
        f"no mapping says which column holds what: answer the questions of --map (kept in {kept.name}), or give a "
        "mapping file with --mapping FILE.toml",
        str(path),
    )
