"""A journal of ours in `sumpbench replay`: bit for bit, or with settings or firmware changed, channel by channel."""

from pathlib import Path

from duplexsump.control import settings as s
from rich.table import Table
from rich.text import Text

from host_sim.errors import InputError
from host_sim.replay import changes, exact, whatif
from host_sim.replay.reading import board, sources
from host_sim.run.journal import firmware_checksum
from host_sim.site import settings as site_settings
from host_sim.site.reader import Table as Reader


def replay_all(screen, path, plan, settings, module):
    """Replay the journal in a file, or each of a folder of a board's segments, and print what came out.

    `plan` is the Site or None; `settings` are NAME=VALUE texts; `module` is
    another firmware or None.  Returns (exit code, last journal, its data
    issues).  Raises InputError for what cannot be read.
    """
    if Path(path).is_dir():
        journals = [(journal, []) for journal in board.journals_in(path)]
    else:
        journals = [sources.journal(path)]
    results = [_replay(screen, journal, issues, plan, settings, module) for journal, issues in journals]
    # Of several sets of settings one may have lasted a moment only; together they must have moved a pump.
    differs, ran = any(differs for differs, _ in results), any(ran for _, ran in results)
    if not differs and not ran:
        screen.print(Text("No pump ran in anything that was compared: this proves nothing.", style="bold"))
    return (1 if differs or not ran else 0, *journals[-1])


def _replay(screen, journal, issues, plan, settings, module):
    # Returns (whether it differs, whether anything was compared in which a pump ran).
    for issue in issues:
        screen.print(Text(f"{issue.count} {issue.text}", style="bold"))
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
    changed = _tell_changes(screen, journal, after)
    return changed, after.compared > 0 and after.pump_ran


def _tell_changes(screen, journal, after):
    # Against what was recorded, whichever firmware wrote it; returns whether anything changed.
    end_ms = journal.duration_ms or journal.records[-1].time_ms
    screen.print(Text("What changed, channel by channel:", style="bold"))
    lines = [line for channel in changes.compare(exact.recorded(journal), after.outputs, end_ms)
             for line in changes.describe(channel, _ms)]  # fmt: skip
    for line in lines or ["nothing"]:
        screen.print(Text(line))
    return bool(lines)


def _override(values, text):
    key, equals, value = (part.strip() for part in text.partition("="))
    if not equals:
        raise InputError(f'"{text}": write NAME=VALUE, as min_off=30 s', "--set")
    problems = []
    site_settings.override(values, Reader({key: whatif.value_of(value)}, "settings", problems))
    problems += [] if problems else s.check(values)
    if problems:
        raise InputError(problems, "--set")


def _ms(time_ms):
    hours, rest = divmod(time_ms, 3_600_000)
    minutes, rest = divmod(rest, 60_000)
    return f"{hours}:{minutes:02d}:{rest / 1000:04.1f}"


def _tell_exact(screen, found):
    size = f"{found.compared} records over {found.power_ups} power-ups, replayed in {found.steps} steps"
    if found.passed:
        screen.print(Text(f"Identical: {size}; every output as recorded, bit for bit.", style="bold"))
        return
    where = found.difference
    if where is None:
        screen.print(Text(f"No difference, but {found.reason} ({size})."))
        return
    screen.print(Text(f"Not identical: {found.reason} ({size}).", style="bold"))
    screen.print(Text(f"First difference at {_ms(where.time_ms)} ({where.time_ms} ms): {where.what}", style="bold"))
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in ("", "recorded", "replayed"):
        table.add_column(heading)
    for name, expected in list(where.expected.items())[:12]:
        table.add_row(name, str(expected), str(where.replayed.get(name)))
    screen.print(table)
    for name, text in where.state.items():
        screen.print(Text(f"  {name}: {text}"))
    screen.print(Text("Records around it:"))
    for time_ms, text in where.before + where.after:
        mark = ">" if time_ms == where.time_ms else " "
        screen.print(Text(f" {mark} {_ms(time_ms)}  {text}"))
