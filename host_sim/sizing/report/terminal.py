"""The summary on the terminal: verdict first, then what carries it, then each remark with its cures."""

from rich.panel import Panel
from rich.table import Table
from rich.text import Text

STYLES = {"fits": "green", "fits with remarks": "yellow", "does not fit": "red"}
# The rows that a person wants to see at once; the rest is in the page.
SHORT = (
    ("inflow.design", "design inflow"),
    ("head.off.pump_1_alone.flow", "pump 1 alone, water at off"),
    ("head.off.pump_2_alone.flow", "pump 2 alone, water at off"),
    ("head.high.both.flow", "both, water at high"),
    ("head.lag_gain", "the second pump adds"),
    ("cycling.band", "water between off and lead"),
    ("cycling.time_design", "shortest time from start to start, up to the design inflow"),
    ("cycling.starts_design", "starts an hour of each motor there"),
    ("cycling.starts_alone", "with one pump out"),
    ("cycling.run", "run with no inflow"),
    ("reserve.carried", "one pump over the design inflow"),
    ("reserve.cut", "a power cut reaches the floor after"),
    ("supply.design.shortest", "battery at the design inflow, at least"),
    ("supply.design.longest", "at most"),
)


def tell(screen, page, say):
    """Print a Page to a rich console."""
    result = page.result
    screen.print(Text(result.inputs.name, style="bold"))
    rows = {row.key: row for section in page.sections for row in section.rows}
    table = Table(box=None, show_header=False, pad_edge=False)
    table.add_column()
    table.add_column(justify="right", no_wrap=True)
    table.add_column()
    for key, label in SHORT:
        if key not in rows:
            continue
        row = rows[key]
        word = {True: "", False: "not within", None: ""}[row.within]
        bound = f"limit {say(row.bound, row.kind)}" if row.bound is not None and row.within is False else ""
        table.add_row(label, say(row.value, row.kind), Text(f"{word} {bound}".strip(), style="red"))
    screen.print(table)
    heights = ", ".join(
        f"{name} {say(c.dry_m if name == 'off' else c.wet_m, 'length')}"
        for name, c in zip(("off", "lead", "lag", "high"), result.contacts, strict=True)
    )
    screen.print(Text(f"contacts: {heights} above the bottom; floor {say(result.inputs.pit.floor_m, 'length')}"))
    if page.checks:
        worst = max(check.disagreement for check in page.checks)
        word = "confirms" if all(check.agrees for check in page.checks) else "does not confirm"
        screen.print(Text(f"the simulator {word} cycle time and starts: {100 * worst:.2f} % apart at the most"))
    elif page.check_problem:
        screen.print(Text(f"not confirmed by the simulator: {page.check_problem}"))
    screen.print()
    for item in page.found:
        sign = "! " if item.remark.serious else "- "
        screen.print(Text(f"{sign}{item.remark.title}: {item.reason}", style="bold" if item.remark.serious else ""))
        for cure in item.cures:
            screen.print(Text(f"    cure: {cure.text}", style="green"))
        for cure in item.untried:
            screen.print(Text(f"    not enough by itself: {cure.text}", style="yellow"))
    if page.assumptions:
        screen.print()
        given = ", ".join(f"{a.key} {a.taken}" for a in page.assumptions)
        screen.print(Text(f"taken for granted, because nobody said: {given}", style="dim"))
    screen.print()
    screen.print(Panel(Text(page.headline, style="bold"), border_style=STYLES[page.verdict]))
