"""The work of `sumpbench replay-trial --matrix`: draw or read the scores, print the table and the goals."""

from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn

from host_sim.replay.second_log import matrix
from host_sim.replay.second_log.logger import CHANNELS, ROWS_S
from host_sim.report.console import console

MET = ("every goal met: nothing wrongly established, no healthy night called faulty, the floor never called wrongly, "
       "the truth inside each band as often as stated")  # fmt: skip


def run(nights, seed, rows, channels, loggers, first, paths, as_json):
    """Print the matrix, as a table or as JSON; return 1 where a goal is missed.  Raises InputError."""
    rows = matrix.numbers_of(rows, ROWS_S, "--rows")
    channels = matrix.names_of(channels, CHANNELS, "--channels")
    scores = matrix.read(paths) or _drawn(nights, seed, rows, channels, loggers, first)
    broken = matrix.broken_goals(scores)
    if as_json:
        print(matrix.as_json(scores))
        return int(bool(broken))
    seeds = sorted({one.seed for one in scores})
    lines = [f"seeds {seeds[0]} to {seeds[-1]}", *matrix.table(scores)]
    wrong = matrix.wrong_lines(scores)
    lines += [f"claimed wrongly on {len(wrong)} of {len(scores)} logs:", *wrong] if wrong else []
    lines += [f"goal not met: {text}" for text in broken] or [MET]
    print("\n".join(lines))
    return int(bool(broken))


def _drawn(nights, seed, rows, channels, loggers, first):
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
    found = []
    with Progress(*columns, console=console(stderr=True), transient=True) as bar:
        task = bar.add_task("nights", total=nights)
        for night, score in matrix.draw(nights, seed, rows, channels, loggers, first):
            found.append(score)
            bar.update(task, completed=night.seed - seed - first)
    return found
