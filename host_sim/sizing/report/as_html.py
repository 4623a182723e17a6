"""The page to hand over: one HTML file that carries its drawings, needs nothing else, and prints on three sheets."""

from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from host_sim.board.settings_file import checksum
from host_sim.report import sheet
from host_sim.report.version import made_by
from host_sim.run.journal import firmware_checksum
from host_sim.sizing.limits import LIMITS
from host_sim.sizing.report.charts import curves_chart, cycle_chart
from host_sim.sizing.report.elevation import elevation
from host_sim.sizing.report.figure import svg
from host_sim.sizing.report.page import CAUTIONS
from host_sim.sizing.report.paper import assumptions, sheets
from host_sim.sizing.report.pit_section import pit_section
from host_sim.sizing.report.sections_running import float_words

TEMPLATE = "page.html"
SIGNERS = ("sized by", "customer")
ENVIRONMENT = Environment(
    loader=FileSystemLoader([Path(__file__).parent, Path(sheet.__file__).parent]),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


def as_html(page, say, when="", place="", customer=""):
    """Return the Page as one HTML text.

    `when` is the date at its head, `place` and `customer` are texts; each is a
    blank to be filled in by hand where it is empty.
    """
    drawings = (pit_section(page, say), elevation(page, say))
    paper, small, sources = sheets(page, say, drawings, CAUTIONS)
    return ENVIRONMENT.get_template(TEMPLATE).render(
        page=page,
        say=say,
        fields=_fields(page, when, place, customer),
        drawings=[
            (_drawing(drawings[0], "pit", "the pit to scale"), _pit_caption(page, say)),
            (_drawing(drawings[1], "line", "the discharge, heights to scale"),
             "The discharge: heights and the pit to scale, the run to the outlet cut short. Pumps 1 and 2."),
        ],
        charts=[
            (_drawing(curves_chart(page, say), "curves", "pump and system curves"), _curves_caption(page)),
            (_drawing(cycle_chart(page, say), "cycle", "cycle time against inflow"),
             "Time from one start to the next at every inflow, with the duty shared as set."),
        ],
        sheets=paper,
        small=small,
        sections=[(part, halves(part.rows)) for part in page.sections],
        limits=LIMITS,
        cite=sources.tag,
        assumed=[(taken, why) for taken, why, _ in assumptions(page, say)],
        sources=sources,
        signers=SIGNERS,
    )  # fmt: skip


def _fields(page, when, place, customer):
    # An empty one is a blank to be filled in by hand.
    return (
        (("Customer", customer[:60]), ("Place", place[:60]), ("Date", when[:10])),
        (("Version", made_by()), ("Firmware", f"{firmware_checksum():08x}"),
         ("Settings checksum", checksum(page.result.settings))),
    )  # fmt: skip


def _drawing(figure, name, title):
    return Markup(svg(figure, name, title))


def _pit_caption(page, say):
    plates = page.result.inputs.plates
    wide = [say(plate.body_m, "length") for plate in plates]
    words = f"both pumps {wide[0]} wide" if wide[0] == wide[1] else f"pump 1 {wide[0]} wide, pump 2 {wide[1]}"
    return f"The pit: {words}; {float_words(page.result.inputs.floats, say)}; shaded: water at lead."


def _curves_caption(page):
    if page.result.inputs.discharge.header is not None:
        return "Pumps (less the losses of their own risers) against the shared header, water at high."
    return "Pumps against their own lines, water at high."


def halves(rows):
    """Return a list cut in two, the first part the longer one: two tables stand side by side."""
    rows = list(rows)
    middle = (len(rows) + 1) // 2
    return [part for part in (rows[:middle], rows[middle:]) if part]
