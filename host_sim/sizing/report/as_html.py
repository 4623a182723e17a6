"""The printable page: one HTML file that carries its own drawings and needs nothing else."""

from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from host_sim.sizing.contacts import NAMES
from host_sim.sizing.limits import LIMITS
from host_sim.sizing.limits import row as limit_row
from host_sim.sizing.report.charts import curves_chart, cycle_chart
from host_sim.sizing.report.figure import svg
from host_sim.sizing.report.page import CAUTIONS
from host_sim.sizing.report.pit_section import pit_section
from host_sim.sizing.report.sections import DARCY

TEMPLATE = "page.html"
CLASSES = {"fits": "fits", "fits with remarks": "remarks", "does not fit": "not"}
SEGMENTS = ("riser_1", "riser_2", "header")
POINT_CELLS = ("flow", "head_1", "head_2", "through_1", "through_2", *(f"velocity_{name}" for name in SEGMENTS))
ENVIRONMENT = Environment(
    loader=FileSystemLoader(Path(__file__).parent),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


def as_html(page, say):
    """Return the Page as one HTML text."""
    sources = Sources()
    return ENVIRONMENT.get_template(TEMPLATE).render(
        page=page,
        say=say,
        verdict_class=CLASSES[page.verdict],
        drawings=[
            (_drawing(pit_section(page, say), "pit", "the pit to scale"),
             "The pit to scale: contacts, water at lead, pumps 1 and 2 with their inlets."),
            (_drawing(curves_chart(page, say), "curves", "pump and system curves"), _curves_caption(page)),
            (_drawing(cycle_chart(page, say), "cycle", "cycle time against inflow"),
             "Time from one start to the next at every inflow, with the duty shared as set."),
        ],
        sections=[(part, halves(_single(part))) for part in page.sections],
        points=_points(page),
        contact_rows=_contact_rows(page),
        halves=halves,
        limits=LIMITS,
        limit_row=limit_row,
        segments=SEGMENTS,
        darcy=DARCY,
        cite=sources.number,
        sources=sources,
        cautions=CAUTIONS,
    )  # fmt: skip


def _drawing(figure, name, title):
    return Markup(svg(figure, name, title))


def _curves_caption(page):
    if page.result.inputs.discharge.header is not None:
        return "Pumps (less the losses of their own risers) against the shared header, water at high."
    return "Pumps against their own lines, water at high."


def halves(rows):
    """Return a list cut in two, the first part the longer one: two tables stand side by side."""
    rows = list(rows)
    middle = (len(rows) + 1) // 2
    return [part for part in (rows[:middle], rows[middle:]) if part]


def _single(part):
    # What a table of its own shows is left out of the section's rows.
    own = [f"contacts.{name}." for name in NAMES] + ["head.off.", "head.high."]
    return [row for row in part.rows if not row.key.startswith(tuple(own))]


def _points(page):
    """Return [(running, water at, cells)]: one line for each operating point, None where nothing flows."""
    rows = {row.key: row for part in page.sections for row in part.rows}
    found = []
    for p in page.result.points:
        key = f"head.{p.contact}.{p.which.replace(' ', '_')}"
        found.append((p.which, p.contact, [rows.get(f"{key}.{cell}") for cell in POINT_CELLS]))
    return found


def _contact_rows(page):
    """Return [(contact, Row of turning wet, Row of turning dry)], the highest first as they hang."""
    rows = {row.key: row for part in page.sections for row in part.rows}
    return [(name, rows[f"contacts.{name}.wet"], rows[f"contacts.{name}.dry"]) for name in reversed(NAMES)]


class Sources:
    """Numbers the sources in the order in which they are first named."""

    def __init__(self):
        self.named = []

    def number(self, source):
        """Return the number of a source."""
        if source not in self.named:
            self.named.append(source)
        return self.named.index(source) + 1
