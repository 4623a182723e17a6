"""`sumpbench size`: read (or ask), size, check by simulation, report, write."""

import json
import time
import tomllib
from pathlib import Path

from rich.text import Text

from host_sim.errors import InputError
from host_sim.report.console import console
from host_sim.site.load import packaged, read_site
from host_sim.sizing import site_out
from host_sim.sizing.apply import apply_all
from host_sim.sizing.document import edited, look, own
from host_sim.sizing.model import size
from host_sim.sizing.report import output
from host_sim.sizing.report.as_json import as_json
from host_sim.sizing.report.page import build
from host_sim.sizing.report.terminal import tell
from host_sim.sizing.say import Say
from host_sim.sizing.tried import tried


def run(site, ask, changes, units_name, out, as_text, check, cure=False, head=("", "")):
    """Size one site and return the exit code: 0 it fits (with remarks or without), 1 it does not, or is not confirmed.

    `site` is a file (with `ask`, the one to be written), `changes` a list of
    "dotted.key=value" to try; with `cure` fixes are applied together until it
    fits; `head` is (place, customer) for the head of the page.  Raises InputError
    for what cannot be used, before anything is written.
    """
    output.check(out)
    if ask:
        from host_sim.sizing.interview.ask import ask_site, finished, refused

        path = ask_site(site or "site.toml", units_name)
        if path is None:
            return 0
        try:
            code = _size(path, changes, units_name, out, as_text, check, cure, head)
        except InputError as error:
            raise refused(error, path) from error
        finished(path)
        return code
    if site is None:
        raise InputError("no site file: name one, or write one with  sumpbench size --ask", "size")
    return _size(site, changes, units_name, out, as_text, check, cure, head)


def _size(site, changes, units_name, out, as_text, check, cure, head):
    data = _with(own(load(site)), dict(_change(text) for text in changes), str(site))
    say = Say(units_name)
    applied = apply_all(data, say, str(site)) if cure else None
    result = size(applied.data if applied else data, str(site))
    # What sizing itself does not read must be fit for the night as well, before anything is written.
    read_site(site_out.text(result), Path(site).parent, str(site))
    screen = console()
    page = build(result, say, with_check=check)
    if applied is not None:
        page.changed = [(step.text, step.cost, step.title) for step in applied.steps]
    if as_text:
        print(json.dumps(as_json(page, say), indent=1, allow_nan=False))
    else:
        if applied is not None:
            _tell_steps(screen, applied)
        tell(screen, page, say)
    output.write_all(out, page, say, time.strftime("%Y-%m-%d"), *head)
    if not as_text:
        screen.print(Text(f"Page (three sheets), settings, sized site and figures: {out}/ ({', '.join(output.NAMES)})"))
        screen.print(Text(f"Run its night before you dig:  sumpbench night {out}/site.toml"))
        screen.print(Text(f"Guide to build its controller:  sumpbench build --board pico --site {out}/site.toml"))
        screen.print(Text(f"Before you work on the pit, read the cautions at the end of {out}/sizing.html."))
    return 1 if page.verdict in ("does not fit", "not confirmed") else 0


def _with(data, edits, source):
    # A measurement in the file was made with the pit, the pumps and the pipe as the file has them.
    if not edits or not look(data, "sizing.evidence"):
        return edited(data, edits)
    try:
        rates_m3s = size(data, source).rates_m3s
    except InputError:  # what the edits may put right
        rates_m3s = None
    return tried(data, edits, rates_m3s)


def _tell_steps(screen, applied):
    screen.print(Text("Fixes applied together, cheapest first:", style="bold"))
    if not applied.steps:
        screen.print(Text("    none: nothing serious to fix" if applied.fits else "    none that works"))
    for place, step in enumerate(applied.steps, 1):
        screen.print(Text(f"{place:3d}. {step.text} ({step.cost})", style="green"))
        left = f"{step.left} serious remark{'s' if step.left != 1 else ''} left"
        screen.print(Text(f"     for: {step.title}; {left}; {step.night}", style="" if step.dry else "red"))
    if applied.left:
        screen.print(Text("No set of fixes at hand makes this pit fit.  What is left:", style="bold red"))
        for line in applied.left:
            screen.print(Text(f"    {line}"))
    elif not applied.fits:
        screen.print(Text("It fits on paper, but its simulated night did not stay dry: see the last step", style="red"))
    screen.print()


def load(path):
    """Return the document of a site file or a packaged scenario.  Raises InputError when it cannot be read."""
    path = Path(path)
    if not path.exists() and path.suffix != ".toml":
        path = packaged(str(path))
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        hint = "; write one with  sumpbench size --ask" if not path.exists() else ""
        raise InputError(f"cannot be read: {error}{hint}", str(path)) from error
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"is not TOML: {error}", str(path)) from error


def _change(text):
    key, sign, value = text.partition("=")
    if not sign or not key.strip() or not value.strip():
        raise InputError(f'"{text}": write it as key=value, as in  --with pit.diameter="24 in"', "--with")
    try:
        found = tomllib.loads(f"x = {value.strip()}")["x"]
    except tomllib.TOMLDecodeError:
        found = value.strip()
    return key.strip(), found
