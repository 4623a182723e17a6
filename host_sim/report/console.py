"""The screen: a console that fits the terminal, and tables that fit the console."""

import os

from rich.console import Console
from rich.table import Table

# Piped into a file or a pager there is no terminal to ask for its width.
PIPED_WIDTH = 132
CAUTIONS_LINE = "Before any work at the pit read the cautions: sumpbench --help, or the README."


def console(stderr=False):
    """Return a console that fits the terminal, or COLUMNS, else PIPED_WIDTH, columns where there is none."""
    found = Console(stderr=stderr, highlight=False)
    if found.is_terminal:
        return found
    told = os.environ.get("COLUMNS", "")
    return Console(stderr=stderr, highlight=False, width=int(told) if told.isdigit() and int(told) > 0 else PIPED_WIDTH)


def table_of(title, columns):
    """Return an empty table; `columns` are (heading, alignment, smallest width) and the first stays on one line."""
    table = Table(title=title, title_justify="left", header_style="bold", show_lines=False, pad_edge=False, box=None)
    for place, (heading, align, least) in enumerate(columns):
        table.add_column(heading, justify=align, min_width=least, no_wrap=place == 0, overflow="fold")
    return table
