"""The record of a checkout as a page: one HTML file that reads in black and white and prints on one or two sheets."""

from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from hil.checkout.checkout import FAILED, PROVED, SKIPPED
from host_sim.board import signals
from host_sim.report import sheet
from host_sim.report.sheet import Cell, Sheet, Table

WORDS = {PROVED: "PROVED", FAILED: "FAILED", SKIPPED: "NOT TESTED"}
NO_HARDWARE = "NO HARDWARE WAS TESTED: a simulated person at the terminals of a simulated controller."


def as_html(document):
    """Return a checkout's document as one HTML text."""
    rows = [one for one in signals.signals(document["board"], document["expander"]) if one.kind != signals.SERIAL]
    items = document["items"]
    cells = []
    for one in rows:
        item = items.get(one.name, {"verdict": SKIPPED, "words": "not reached", "when": ""})
        cells.append([Cell(one.terminal, "name"), Cell(one.name), Cell(one.pin_text), Cell(one.position),
                      Cell(WORDS[item["verdict"]], "fail" if item["verdict"] == FAILED else "name", True),
                      Cell(item["words"]), Cell(item["when"][:16].replace("T", " "))])  # fmt: skip
    titles = tuple(Cell(text) for text in ("terminal", "signal", "GPIO", "pin", "result", "read", "when"))
    proved = sum(items.get(one.name, {}).get("verdict") == PROVED for one in rows)
    result = "PASSED" if proved == len(rows) else "NOT PASSED"
    folders = [Path(__file__).parent, Path(sheet.__file__).parent]
    environment = Environment(loader=FileSystemLoader(folders), autoescape=True, undefined=StrictUndefined,
                              trim_blocks=True, lstrip_blocks=True)  # fmt: skip
    return environment.get_template("page.html").render(
        title=f"Build check: {signals.title(document['board'], document['expander'])}",
        result=f"{result}: {proved} of {len(rows)} signals proved", when=document["when"][:10],
        firmware=document["firmware"], no_hardware="" if document["hardware"] else NO_HARDWARE,
        sheet=Sheet(34.0, 26.0, [Table((15.0, 28.0, 19.0, 12.0, 23.0, 64.0, 25.0), cells, "", titles)]),
    )  # fmt: skip
