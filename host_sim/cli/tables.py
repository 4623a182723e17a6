"""The commands that show a table: settings, faults, scenarios, state machines, benchmark."""

import dataclasses
import json
import os
import re
import tomllib
from importlib import resources

from rich.table import Table
from rich.text import Text

from host_sim import alarm_words
from host_sim.errors import InputError
from host_sim.report import calls
from host_sim.report.clock import lasting
from host_sim.report.console import console, table_of


def setting_rows():
    """Return the settings as a list of dictionaries, straight from the firmware's table."""
    from duplexsump.control import settings

    names = ("name", "unit", "least", "most", "default", "source", "meaning")
    return [dict(zip(names, row, strict=True)) for row in settings.TABLE]


def list_settings(as_json):
    """Print every setting of the controller as a table or as JSON."""
    rows = setting_rows()
    if as_json:
        print(json.dumps(rows, indent=1))
        return
    sources = list(dict.fromkeys(row["source"] for row in rows))
    columns = (("setting", "left", 16), ("unit", "left", 4), ("range", "left", 8), ("default", "left", 8))
    table = table_of("Controller settings", (*columns, ("source", "right", 2), ("meaning", "left", 30)))
    for row in rows:
        span = f"{row['least']} .. {row['most']}"
        source = f"[{sources.index(row['source']) + 1}]"
        default = with_words(row["default"], row["unit"])
        table.add_row(row["name"], row["unit"], span, default, Text(source), row["meaning"])
    screen = console()
    screen.print(table)
    screen.print("\nSources of the defaults", style="bold")
    for number, source in enumerate(sources, start=1):
        screen.print(Text(f"[{number}] {source}"))


def with_words(value, unit):
    """Return a value as a text, a long time with its duration: "600000 (10 min)"."""
    return f"{value} ({lasting(value / 1000)})" if unit == "ms" and value >= 1000 and value % 1000 == 0 else str(value)


def alarm_rows():
    """Return the alarms as a list of dictionaries: the firmware's table and the words to each."""
    from duplexsump.control import alarm_table as at

    found = []
    for row in at.TABLE:
        words = alarm_words.of(row[at.NAME])
        found.append({
            "name": row[at.NAME], "text": row[at.TEXT], "priority": at.PRIORITIES[row[at.PRIORITY]],
            "latched": bool(row[at.LATCH]), "call": alarm_words.call(row), **dataclasses.asdict(words),
        })  # fmt: skip
    return found


def list_alarms(as_json, words=()):
    """Print alarms with what to do about each, as text or as JSON; `words`: only those whose texts have them all.

    A word is looked for where words begin, in the name and in every text.  Raises InputError where no alarm has them.
    """
    asked = [re.compile(rf"(?<![a-z0-9]){re.escape(word.lower())}") for word in words]
    rows = [row for row in alarm_rows() if all(word.search(_said(row)) for word in asked)]
    if not rows:
        raise InputError(f'no alarm has "{" ".join(words)}" in its name or texts: `sumpbench alarms` lists them all')
    if as_json:
        print(json.dumps(rows, indent=1))
        return
    screen = console()
    priority, heads = "", calls.words()
    for row in rows:
        if row["priority"] != priority:
            priority = row["priority"]
            screen.print(Text(f"\n{heads[priority]}", style="bold"))
        screen.print(alarm_block(row))


def _said(row):
    parts = ("name", "text", *alarm_words.Words.__dataclass_fields__)
    return " ".join(row[part] for part in parts).lower()


def alarm_block(row):
    """Return the words to one alarm, headings in a column of their own so that they stay apart from the text."""
    latched = " (stays on until reset)" if row["latched"] else ""
    block = Table(box=None, show_header=False, pad_edge=False, title=f"\n{row['text']}{latched}", title_justify="left",
                  title_style="bold")  # fmt: skip
    block.add_column(no_wrap=True, width=len("why medium"))
    block.add_column()
    for heading, part in (("wrong", "wrong"), ("likely", "causes"), ("do", "do"), ("caution", "never"),
                          ("why " + row["priority"], "reason")):  # fmt: skip
        block.add_row(heading, Text(row[part]))
    return block


def list_scenarios():
    """Print the packaged scenarios: name, duration, description."""
    table = table_of(None, (("scenario", "left", 12), ("duration", "left", 8), ("description", "left", 30)))
    folder = resources.files("host_sim") / "scenarios"
    for item in sorted(folder.iterdir(), key=lambda item: item.name):
        if item.name.endswith(".toml"):
            data = tomllib.loads(item.read_text(encoding="utf-8"))
            about = " ".join(data.get("about", "").split())
            table.add_row(item.name[:-5], data["scenario"]["lasts"], Text(f"{data['name']}. {about}"))
    screen = console()
    screen.print(table)
    screen.print("\nTo run one:  sumpbench night NAME")


def list_faults():
    """Print the registry of faults: how each is written, its effect at the pit, the response to expect."""
    from host_sim import units as edge
    from host_sim.site import faults

    columns = (("fault", "left", 20), ("effect at the pit", "left", 30), ("expected response", "left", 30))
    table = table_of(None, columns)
    for kind in faults.REGISTRY.values():
        name, does = kind.name, kind.does
        if kind.parameter is not None:
            low, high, usual = (
                edge.show(value, kind.parameter.kind)
                for value in (kind.parameter.least, kind.parameter.most, kind.parameter.default)
            )
            name += "[=VALUE]"
            does += f"; VALUE: {kind.parameter.meaning}, {low} to {high}, default {usual}"
        table.add_row(Text(name), Text(does), Text(kind.says))
    screen = console()
    screen.print(table)
    screen.print(Text(f"\n{len(faults.REGISTRY)} faults.  Write one as {faults.GRAMMAR}"))
    screen.print("Faults combine: give --fault more than once.")


def draw_charts(machine, out):
    """Print one or all state machines as Mermaid text, in a terminal as a table too; or write `out`/NAME.mmd."""
    from host_sim.report import machines

    tables = [machines.load(name) for name in ([machine] if machine else machines.names())]
    if out is not None:
        out.mkdir(parents=True, exist_ok=True)
    screen = console()
    for table in tables:
        if out is not None:
            path = out / f"{table.name}.mmd"
            path.write_text(machines.mermaid(table), encoding="utf-8")
            print(f"{table.title}: {path}")
            continue
        if screen.is_terminal:  # a pipe gets the Mermaid text alone
            screen.print(state_table(table))
            screen.print()
        print(machines.mermaid(table))


def state_table(table):
    """Return a state machine as a table of state, event and next state; an event without a row cannot occur."""
    from host_sim.report import machines

    found = table_of(table.title, (("in state", "left", 20), ("event", "left", 14), ("next state", "left", 20)))
    before = None
    for state, event, after in machines.rows(table):
        cells = ("" if state == before else state, event, "stays" if after == state else after)
        found.add_row(*(cell.replace("_", " ") for cell in cells))
        before = state
    return found


def run_benchmark(as_json, path=None, quick=False):
    """Measure the simulator's speed and print it as a table or as JSON; the status line names the current run.

    The run is added to the history at `path`, or where `history.place()` says.  A `quick` one measures
    both cores once and the goals on small samples, and leaves out fixed steps and the whole exploration.
    """
    from host_sim.benchmark import goals, history, pairs, speed
    from host_sim.compiled import select
    from host_sim.run.journal import firmware_checksum

    path = path or history.place()
    before, load = history.read(path), history.load()
    with console(stderr=True).status("") as status:
        rows, words = [], []
        if not quick:
            rows, words = speed.run_benchmark(lambda name: status.update(f"running: {name}"))
            words = [f"The rows of the first table: {select.told()}.", *words]
        both = pairs.compare(lambda name: status.update(f"running: {name}"), 1 if quick else pairs.ROUNDS)
        wanted = goals.measured(both, load, quick, lambda name: status.update(f"running: {name}"))
    run = history.record(both, rows, firmware_checksum(), wanted, load)
    words += history.compared(run, before)
    history.keep(path, run)
    if as_json:
        names = ("name", "simulated_s", "cpu_s", "steps", "note", "us_per_step", "ms_per_hour", "times_real")
        figures = [{name: getattr(row, name) for name in names} for row in rows]
        cores = [dataclasses.asdict(pair) for pair in both]
        print(json.dumps({"rows": figures, "cores": cores, "says": words, "history": str(path),
                          "load": load, "goals": [dataclasses.asdict(goal) for goal in wanted],
                          "install": [dataclasses.asdict(one) for one in goals.packages()]}, indent=1))  # fmt: skip
        return
    columns = (("run", "left", 30), ("simulated", "right", 9), ("CPU time", "right", 9), ("steps", "right", 8))
    more = (("us per step", "right", 9), ("CPU ms per hour", "right", 9), ("times real time", "right", 9))
    table = table_of(None, (*columns, *more))
    for row in rows:
        step = f"{row.us_per_step:.0f}" if row.steps else ""
        figures = (lasting(row.simulated_s), f"{row.cpu_s:.2f} s", f"{row.steps}", step)
        table.add_row(row.name, *figures, f"{row.ms_per_hour:.2f}", f"{row.times_real:,.0f}")
    screen = console()
    if rows:
        screen.print(table)
    screen.print(_cores_table(both))
    screen.print(_install_table(goals.packages()))
    screen.print(_goals_table(wanted, load))
    for line in words:
        screen.print(Text(line))
    screen.print(Text(f"History of runs: {path}"))


def _cores_table(both):
    # One line a measurement: CPU time for one step, night or state each way, and the paired ratios.
    columns = (("one", "left", 16), ("pure Python", "right", 11), ("compiled", "right", 11))
    columns += tuple((name, "right", 9) for name in ("pure / compiled", "SWMM / pure", "SWMM / compiled"))
    table = table_of("Pure Python, compiled, and EPA SWMM's engine at 0.1 s, measured in turn", columns)
    for pair in both:
        times = ["" if seconds is None else _short_time(seconds) for seconds in (pair.pure_s, pair.compiled_s)]
        ratios = ["" if ratio is None else f"{ratio:.1f}" for ratio in (pair.ratio, pair.swmm_pure, pair.swmm_compiled)]
        table.add_row(f"{pair.name}: {pair.unit}", *times, *ratios)
    return table


def _install_table(found):
    # What each package of the default install weighs and gives.
    columns = (("package", "left", 14), ("MB", "right", 6), ("gives", "left", 40))
    table = table_of("The default install, by package", columns)
    for one in found:
        table.add_row(one.name, f"{one.size / 1e6:.1f}", one.gives)
    return table


def _goals_table(wanted, load):
    # One line a goal; the load says how far seconds on the clock can be trusted.
    columns = (("goal", "left", 30), ("now", "right", 10), ("wanted", "right", 9), ("met", "left", 7), ("", "left", 30))
    table = table_of(f"Goals of speed and size ({os.cpu_count()} cores, load at the start {load:.1f})", columns)
    for goal in wanted:
        met = {True: "yes", False: "NO", None: "unknown"}[goal.met]
        table.add_row(goal.name, goal.figure, goal.goal, met, goal.note)
    return table


def _short_time(seconds):
    return f"{seconds * 1e6:.1f} us" if seconds < 1e-3 else f"{seconds * 1e3:.0f} ms"
