"""The record of a checkout as a page: one HTML file that reads in black and white and prints on one or two sheets."""

from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from hil.checkout.asking import SKIPPED
from hil.checkout.checkout import BRIDGED, FAILED, PROVED
from host_sim.board import signals
from host_sim.report import sheet
from host_sim.report.sheet import Cell, Sheet, Table

WORDS = {PROVED: "PROVED", BRIDGED: "ON A BRIDGE", FAILED: "FAILED", SKIPPED: "NOT TESTED"}
NOT_BUILT = "NOT BUILT"
NO_HARDWARE = "NO HARDWARE WAS TESTED: a simulated person at the terminals of a simulated controller."


def as_html(document):
    """Return a checkout's document as one HTML text."""
    rows = signals.signals(document["board"], document["expander"])
    items, absent = document["items"], document["absent"]
    cells = []
    for one in rows:
        item = items.get(one.name, _untold(one, absent))
        verdict = WORDS.get(item["verdict"], item["verdict"])
        cells.append([Cell(one.terminal, "name"), Cell(one.name), Cell(one.pin_text), Cell(one.position),
                      Cell(verdict, "fail" if item["verdict"] == FAILED else "name", True),
                      Cell(item["words"]), Cell(item["when"][5:16].replace("T", " "))])  # fmt: skip
    titles = tuple(Cell(text) for text in ("terminal", "signal", "GPIO", "pin", "result", "read", "when"))
    # RS-485 is asked for where it is fitted: it counts once it has been tried.
    asked = [one for one in rows if one.name not in absent and (one.kind != signals.SERIAL or one.name in items)]
    proved = sum(items.get(one.name, {}).get("verdict") == PROVED for one in asked)
    result = "PASSED" if proved == len(asked) else "NOT PASSED"
    left_out = f"; not built: {', '.join(absent)}" if absent else ""
    folders = [Path(__file__).parent, Path(sheet.__file__).parent]
    environment = Environment(loader=FileSystemLoader(folders), autoescape=True, undefined=StrictUndefined,
                              trim_blocks=True, lstrip_blocks=True)  # fmt: skip
    return environment.get_template("page.html").render(
        title=f"Build check: {signals.title(document['board'], document['expander'])}",
        result=f"{result}: {proved} of {len(asked)} signals proved{left_out}", when=document["when"][:10],
        firmware=document["firmware"], no_hardware="" if document["hardware"] else NO_HARDWARE,
        sheet=Sheet(34.0, 26.0, [Table((13.0, 27.0, 22.0, 12.0, 22.0, 70.0, 20.0), cells, "", titles)]),
    )  # fmt: skip


def _untold(one, absent):
    # Of a signal that no run has tried.
    if one.name in absent:
        return {"verdict": NOT_BUILT, "words": f"by the settings: {absent[one.name]}", "when": ""}
    why = "where RS-485 is fitted: --line and its port" if one.kind == signals.SERIAL else "not reached"
    return {"verdict": SKIPPED, "words": why, "when": ""}
