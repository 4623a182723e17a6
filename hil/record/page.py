"""The record as a page: one HTML file that needs nothing else, reads in black and white, and prints on two sheets."""

from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from hil.record import document as doc
from hil.record import items as it
from host_sim.report import sheet
from host_sim.report.sheet import LONGEST, Cell, Columns, Sheet, Table

TEMPLATE = "page.html"
WORDS = {
    it.PASS: ("PASS", "pass"), it.MARGINAL: ("MARGINAL", "marginal"), it.FAIL: ("FAIL", "fail"),
    it.NOTED: ("noted", ""), it.NOT_TESTED: ("NOT TESTED", "none"), doc.SKIPPED: ("NOT TESTED", "none"),
    doc.BROKEN_OFF: ("INTERRUPTED", "fail"),
}  # fmt: skip
RESULT = {it.PASS: "PASSED", it.MARGINAL: "PASSED, with marginal values", it.FAIL: "FAILED",
          it.NOT_TESTED: "NOTHING WAS TESTED"}  # fmt: skip
SIGNED_FOOT_MM, FOOT_MM = 36.0, 16.0  # cautions, with signatures above them or without
ALL, TIGHTEST, MANY = "all", "tightest", "many"
READABLE_PT = 6.0  # measured values are left to the JSON rather than printed smaller
NOT_FINE = (it.MARGINAL, it.FAIL, doc.SKIPPED, doc.BROKEN_OFF)


def as_html(document):
    """Return a checked document (see `document.py`) as one HTML text."""
    hose = document["kind"] == doc.HOSE_TEST
    facts = (_hose_facts if hose else _acceptance_facts)(document)
    counts = _counts(document)
    top_mm = _top_mm(facts, counts, document["no_hardware"])
    return _template().render(
        title="Hose test of a duplex sump" if hose else "Acceptance test of a duplex sump pump controller",
        fields=_fields(document), facts=facts, result=_result(document), counts=counts,
        no_hardware=document["no_hardware"], sheets=(_hose_sheets if hose else _acceptance_sheets)(document, top_mm),
        signers=("installer", "owner or tenant") if hose else ("tested by",), cautions=document["cautions"],
        on_screen=[] if hose else _on_screen(document),
    )  # fmt: skip


def _template():
    folders = [Path(__file__).parent, Path(sheet.__file__).parent]
    environment = Environment(loader=FileSystemLoader(folders), autoescape=True, undefined=StrictUndefined,
                              trim_blocks=True, lstrip_blocks=True)  # fmt: skip
    return environment.get_template(TEMPLATE)


def _verdict(verdict):
    word, style = WORDS[verdict]
    return Cell(word, style)


def _fields(document):
    # An empty one is a blank to be filled in by hand.
    place = document["place"] or document.get("site", "")
    return (("Place", place[:60]), ("Customer", document["customer"][:60]), ("Date", document["when"][:10]))


def _result(document):
    if not document["complete"]:
        return f"INCOMPLETE: {document['why_incomplete'][:230]}"
    result = RESULT[document["verdict"]]
    if document["no_hardware"] and document["verdict"] != it.NOT_TESTED:
        result = f"SIMULATION {result}"
    left = len(document["untested"])
    return f"{result}; {left} NOT TESTED" if left else result


def _counts(document):
    # One row for the procedures, one for the hose test: what passed and what was not tested, side by side.
    groups = []
    if document["kind"] == doc.ACCEPTANCE:
        left_out = [doc.SKIPPED] * len(document["left_out"])
        groups.append(("Procedures", [entry["verdict"] for entry in document["procedures"]] + left_out))
    tested = document if document["kind"] == doc.HOSE_TEST else document["hose_test"]
    if tested is not None:
        groups.append(("Hose test", [row["verdict"] for row in tested["items"]]))
    rows = []
    for name, verdicts in groups:
        failed = sum(verdict in (it.FAIL, doc.BROKEN_OFF) for verdict in verdicts)
        untested = sum(verdict in (it.NOT_TESTED, doc.SKIPPED) for verdict in verdicts)
        noted = verdicts.count(it.NOTED)
        rows.append((f"{name}: {len(verdicts)}", f"{verdicts.count(it.PASS)} PASSED", f"{untested} NOT TESTED",
                     f"{failed} FAILED", f"{verdicts.count(it.MARGINAL)} MARGINAL",
                     f"{noted} noted" if noted else ""))  # fmt: skip
    return rows


def _top_mm(facts, counts, no_hardware):
    # Title and fields, facts, result with its counts, banner.
    lines = sum(1 + len(line) // 125 for line in facts)
    return 18.0 + 3.5 * lines + 2.0 + 12.0 + 4.6 * len(counts) + _banner_mm(no_hardware)


def _second_sheet(document):
    simulated = document["no_hardware"]
    return Sheet(_banner_mm(simulated), FOOT_MM if simulated else SIGNED_FOOT_MM)


def _banner_mm(no_hardware):
    return 18.5 if no_hardware else 0.0


def _described(board):
    shown = [str(value) if key in ("board", "place") else f"{key.replace('_', ' ')} {value}"
             for key, value in board.items() if isinstance(value, (str, int, float)) and value != ""]  # fmt: skip
    return "; ".join(dict.fromkeys(shown))[:330]


# The hose test.


def _item_row(row):
    facts = [row.get("shown", ""), row.get("limit", ""), row.get("note", ""), row.get("why", "")]
    by = {"person": "reported by the person", "board": "read from the controller"}.get(row.get("by"), "")
    said = "; ".join(part for part in facts if part)
    return [Cell(row["title"], "name"), _verdict(row["verdict"]), Cell(said + (f" ({by})" if by and said else ""))]


def _section_tables(document, sections, widths):
    titles = dict(it.SECTIONS)
    return [
        Table(widths, [_item_row(row) for row in document["items"] if row["section"] == section], titles[section])
        for section in sections
    ]


def _hose_facts(document):
    site = f"Site: {document['site']}.  " if document["place"] and document["site"] else ""
    facts = [f"{site}Started {document['begun']}, finished {document['when']}.  {document['made_by']}, record version "
             f"{document['version']}.",
             f"Controller: {_described(document['board'])}.  Measured against: {document['sizing']}."]  # fmt: skip
    if document["breaks"]:
        facts.append("Interrupted: " + "; ".join(document["breaks"])[:240] + ".")
    return facts


def _hose_sheets(document, top_mm):
    widths = (44.0, 26.0, 116.0)
    first = Sheet(top_mm)
    first.blocks = _section_tables(document, ("site", "floats", "pump_1", "pump_2", "both"), widths)
    second = _second_sheet(document)
    second.blocks = _section_tables(document, ("supply", "left", "hand_over"), widths)
    second.blocks.append(_untested(document["untested"]))
    return first, second


def _untested(entries, heading="Not tested, and why"):
    # What has the same reason stands in one row.
    reasons = {}
    for entry in entries:
        reasons.setdefault(entry["why"], []).append(entry["what"].replace("_", " "))
    rows = [[Cell(", ".join(names), "name", True), Cell(why)] for why, names in reasons.items()]
    return Table((93.0, 93.0), rows or [[Cell("none"), Cell("")]], heading)


# The acceptance run.


def _limits(row):
    low, high = row["low"], row["high"]
    if low is None and high is None:
        return ""
    if low is None:
        return f" (at most {high:g})"
    return f" (at least {low:g})" if high is None else f" ({low:g} to {high:g})"


def _measured(row):
    mark = "" if row["verdict"] == it.PASS else f" {WORDS[row['verdict']][0]}"
    return f"{row['name']} {row['value']:g} {row['unit']}{_limits(row)}{mark}".replace("  ", " ")


def _room(row):
    # How far a value is from its nearer limit, as a share of what there is; the smallest is the tightest.
    low, high, value = row["low"], row["high"], row["value"]
    span = high - low if None not in (low, high) else abs(low if high is None else high or 0.0)
    left = [abs(value - limit) for limit in (low, high) if limit is not None]
    return min(left) / span if left and span else float("inf")


def _said(entry, detail):
    # A procedure's results: ALL of them; those not passed and the TIGHTEST value; or how MANY there were.
    measurements, checks = entry["measurements"], entry["checks"]
    shown = [row for row in measurements if detail == ALL or row["verdict"] in NOT_FINE]
    if detail == TIGHTEST and measurements and not shown:
        shown = [min(measurements, key=_room)]
    parts = [entry["why"]] if entry["why"] else []
    parts += [_measured(row) for row in shown]
    parts += [f"{row['name']}: {row['seen']}" for row in checks if row["verdict"] in NOT_FINE]
    rest, good = len(measurements) - len(shown), sum(row["verdict"] == it.PASS for row in checks)
    passed = [f"{rest} {'more ' if shown else ''}value{'s' if rest > 1 else ''}"] if rest else []
    passed += [f"{good} check{'s' if good > 1 else ''}"] if good else []
    return "; ".join(parts + ([f"{' and '.join(passed)} passed"] if passed else []))


def _procedure_table(entries, detail):
    rows = [[Cell(entry["name"].replace("_", " "), "name"), _verdict(entry["verdict"]),
             Cell(", ".join(entry["clauses"])), Cell(_said(entry, detail))] for entry in entries]  # fmt: skip
    return Table((29.0, 21.0, 20.0, 116.0), rows, "Procedures, measured values and limits")


def _acceptance_facts(document):
    facts = [f"{document['when']}.  {document['made_by']}, record version {document['version']}.",
             f"Under test: {_described(document['board'])}."]  # fmt: skip
    found = document.get("latency")
    if found:
        facts.append(f"Contact to relay at the pins, less debounce: median {found['median_ms']:g} ms, worst "
                     f"{found['worst_ms']:g} ms, {found['samples']} samples.")  # fmt: skip
    return facts


def _acceptance_sheets(document, top_mm):
    first = Sheet(top_mm)
    for detail in (ALL, TIGHTEST, MANY):
        first.blocks = [_procedure_table(document["procedures"], detail)]
        point, longest = first.fit()
        if point >= READABLE_PT and longest == LONGEST[0]:  # nothing is shortened
            break
    second = _second_sheet(document)
    tested = document["hose_test"]
    if tested is None:
        second.blocks = [Table((186.0,), [[Cell(document["hose_test_why"])]], "Hose test: NOT TESTED")]
    else:
        second.blocks = [_hose_in_columns(tested)]
    procedures = [entry for entry in document["untested"] if not tested or entry not in tested["untested"]]
    second.blocks.append(_untested(procedures, "Procedures not tested, and why"))
    return first, second


def _hose_in_columns(tested):
    widths = (28.0, 18.5, 44.5)
    halves = (("site", "floats", "pump_1", "pump_2"), ("both", "supply", "left", "hand_over"))
    left, right = (_section_tables(tested, half, widths) for half in halves)
    about = tested["no_hardware"] or f"{tested['site']}, {tested['when']}."
    note = Table((91.0,), [[Cell(f"{about}  Measured against: {tested['sizing']}.")]], "Hose test")
    return Columns([note, *left], right)


def _on_screen(document):
    # On the screen there is room for everything; on paper the JSON has it.
    found = []
    for entry in document["procedures"]:
        rows = [[Cell(_measured(row)), _verdict(row["verdict"])] for row in entry["measurements"]]
        rows += [[Cell(f"{row['name']}: {row['seen']}"), _verdict(row["verdict"])] for row in entry["checks"]]
        rows += [[Cell(note), Cell("")] for note in entry["notes"]]
        found.append((entry["name"], entry["purpose"], Table((160.0, 26.0), rows)))
    return found
