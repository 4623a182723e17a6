"""`sumpbench night`: read and check the input, simulate, print, draw, write."""

import json

from rich.panel import Panel
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from host_sim.report import advice, calls, files
from host_sim.report.clock import Clock, stretch
from host_sim.report.console import CAUTIONS_LINE, console
from host_sim.report.timeline import timeline
from host_sim.report.units import units as unit_system
from host_sim.report.verdict import comparison, rows, summary, verdict
from host_sim.site.chosen import read

# A screen holds about this many lines of the timeline; timeline.txt has all of them.
TIMELINE_LINES = 42


def run(site, faults, seed, units_name, out, baseline, own_faults=True):
    """Simulate one night, print timeline, comparison and verdict, and write the results into `out`.

    `own_faults` False leaves out the scenario's own faults.  Returns the exit
    code: 0 where the floor stayed dry, 1 where it got wet.
    Raises InputError, before anything is simulated or written, for a site,
    fault or folder that cannot be used.
    """
    files.check(out)
    plan, added, seed = read(site, faults, seed, own_faults)
    units = unit_system(units_name)
    screen = console()
    screen.print(Text(plan.name, style="bold"))
    duplex, single = simulate(plan, added, seed, baseline)
    tell(screen, duplex, single, units)
    write(out, plan, duplex, single, units)
    screen.print(verdict_panel(duplex, units))
    screen.print(Text(f"Pictures and records: {out}/ ({', '.join(files.NAMES)})"))
    screen.print(CAUTIONS_LINE)
    return 0 if duplex.floor_dry else 1


def simulate(plan, added, seed, baseline):
    """Return (trace of the pair, trace of the single pump or None); a progress bar shows meanwhile."""
    from host_sim.run.closed_loop import run as run_night

    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
    names = {"duplex": "two pumps and controller"} | ({"single": "one pump, float switch"} if baseline else {})
    traces = {"single": None}
    with Progress(*columns, console=console(stderr=True), transient=True) as bar:
        tasks = {controller: bar.add_task(name, total=1.0) for controller, name in names.items()}
        for controller, task in tasks.items():
            traces[controller] = run_night(
                plan,
                faults=added,
                seed=seed,
                controller=controller,
                progress=lambda done, task=task: bar.update(task, completed=done),
            )
    return traces["duplex"], traces["single"]


def verdict_panel(trace, units):
    """Return the verdict in a frame, green for a dry floor and red for a wet one."""
    return Panel(Text(verdict(trace, units), style="bold"), border_style="green" if trace.floor_dry else "red")


def tell(screen, duplex, single, units):
    """Print the timeline of the night and the comparison."""
    clock = Clock(duplex.begins_s, duplex.duration_s)
    lines = timeline(duplex, units)
    shown = weightiest(lines, TIMELINE_LINES)
    table = Table(box=None, show_header=False, pad_edge=False)
    table.add_column(no_wrap=True)
    table.add_column()
    for line in shown:
        table.add_row(clock.at(line.time_s, seconds=True), Text(line.text, style=("dim", "", "bold")[line.weight]))
    screen.print(table)
    if len(lines) > len(shown):
        screen.print(Text(f"... {len(lines) - len(shown)} routine lines more in timeline.txt", style="dim"))
    screen.print()
    if duplex.alarms:
        screen.print(advice_table(duplex))
        if advice.calling(duplex):
            screen.print(Text(calls.UNSEEN))
        screen.print()
    screen.print(comparison_table(duplex, single, units))
    screen.print()


def advice_table(trace):
    """Return what each alarm of the night asks for, one row an alarm."""
    table = Table(title="What the alarms ask for", title_justify="left", title_style="bold", box=None,
                  show_header=False, pad_edge=False)  # fmt: skip
    table.add_column(max_width=34)
    table.add_column()
    for head, text in advice.advice(trace):
        table.add_row(Text(head), Text(text))
    return table


def weightiest(lines, most):
    """Return the `most` lines that matter most, in order of time."""
    chosen = sorted(range(len(lines)), key=lambda place: (-lines[place].weight, place))[:most]
    return [lines[place] for place in sorted(chosen)]


def comparison_table(duplex, single, units):
    """Return the table of figures, with the single pump's beside them where it was simulated."""
    table = Table(header_style="bold", pad_edge=False, box=None)
    table.add_column(f"the same {stretch(duplex)}", no_wrap=True)
    table.add_column("two pumps and controller", justify="right")
    if single is None:
        for label, ours in rows(duplex, units):
            table.add_row(label, ours)
        return table
    table.add_column("one pump, float switch, no battery", justify="right")
    for row in comparison(duplex, single, units):
        table.add_row(*row)
    return table


def write(out, plan, duplex, single, units):
    """Write pictures, timeline, journal and summary; the summary last, since it marks the folder as complete."""
    from host_sim.report import closeup, strip  # they load matplotlib: not before there is something to draw
    from host_sim.report.timeline import written

    night = strip.draw(duplex, units, single, heading=plan.name)
    start_s, end_s = closeup.window(duplex, duplex.totals.highest_at_s)
    near = strip.draw(
        closeup.cut(duplex, start_s, end_s),
        units,
        None if single is None else closeup.cut(single, start_s, end_s),
        heading=f"{plan.name}: around the highest water",
        line=verdict(duplex, units),
    )
    for figure, stem in ((night, "strip"), (near, "closeup")):
        for suffix in ("png", "svg"):
            files.write(out, f"{stem}.{suffix}", lambda path, figure=figure: strip.save(figure, path))
    lines = [plan.name, verdict(duplex, units), "", *written(duplex, units)]
    if duplex.alarms:
        lines += ["", "What the alarms ask for", *advice.written(duplex)]
    files.write(out, "timeline.txt", "\n".join(lines) + "\n")
    files.write(out, "journal.jsonl", duplex.journal.write)
    figures = {
        "made_by": files.MADE_BY,
        "site": plan.name,
        "source": plan.path,
        "faults": [{"name": f.name, "start_s": f.start_s, "end_s": f.end_s, "value": f.value} for f in duplex.faults],
        "seed": duplex.seed,
        "begins_s": duplex.begins_s,
        "duration_s": duplex.duration_s,
        "verdict": verdict(duplex, units),
        "duplex": summary(duplex),
        "single": None if single is None else summary(single),
    }
    files.write(out, files.SUMMARY, json.dumps(figures, indent=1) + "\n")
