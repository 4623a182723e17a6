"""The work of `sumpbench replay`: read a log and refuse, replay or reconstruct, try, tell, keep."""

import json
from pathlib import Path

from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from host_sim.errors import InputError
from host_sim.replay import account as words
from host_sim.replay import api, command_journal, night, other_firmware, plain_data, whatif
from host_sim.replay.inputs import (
    MADE_BY,
    NAMES,
    SUMMARY,
    SWEEP,
    check_folder,
    mapping_of,
    settings_for_levels,
    site_of,
)
from host_sim.replay.reading import sources, table_log
from host_sim.report import files
from host_sim.report.console import console
from host_sim.report.units import units as unit_system

STORY_LINES = 40


def run(path, site, mapping, ask, was, settings, firmware, changes, sweep, tries, units_name, out, export=None):
    """Explain one log and point to the cautions; see `sumpbench replay --help`.

    Returns the exit code: 0 where there was something to explain (and a
    journal came out as recorded), 1 where a journal did not, nothing was
    compared, or no pump ever ran.  Raises InputError for what cannot be used.
    """
    check_folder(out)
    if export is not None:
        api.check_export(export)
    units, screen = unit_system(units_name), console()
    code, account = _run(screen, path, site, mapping, ask, was, settings, firmware, changes, sweep, tries, units, out)
    if export is not None:
        if account is None:
            raise InputError("--export writes what was found in a log: name the pit with --site", "--export")
        api.export(account, export)
        screen.print(Text(f"Rows, with what was found: {export}"))
    screen.print(Text(words.CAUTIONS))
    return code


def _run(screen, path, site, mapping, ask, was, settings, firmware, changes, sweep, tries, units, out):
    module = other_firmware.load(firmware) if firmware else None
    ours = Path(path).is_dir() or sources.is_journal(path)
    _check_changes(changes, sweep, tries, ours and site is None)
    if ours:
        plan = site_of(site) if site is not None else None
        code, journal, issues = command_journal.replay_all(screen, path, plan, settings, module)
        if plan is None:
            hint = "(With --site the night is also reconstructed and explained.)"
            screen.print(Text(hint, style="dim"))
            return code, None
        log = sources.log_of(journal, plan, Path(path).name, issues)
        explained, account = _explain(screen, log, plan, was or "duplex", None, module, changes, sweep, tries, units,
                                      out, settings)  # fmt: skip
        return max(code, explained), account
    plan = site_of(site)
    how = mapping_of(screen, path, mapping, ask)
    log = table_log.read(path, how)
    table_log.require_water(log, how)
    log = sources.with_levels(log, plan)
    values = settings_for_levels(plan, settings) if log.level_m is not None else None
    pumps = None if was else 2  # nobody said how many there are
    return _explain(screen, log, plan, was or "single", values, module, changes, sweep, tries, units, out, settings,
                    pumps)  # fmt: skip


def _check_changes(changes, sweeps, tries, siteless):
    # What is asked for and would not be done is refused before anything runs.
    for option, given in (("--sweep", sweeps), ("--change", changes)):
        if given and not tries:
            raise InputError(f"{option} runs the night again, --no-what-if forbids it: leave out one", option)
        if given and siteless:
            raise InputError(f"{option} needs the pit: name its site with --site", option)
    if len(sweeps) > 2:
        raise InputError(f"{len(sweeps)} sweeps are given: at most two can be drawn", "--sweep")
    for text in sweeps:
        whatif.axis(text)


def _explain(screen, log, plan, was, values, module, changes, sweep, tries, units, out, settings=(), pumps=None):
    account = night.explain(log, plan, was, values, module, units, pumps=pumps)
    if tries and account.flow is not None and not account.flow.bounds:
        columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
        with Progress(*columns, console=console(stderr=True), transient=True) as bar:
            task = bar.add_task("what if", total=1.0)
            night.try_changes(account, changes, sweep, lambda done: bar.update(task, completed=done),
                              settings, module)  # fmt: skip
    _tell(screen, account, units)
    if (account.flow is None or account.flow.bounds) and (changes or sweep):
        screen.print(Text("No change was tried: the inflow cannot be told from this log.", style="bold"))
    _write(out, account, units)
    names = [*NAMES, *([SWEEP] if account.sweep else [])]
    screen.print(Text(f"Pictures and records: {out}/ ({', '.join(names)})"))
    if account.pump_ran is False:
        screen.print(Text("No pump ever ran in this log: it proves nothing about the controller.", style="bold"))
        return 1, account
    return 0, account


def _tell(screen, account, units):
    screen.print(Text(f"{account.log.name}: {account.log.rows_read} rows, {', '.join(account.log.channels())}",
                      style="bold"))  # fmt: skip
    for line in words.data_issues(account.log):
        screen.print(Text(f"  {line}", style="dim"))
    for line in words.can_tell(account):
        screen.print(Text(line))
    table = Table(box=None, show_header=False, pad_edge=False)
    table.add_column(no_wrap=True)
    table.add_column()
    lines = words.story(account, units)
    lines = [line for line in lines if line[2]] if len(lines) > STORY_LINES else lines
    for clock, text, weight in lines[:STORY_LINES]:
        table.add_row(clock, Text(text, style=("dim", "", "bold")[weight]))
    screen.print(table)
    screen.print()
    for finding in account.findings[:6]:
        screen.print(Text(f"{finding.text} ({finding.confidence})", style="bold"))
        for text in finding.evidence:
            screen.print(Text(f"  {text}"))
        if causes := words.causes_of(finding):
            screen.print(Text(f"  {causes}"))
    screen.print()
    for line in (*words.inflow_lines(account, units), *words.run_lines(account)):
        screen.print(Text(line))
    for line in words.judged_lines(account, units):
        screen.print(Text(line))
    if account.outcomes:
        screen.print()
        screen.print(_outcomes(account, units))
    screen.print()
    for line in (words.headline(account, units), words.cause(account), words.cure(account)):
        if line:
            screen.print(Text(line, style="bold"))


def _outcomes(account, units):
    table = Table(box=None, pad_edge=False, header_style="bold")
    for i, heading in enumerate(words.HEADER):
        table.add_column(heading, justify="right" if i else "left")
    table.add_row(*words.happened_row(account, units))
    for outcome in account.outcomes:
        table.add_row(*words.row(outcome, units), style="bold" if outcome.dry else "")
    return table


def _write(out, account, units):
    from host_sim.replay import picture, zoom  # matplotlib: only once there is something to draw

    def saved(figure):
        return lambda path: picture.save(figure, path)

    contents = [("strip.png", saved(picture.draw(account, units)))]
    contents += [(SWEEP, saved(picture.sweep(account, units)))] if account.sweep else []
    contents += [
        ("strip.html", zoom.page(account, units)),
        ("account.txt", "\n".join(words.page(account, units)) + "\n"),
        (SUMMARY, json.dumps({"made_by": MADE_BY, **plain_data.as_json(account)
}, indent=1) + "\n"),
    ]
    files.write_all(out, contents)

