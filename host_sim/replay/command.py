"""The work of `sumpbench replay`: read a log and refuse, replay or reconstruct, try, tell, keep."""

import json
from pathlib import Path

from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from host_sim.cli_tables import console
from host_sim.errors import InputError
from host_sim.replay import account as words
from host_sim.replay import sources
from host_sim.report import files
from host_sim.report.units import units as unit_system

MADE_BY = "sumpbench replay"
SUMMARY = "account.json"
NAMES = ("strip.png", "strip.html", "account.txt", SUMMARY)
MAP_SUFFIX = ".map.toml"
STORY_LINES = 40


def run(path, site, mapping, ask, was, settings, firmware, changes, sweep, tries, units_name, out):
    """Explain one log; see `sumpbench replay --help`.

    Returns the exit code: 0 where there was something to explain (and a
    journal came out as recorded), 1 where a journal did not, nothing was
    compared, or no pump ever ran.  Raises InputError for what cannot be used.
    """
    from host_sim.replay import exact

    check_folder(out)
    units = unit_system(units_name)
    module = exact.firmware(firmware) if firmware else None
    screen = console()
    if Path(path).is_dir() or sources.is_journal(path):
        return _journals(screen, path, site, was, settings, module, changes, sweep, tries, units, out)
    plan = the_site(site)
    log = _read(screen, path, mapping, ask)
    values = the_settings(plan, settings)
    values = None if values is None else settings_for_levels(plan, values)
    return _explain(screen, log, plan, was or "single", values, module, changes, sweep, tries, units, out)


def check_folder(out):
    """Raise InputError where results must not be written into a folder."""
    out = Path(out)
    if out.exists() and not out.is_dir():
        raise InputError(f"{out} is a file: name a folder, or one that does not exist yet", "--out")
    taken = [name for name in NAMES if (out / name).exists()]
    if taken and not _ours(out):
        raise InputError(f"{out} holds {', '.join(taken)} that no replay of ours wrote: name another folder", "--out")


def _ours(out):
    try:
        return json.loads((out / SUMMARY).read_text(encoding="utf-8")).get("made_by") == MADE_BY
    except (OSError, ValueError, AttributeError):
        return False


def the_site(name):
    """Return the Site of a file or packaged scenario, without its faults and people.  Raises InputError."""
    from host_sim.cli_night import read

    if name is None:
        raise InputError(
            "a log of somebody's pit needs the pit: its shape, contacts, pumps and pipes, as a site file (--site "
            "FILE.toml) or a packaged one (--site demo)",
            "--site",
        )
    plan = read(name, [], None)[0]
    plan.faults, plan.actions = [], []
    return plan


def the_settings(plan, texts):
    """Return the settings of a site with NAME=VALUE texts, or None without any.  Raises InputError."""
    from host_sim.replay import whatif

    return whatif.settings_of(plan, texts) if texts else None


def settings_for_levels(plan, values):
    """Return settings for a site that is judged by its level alone.  Raises InputError."""
    from dataclasses import replace

    from host_sim.replay import openloop

    return openloop.settings_for(replace(plan, settings=values))


def _read(screen, path, mapping, ask):
    from host_sim.replay import foreign

    log = foreign.read(path, the_mapping(screen, path, mapping, ask))
    foreign.nothing_to_see(log)
    return log


def the_mapping(screen, path, mapping, ask):
    """Return the Mapping of a log: asked for, given, or kept beside it.  Raises InputError."""
    from host_sim.replay import asking, toml_text
    from host_sim.replay import mapping as maps

    beside = Path(str(path) + MAP_SUFFIX)
    if ask:
        import typer

        found = asking.ask(path, lambda question, default: typer.prompt(question, default=default, show_default=True))
        beside.write_text(toml_text.text(maps.as_table(found)), encoding="utf-8")
        screen.print(Text(f"The mapping is kept in {beside}"))
        return found
    if mapping is not None:
        return maps.load(mapping)
    if beside.exists():
        return maps.load(beside)
    raise InputError(
        f"which column holds what?  Ask with --map (the answers are kept in {beside.name}), or give a mapping "
        "file with --mapping FILE.toml",
        str(path),
    )


# A journal of ours.


def _journals(screen, path, site, was, settings, module, changes, sweep, tries, units, out):
    journals = _board(path) if Path(path).is_dir() else [sources.journal(path)]
    plan = the_site(site) if site is not None else None
    results = [_replay(screen, journal, findings, plan, settings, module) for journal, findings in journals]
    # Of several sets of settings one may have lasted a moment only; together they must have moved a pump.
    code = 1 if any(differs for differs, _ in results) or not any(ran for _, ran in results) else 0
    if code and not any(differs for differs, _ in results):
        screen.print(Text("In nothing that was compared did a pump run: this proves nothing.", style="bold"))
    journal, findings = journals[-1]
    if plan is None:
        screen.print(Text("(Give its site with --site to have the night reconstructed and explained.)", style="dim"))
        return code
    log = sources.log_of(journal, plan, Path(path).name, findings)
    return max(code, _explain(screen, log, plan, was or "duplex", None, None, changes, sweep, tries, units, out))


def _board(folder):
    # A folder of segments that a board wrote.
    from host_sim.board import readback

    names = sorted(Path(folder).glob("*.seg"))
    if not names:
        raise InputError("holds no NAME.seg: the segments of a board's journal are wanted", str(folder))
    segments = []
    for item in names:
        try:
            segments.append(readback.read_segment(item.read_bytes()))
        except InputError as error:
            raise InputError(error.problems, str(item)) from error
    segments.sort(key=lambda segment: segment.number)
    journals = readback.to_journals(segments, Path(folder).name)
    steps = (step for segment in segments for step in segment.steps)
    for journal in journals:
        for record in journal.records:
            if hasattr(record, "inputs"):
                record.late_ms = next(steps).late_ms  # the simulator's record only tells that a step was late
    return [(journal, []) for journal in journals]


def _replay(screen, journal, findings, plan, settings, module):
    # Returns (whether it differs, whether anything was compared in which a pump ran).
    from host_sim.journal import firmware_checksum
    from host_sim.replay import exact, whatif

    for finding in findings:
        screen.print(Text(f"{finding.count} {finding.text}", style="bold"))
    if settings and plan is None:
        values = list(journal.settings)
        for text in settings:
            _override(values, text)
    else:
        values = whatif.settings_of(plan, settings) if settings else None
    if journal.checksum != firmware_checksum():
        screen.print(Text(f"The journal was written by firmware {journal.checksum:08x}; this one is "
                          f"{firmware_checksum():08x}.", style="dim"))  # fmt: skip
    if values is None and module is None:
        found = exact.replay(journal)
        _tell_exact(screen, found)
        if found.difference is not None:
            _tell_changes(screen, journal, exact.replay(journal, collect=True))
        return found.difference is not None, found.compared > 0 and found.pump_ran
    after = exact.replay(journal, values, module, collect=True)
    _tell_changes(screen, journal, after)
    return False, after.compared > 0 and after.pump_ran


def _tell_changes(screen, journal, after):
    # Against what was recorded, whichever firmware wrote it.
    from host_sim.replay import changes, exact

    end_ms = journal.duration_ms or journal.records[-1].time_ms
    screen.print(Text("What changed, channel by channel:", style="bold"))
    lines = [line for channel in changes.compare(exact.recorded(journal), after.outputs, end_ms)
             for line in changes.told(channel, _ms)]  # fmt: skip
    for line in lines or ["nothing"]:
        screen.print(Text(line))


def _override(values, text):
    from duplexsump.control import settings as s

    from host_sim import site_settings
    from host_sim.replay.whatif import _value
    from host_sim.table import Table

    key, equals, value = (part.strip() for part in text.partition("="))
    if not equals:
        raise InputError(f'"{text}": write NAME=VALUE, as min_off=30 s', "--set")
    problems = []
    site_settings.override(values, Table({key: _value(value)}, "settings", problems))
    problems += [] if problems else s.check(values)
    if problems:
        raise InputError(problems, "--set")


def _ms(time_ms):
    hours, rest = divmod(time_ms, 3_600_000)
    minutes, rest = divmod(rest, 60_000)
    return f"{hours}:{minutes:02d}:{rest / 1000:04.1f}"


def _tell_exact(screen, found):
    words_of = f"{found.compared} records of {found.lives} lives replayed in {found.steps} steps"
    if found.passed:
        screen.print(Text(f"Identical: {words_of}; every output as recorded, bit for bit.", style="bold"))
        return
    where = found.difference
    if where is None:
        screen.print(Text(f"No difference, but {found.reason} ({words_of})."))
        return
    screen.print(Text(f"Not identical: {found.reason} ({words_of}).", style="bold"))
    screen.print(Text(f"First difference at {_ms(where.time_ms)} ({where.time_ms} ms): {where.what}", style="bold"))
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in ("", "recorded", "came"):
        table.add_column(heading)
    for name, expected in list(where.expected.items())[:12]:
        table.add_row(name, str(expected), str(where.came.get(name)))
    screen.print(table)
    for name, text in where.state.items():
        screen.print(Text(f"  {name}: {text}"))
    screen.print(Text("Around it:"))
    for time_ms, text in where.before + where.after:
        mark = ">" if time_ms == where.time_ms else " "
        screen.print(Text(f" {mark} {_ms(time_ms)}  {text}"))


# A night to explain.


def _explain(screen, log, plan, was, settings, module, changes, sweep, tries, units, out):
    from host_sim.replay import night

    account = night.explain(log, plan, was, settings, module)
    if tries and account.flow is not None:
        columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
        with Progress(*columns, console=console(stderr=True), transient=True) as bar:
            task = bar.add_task("the night again", total=1.0)
            night.try_changes(account, changes, sweep, lambda done: bar.update(task, completed=done))
    _tell(screen, account, units)
    _write(out, account, units)
    names = [*NAMES, *(["sweep.png"] if account.sweep else [])]
    screen.print(Text(f"Pictures and records: {out}/ ({', '.join(names)})"))
    if not account.pump_ran:
        screen.print(Text("No pump ever ran in this log: it proves nothing about the controller.", style="bold"))
        return 1
    return 0


def _tell(screen, account, units):
    screen.print(Text(f"{account.log.name}: {account.log.rows_read} rows, {', '.join(account.log.channels())}",
                      style="bold"))  # fmt: skip
    for line in words.damage(account.log):
        screen.print(Text(f"  {line}", style="dim"))
    table = Table(box=None, show_header=False, pad_edge=False)
    table.add_column(no_wrap=True)
    table.add_column()
    lines = words.story(account, units)
    lines = [line for line in lines if line[2]] if len(lines) > STORY_LINES else lines
    for clock, text, weight in lines[:STORY_LINES]:
        table.add_row(clock, Text(text, style=("dim", "", "bold")[weight]))
    screen.print(table)
    screen.print()
    for sign in account.signs[:6]:
        screen.print(Text(f"{sign.text} ({sign.sure})", style="bold"))
        for text in sign.evidence:
            screen.print(Text(f"  {text}"))
        if len(sign.causes) > 1:
            screen.print(Text(f"  it may be: {', '.join(sign.causes)}"))
    screen.print()
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
    from host_sim.replay import picture, zoom

    figure = picture.draw(account, units)
    files.write(out, "strip.png", lambda path: picture.save(figure, path))
    if account.sweep:
        field = picture.sweep(account, units)
        files.write(out, "sweep.png", lambda path: picture.save(field, path))
    files.write(out, "strip.html", zoom.page(account, units))
    files.write(out, "account.txt", "\n".join(words.page(account, units)) + "\n")
    files.write(out, SUMMARY, json.dumps({"made_by": MADE_BY, **words.as_json(account)}, indent=1) + "\n")
