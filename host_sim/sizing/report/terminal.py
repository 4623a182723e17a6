"""The summary on the terminal: key figures, each remark with its fixes, the verdict last."""

from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from host_sim.sizing.report.page import disagreement
from host_sim.sizing.say import assumed_words

STYLES = {"fits": "green", "fits with remarks": "yellow", "does not fit": "red", "not confirmed": "red"}
# The rows that a person wants to see at once; the rest is in the page.
SHORT = (
    ("inflow.design", "design inflow"),
    ("head.off.pump_1_alone.flow", "pump 1 alone, water at off"),
    ("head.off.pump_2_alone.flow", "pump 2 alone, water at off"),
    ("head.high.both.flow", "both pumps, water at high"),
    ("head.lag_gain", "flow added by the second pump"),
    ("cycling.band", "pumped band (off to lead)"),
    ("cycling.displaced", "pump bodies in it, taken off for the starts"),
    ("cycling.time_design", "shortest cycle time, up to the design inflow"),
    ("cycling.starts_design", "starts per hour of each motor, at that inflow"),
    ("cycling.starts_alone", "starts per hour with one pump out"),
    ("cycling.run", "shortest run (no inflow)"),
    ("reserve.carried", "weaker pump, water at high / design inflow"),
    ("reserve.cut", "no pump running: lead to floor in"),
    ("supply.design.shortest", "battery run time at the design inflow: low"),
    ("supply.design.longest", "battery run time at the design inflow: high"),
)


def checked(checks, say):
    """Return in a sentence what the simulation showed: that it agrees, or which figure it shows otherwise."""
    wrong = disagreement(checks, say)
    if wrong:
        return f"simulation DISAGREES: {wrong}"
    worst = 100.0 * max(check.disagreement for check in checks)
    most = max(check.inflow_m3s for check in checks)
    return f"simulation agrees: cycle time and starts within {worst:.2f} %, up to {say(most, 'flow')}"


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
        word = row.held_against(say) if row.within is False or row.at_limit else ""
        table.add_row(label, row.shown(say), Text(word, style="red" if row.within is False else "yellow"))
    screen.print(table)
    heights = ", ".join(
        f"{name} {say(c.dry_m if name == 'off' else c.wet_m, 'length')}"
        for name, c in zip(("off", "lead", "lag", "high"), result.contacts, strict=True)
    )
    screen.print(Text(f"contacts: {heights} above the bottom; floor {say(result.inputs.pit.floor_m, 'length')}"))
    if page.checks:
        screen.print(Text(checked(page.checks, say)))
    elif page.check_problem:
        screen.print(Text(f"not checked by simulation: {page.check_problem}"))
    screen.print()
    for item in page.found:
        sign = "! " if item.serious else "- "
        screen.print(Text(f"{sign}{item.title}: {item.reason}", style="bold" if item.serious else ""))
        for cure in item.cures:
            screen.print(Text(f"    fix: {cure.text}", style="green"))
        for cure in item.untried:
            screen.print(Text(f"    not enough by itself: {cure.text}", style="yellow"))
    if page.assumptions:
        screen.print()
        given = ", ".join(f"{assumed_words(a.key)} {a.taken}" for a in page.assumptions)
        screen.print(Text(f"assumed (not given): {given}", style="dim"))
    screen.print()
    screen.print(Panel(Text(page.headline, style="bold"), border_style=STYLES[page.verdict]))
