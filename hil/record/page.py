"""The record as a page: one HTML file that needs nothing else, reads in black and white, and prints on two sheets."""

from html import escape

from hil.record import document as doc
from hil.record import items as it
from hil.record.layout import Cell, Columns, Sheet, Table

STYLE = """
@page { margin: 12mm; }
* { box-sizing: border-box; }
body { font-family: Arial, Helvetica, "Liberation Sans", "DejaVu Sans", sans-serif; line-height: 1.22; color: #000;
  background: #fff; margin: 6mm auto; width: 186mm; }
.sheet { width: 186mm; break-inside: avoid; }
.sheet + .sheet { break-before: page; margin-top: 10mm; }
h1 { font-size: 15pt; margin: 0 0 1mm; }
h2 { font-size: 1.25em; margin: 1.4mm 0 0.4mm; border-bottom: 0.3mm solid #000; }
.facts { font-size: 8pt; margin: 0 0 1.5mm; }
.result { border: 0.7mm solid #000; padding: 1.5mm 3mm; font-size: 11pt; font-weight: bold; margin: 1.5mm 0; }
table { border-collapse: collapse; width: 100%; table-layout: fixed; }
td { vertical-align: top; padding: 0.3mm 0.8mm; border-bottom: 0.15mm solid #777; overflow-wrap: anywhere; }
td.pass, td.marginal, td.fail, td.none { white-space: nowrap; }
td.fail { font-weight: bold; border: 0.6mm solid #000; }
td.marginal { font-weight: bold; border: 0.4mm dashed #000; }
td.none { font-style: italic; }
td.name { font-weight: bold; }
.two { display: flex; gap: 4mm; }
.two > div { width: 91mm; }
.sign { display: flex; gap: 8mm; margin-top: 12mm; font-size: 8pt; }
.sign div { flex: 1; border-top: 0.3mm solid #000; padding-top: 0.5mm; }
.small { font-size: 7pt; margin: 1mm 0 0; }
.screen { font-size: 9pt; margin-top: 8mm; }
.screen table { table-layout: auto; }
@media print { .screen { display: none; } body { margin: 0; } .sheet + .sheet { margin-top: 0; } }
"""
WORDS = {
    it.PASS: ("PASS", "pass"), it.MARGINAL: ("MARGINAL", "marginal"), it.FAIL: ("FAIL", "fail"),
    it.NOTED: ("noted", ""), it.NOT_TESTED: ("not tested", "none"), doc.SKIPPED: ("skipped", "none"),
    doc.BROKEN_OFF: ("BROKEN OFF", "fail"),
}  # fmt: skip
RESULT = {it.PASS: "PASSED", it.MARGINAL: "PASSED, with marginal values", it.FAIL: "FAILED"}
ALL, TIGHTEST, MANY = "all", "tightest", "many"
READABLE_PT = 6.5  # measured values are left to the JSON rather than printed smaller
NOT_FINE = (it.MARGINAL, it.FAIL, doc.SKIPPED, doc.BROKEN_OFF)


def as_html(document):
    """Return a checked document (see `document.py`) as one HTML text."""
    hose = document["kind"] == doc.HOSE_TEST
    title = "Hose test of a sump pit with two pumps" if hose else "Acceptance of a sump pump controller"
    sheets = _hose_sheets(document, title) if hose else _acceptance_sheets(document, title)
    after = "" if hose else _on_screen(document)
    body = "\n".join(sheet.html() for sheet in sheets)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>{escape(title)}</title><style>{STYLE}</style></head>\n<body>\n{body}\n{after}</body></html>\n"
    )


def _verdict(verdict):
    word, style = WORDS[verdict]
    return Cell(word, style)


def _head(title, document, facts):
    lines = "<br>".join(escape(line) for line in facts)
    result = RESULT[document["verdict"]] if document["complete"] else "INCOMPLETE"
    return (
        f'<h1>{escape(title)}</h1><p class="facts">{lines}</p>'
        f'<div class="result">{result}: {escape(document["headline"][:230])}</div>'
    )


def _described(board):
    shown = [str(value) if key in ("board", "place") else f"{key.replace('_', ' ')} {value}"
             for key, value in board.items() if isinstance(value, (str, int, float)) and value != ""]  # fmt: skip
    return "; ".join(dict.fromkeys(shown))[:330]


def _head_mm(facts):
    return 7.0 + 13.0 + sum(3.5 * (1 + len(line) // 125) for line in facts)


# The hose test.


def _item_row(row):
    facts = [row.get("shown", ""), row.get("limit", ""), row.get("note", ""), row.get("why", "")]
    by = {"person": "said", "board": "read off the board"}.get(row.get("by"), "")
    said = "; ".join(part for part in facts if part)
    return [Cell(row["title"], "name"), _verdict(row["verdict"]), Cell(said + (f" ({by})" if by and said else ""))]


def _section_tables(document, sections, widths):
    titles = dict(it.SECTIONS)
    return [
        Table(widths, [_item_row(row) for row in document["items"] if row["section"] == section], titles[section])
        for section in sections
    ]


def _hose_facts(document):
    facts = [f"{document['site'] or 'Place not named'}.  Finished {document['when']}, begun {document['begun']}.  "
             f"{document['made_by']}, record version {document['version']}.",
             f"Board: {_described(document['board'])}.  Measured against: {document['sizing']}."]  # fmt: skip
    if document["breaks"]:
        facts.append("Interrupted: " + "; ".join(document["breaks"])[:240] + ".")
    if document["simulated"]:
        facts.append(document["simulated"])
    return facts


def _hose_sheets(document, title):
    facts, widths = _hose_facts(document), (46.0, 20.0, 120.0)
    first = Sheet(_head(title, document, facts), _head_mm(facts))
    first.blocks = _section_tables(document, ("site", "floats", "pump_1", "pump_2", "both"), widths)
    second = Sheet("", 0.0, foot=_foot(document, ("installer", "owner or tenant")), foot_mm=36.0)
    second.blocks = _section_tables(document, ("supply", "left", "hand_over"), widths)
    second.blocks.append(_untested(document, (60.0, 126.0)))
    return first, second


def _untested(document, widths, heading="Not tested, and why"):
    rows = [[Cell(entry["what"], "name"), Cell(entry["why"])] for entry in document["untested"]]
    return Table(widths, rows or [[Cell("none"), Cell("")]], heading)


def _foot(document, signers):
    lines = "".join(f"<div>{who}: date, signature</div>" for who in signers)
    cautions = " ".join(escape(text) for text in document["cautions"])
    return f'<div class="sign">{lines}</div><p class="small">{cautions}</p>'


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
    # What a procedure has to show: ALL of it; what is not plainly good and the TIGHTEST value; how MANY there were.
    measurements, checks = entry["measurements"], entry["checks"]
    shown = [row for row in measurements if detail == ALL or row["verdict"] in NOT_FINE]
    if detail == TIGHTEST and measurements and not shown:
        shown = [min(measurements, key=_room)]
    parts = [entry["why"]] if entry["why"] else []
    parts += [_measured(row) for row in shown]
    parts += [f"{row['name']}: {row['seen']}" for row in checks if row["verdict"] in NOT_FINE]
    rest, good = len(measurements) - len(shown), sum(row["verdict"] == it.PASS for row in checks)
    if rest:
        parts.append(f"{rest} {'more ' if shown else ''}value{'s' if rest > 1 else ''} within limits")
    if good:
        parts.append(f"{good} check{'s' if good > 1 else ''} passed")
    return "; ".join(parts)


def _procedure_table(entries, detail):
    rows = [[Cell(entry["name"].replace("_", " "), "name"), _verdict(entry["verdict"]),
             Cell(", ".join(entry["clauses"])), Cell(_said(entry, detail))] for entry in entries]  # fmt: skip
    return Table((31.0, 18.0, 19.0, 118.0), rows, "Procedures, with what was measured and its limits")


def _acceptance_facts(document):
    facts = [f"{document['when']}.  {document['made_by']}, record version {document['version']}.",
             f"Under test: {_described(document['board'])}."]  # fmt: skip
    found = document.get("latency")
    if found:
        facts.append(f"From contact to relay at the pins, debounce taken off: median {found['median_ms']:g} ms, worst "
                     f"{found['worst_ms']:g} ms, {found['samples']} times.")  # fmt: skip
    return facts


def _acceptance_sheets(document, title):
    facts = _acceptance_facts(document)
    first = Sheet(_head(title, document, facts), _head_mm(facts))
    for detail in (ALL, TIGHTEST, MANY):
        first.blocks = [_procedure_table(document["procedures"], detail)]
        if first.fit()[0] >= READABLE_PT:
            break
    second = Sheet("", 0.0, foot=_foot(document, ("tested by",)), foot_mm=36.0)
    tested = document["hose_test"]
    if tested is None:
        second.blocks = [Table((186.0,), [[Cell(document["hose_test_why"])]], "Hose test: not tested")]
    else:
        second.blocks = [_hose_in_columns(tested)]
    procedures = [entry for entry in document["untested"] if not tested or entry not in tested["untested"]]
    second.blocks.append(_untested({"untested": procedures}, (60.0, 126.0), "Procedures not carried out, and why"))
    return first, second


def _hose_in_columns(tested):
    widths = (29.0, 15.5, 46.5)
    halves = (("site", "floats", "pump_1", "pump_2"), ("both", "supply", "left", "hand_over"))
    left, right = (_section_tables(tested, half, widths) for half in halves)
    about = tested["simulated"] or f"{tested['site']}, {tested['when']}"
    note = Table((91.0,), [[Cell(f"{about}  Measured against: {tested['sizing']}.")]], "Hose test")
    return Columns([note, *left], right)


def _on_screen(document):
    # On the screen there is room for everything; on paper the JSON has it.
    parts = ['<div class="screen"><h2>Everything that was measured (on the screen only)</h2>']
    for entry in document["procedures"]:
        rows = [[Cell(_measured(row)), _verdict(row["verdict"])] for row in entry["measurements"]]
        rows += [[Cell(f"{row['name']}: {row['seen']}"), _verdict(row["verdict"])] for row in entry["checks"]]
        rows += [[Cell(note), Cell("")] for note in entry["notes"]]
        parts.append(f"<p><b>{escape(entry['name'])}</b>: {escape(entry['purpose'])}</p>")
        if rows:
            parts.append(Table((160.0, 26.0), rows).html(100000))
    return "".join(parts) + "</div>\n"
