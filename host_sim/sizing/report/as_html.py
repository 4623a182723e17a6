"""The printable page: one HTML file that carries its own drawings and needs nothing else."""

from html import escape

from host_sim.sizing.limits import LIMITS
from host_sim.sizing.limits import row as limit_row
from host_sim.sizing.report.drawing import curves_chart, cycle_chart, marked_points, pit_drawing
from host_sim.sizing.report.page import CAUTIONS
from host_sim.sizing.report.sections import DARCY

STYLE = """
@page { size: letter; margin: 12mm 13mm; }
* { box-sizing: border-box; }
body { font: 9.6pt/1.34 Helvetica, Arial, sans-serif; color: #1b2733; max-width: 190mm; margin: 8mm auto;
  padding: 0 4mm; }
h1 { font-size: 16pt; margin: 0 0 1mm; }
h2 { font-size: 11.5pt; margin: 4mm 0 1.2mm; border-bottom: 0.35mm solid #1b2733; break-after: avoid; }
p { margin: 1mm 0; }
.verdict { border: 0.6mm solid; border-radius: 2mm; padding: 2.2mm 3.5mm; margin: 2.5mm 0; font-size: 12pt;
  font-weight: 600; }
.fits { color: #1d5e22; background: #eef7ee; }
.remarks { color: #7a5200; background: #fdf6e3; }
.not { color: #8f1d14; background: #fdeeec; }
.figures { display: grid; grid-template-columns: 1fr 1fr; gap: 4mm; break-inside: avoid; align-items: center; }
figure { margin: 0; break-inside: avoid; }
figcaption { font-size: 8.4pt; color: #44525f; margin-bottom: 1.5mm; }
svg { width: 100%; height: auto; display: block; }
table { border-collapse: collapse; width: 100%; font-size: 8.6pt; }
td, th { padding: 0.4mm 1.1mm; vertical-align: top; text-align: left; border-bottom: 0.1mm solid #d9dfe4; }
th { font-weight: 600; }
td.n { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }
tr { break-inside: avoid; }
sup { font-size: 6.5pt; color: #5c6b78; line-height: 0; margin-left: 0.5mm; }
td.l { white-space: nowrap; }
td.s { color: #5c6b78; font-size: 7.9pt; }
.ok { color: #1d5e22; }
.bad, td.s.bad { color: #8f1d14; font-weight: 600; }
.remark { margin: 1.3mm 0; padding-left: 2.5mm; border-left: 1mm solid #c79a2b; break-inside: avoid; }
.remark.serious { border-color: #b3271b; }
.remark b::after { content: ": "; }
.remark .small { margin-left: 3mm; }
.small { font-size: 8.4pt; color: #44525f; }
.two { columns: 2; column-gap: 6mm; }
ul.plain, ol.plain { margin: 0; padding-left: 5mm; }
ol.plain li { break-inside: avoid; }
@media print { body { margin: 0; padding: 0; max-width: none; } }
"""
CLASSES = {"fits": "fits", "fits with remarks": "remarks", "does not fit": "not"}


def as_html(page, say):
    """Return the Page as one HTML text."""
    result, sources = page.result, Sources()
    body = [
        f"<h1>{escape(result.inputs.name)}</h1>",
        "<p class='small'>Sump pit sizing: two pumps under one controller. Heights are above the pit's bottom.</p>",
        f"<div class='verdict {CLASSES[page.verdict]}'>{escape(page.headline)}</div>",
        "<div class='figures'>",
        _figure(pit_drawing(page, say), "The pit to scale: contacts, water at lead, pumps with their intake."),
        "<div>",
        _figure(curves_chart(page, say), _curves_caption(page, say)),
        _figure(
            cycle_chart(page, say),
            "Time from one start to the next at every inflow, as the duty is shared.",
        ),
        "</div></div>",
        _remarks(page),
        *(_section(section, say, sources) for section in page.sections),
        _confirmed(page, say),
        _settings(page),
        _parts(page),
        _assumptions(page),
        _sources(say, sources),
        "<h2>Cautions</h2><ul class='plain'>" + "".join(f"<li>{escape(c)}</li>" for c in CAUTIONS) + "</ul>",
    ]
    head = f"<title>{escape(result.inputs.name)}: pit sizing</title><style>{STYLE}</style>"
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">{head}</head>\n<body>\n'
        + "\n".join(body)
        + "\n</body></html>\n"
    )


def _curves_caption(page, say):
    told = [f"{letter}: {what}, {say(q, 'flow')} at {say(h, 'head')}" for letter, what, q, h in marked_points(page)]
    if page.result.inputs.discharge.header is not None:
        words = "Pumps (less the losses of their own risers) against the shared header, water at high."
    else:
        words = "Pumps against their own lines, water at high."
    return f"{words} {'; '.join(told)}."


def _figure(svg, caption):
    return f"<figure>{svg}<figcaption>{escape(caption)}</figcaption></figure>"


def _remarks(page):
    if not page.found:
        return "<h2>Remarks</h2><p>None.</p>"
    out = ["<h2>Remarks and their cures</h2>"]
    for item in page.found:
        kind = "remark serious" if item.remark.serious else "remark"
        cures = item.cures or item.untried
        note = "Cure" if len(cures) == 1 else "Any one of these cures it"
        if not item.cures:
            note = "No single step is enough; begin with"
        told = " &nbsp;or&nbsp; ".join(escape(cure.text) for cure in cures)
        out.append(
            f"<div class='{kind}'><b>{escape(item.remark.title)}</b>{escape(item.reason)}."
            f"<div class='small'>{note}: {told}.</div></div>"
        )
    out.append("<p class='small'>Every cure was tried: the site was sized again with it, and the remark was gone.</p>")
    return "\n".join(out)


def _limit_text(row, say):
    if isinstance(row.bound, tuple):
        return " to ".join(say(bound, row.kind) for bound in row.bound)
    if row.bound is not None and row.kind != "text":
        return say(row.bound, row.kind)
    if row.limit:
        limit = limit_row(row.limit)
        return say(limit.value, limit.kind)
    return ""


def _section(section, say, sources):
    rows = [row for row in section.rows if not row.key.startswith(("head.off.", "head.high."))]
    out = [f"<h2>{escape(section.title)}</h2>"]
    if section.key == "head":
        out.append(_points(section, say, sources))
    out.append("<div class='two'><table>")
    for row in rows:
        shown = str(row.value) if row.kind == "text" else say(row.value, row.kind)
        mark = {True: "ok", False: "bad", None: ""}[row.within]
        limit = _limit_text(row, say)
        if row.within is False:
            limit = f"not within {limit}".strip()
        elif limit:
            limit = f"({limit})"
        number = f"<sup>{sources.number(row.source)}</sup>" if row.source else ""
        out.append(
            f"<tr><td>{escape(row.label)}{number}</td><td class='n {mark}'>{escape(shown)}</td>"
            f"<td class='s l {mark}'>{escape(limit)}</td></tr>"
        )
    out.append("</table></div>")
    if section.note:
        out.append(f"<p class='small'>{escape(section.note)}</p>")
    return "\n".join(out)


def _points(section, say, sources):
    # One line for each operating point: the rows of the JSON gathered by their keys.
    by_point = {}
    for row in section.rows:
        parts = row.key.split(".")
        if len(parts) == 4 and parts[1] in ("off", "high"):
            by_point.setdefault(tuple(parts[1:3]), {})[parts[3]] = row
    segments = ("riser_1", "riser_2", "header")
    head = "".join(f"<th>{escape(s.replace('_', ' '))}</th>" for s in segments)
    out = [
        f"<table><tr><th>running</th><th>water at</th><th>flow<sup>{sources.number(DARCY)}</sup></th><th>head, "
        "pump 1</th>"
        f"<th>head, pump 2</th><th>through 1</th><th>through 2</th>{head}</tr>"
    ]
    for (contact, which), rows in by_point.items():
        cells = [escape(which.replace("_", " ")), contact, _cell(rows.get("flow"), say)]
        cells += [_cell(rows.get(name), say) for name in ("head_1", "head_2", "through_1", "through_2")]
        cells += [_cell(rows.get(f"velocity_{name}"), say) for name in segments]
        out.append("<tr>" + "".join(f"<td>{cell}</td>" for cell in cells) + "</tr>")
    low, high = limit_row("velocity_low"), limit_row("velocity_high")
    out.append(
        f"</table><p class='small'>Speeds belong between {say(low.value, 'velocity')} and {say(high.value, 'velocity')}"
        f"<sup>{sources.number(low.source)} {sources.number(high.source)}</sup>; what lies outside a limit is red.</p>"
    )
    return "\n".join(out)


def _cell(row, say):
    if row is None:
        return ""
    mark = " class='bad'" if row.within is False else ""
    return f"<span{mark}>{escape(say(row.value, row.kind))}</span>"


class Sources:
    """Numbers the sources in the order in which they are first named."""

    def __init__(self):
        self.named = []

    def number(self, source):
        """Return the number of a source."""
        if source not in self.named:
            self.named.append(source)
        return self.named.index(source) + 1


def _confirmed(page, say):
    if not page.checks:
        why = f" {escape(page.check_problem)}" if page.check_problem else " Not run."
        return f"<h2>The simulator's word</h2><p class='small'>Not confirmed by the simulator.{why}</p>"
    rows = "".join(
        f"<tr><td>{escape(say(c.inflow_m3s, 'flow'))}</td><td class='n'>{c.promised_s:.1f} s</td>"
        f"<td class='n'>{c.simulated_s:.1f} s</td><td class='n'>{max(c.promised_starts):.2f}</td>"
        f"<td class='n'>{max(c.simulated_starts):.2f}</td><td class='n'>{100 * c.disagreement:.2f} %</td></tr>"
        for c in page.checks
    )
    return (
        "<h2>The simulator's word</h2><p class='small'>The real firmware ran the sized pit at constant inflows; "
        "time from "
        "start to start and starts an hour of the busier motor, promised and simulated.</p><table><tr><th>inflow</th>"
        "<th>promised</th><th>simulated</th><th>starts promised</th><th>simulated</th><th>apart by</th></tr>"
        f"{rows}</table>"
    )


def _settings(page):
    rows = "".join(
        f"<tr><td>{escape(name)}</td><td class='n'>{escape(value)}</td><td class='n'>{escape(default)}</td>"
        f"<td>{escape(meaning)}</td></tr>"
        for name, value, default, _, meaning in page.settings
    )
    return (
        "<h2>Settings that differ from the controller's defaults</h2><table><tr><th>setting</th><th>value</th>"
        f"<th>default</th><th>meaning</th></tr>{rows}</table><p class='small'>All of them are in settings.toml, as "
        "sumpbench settings push takes it.</p>"
    )


def _parts(page):
    rows = "".join(
        f"<tr><td class='n'>{escape(count)}</td><td>{escape(what)}</td><td class='s'>{escape(note)}</td></tr>"
        for count, what, note in page.parts
    )
    return f"<h2>Parts</h2><div class='two'><table>{rows}</table></div>"


def _assumptions(page):
    if not page.assumptions:
        return "<h2>Taken for granted</h2><p>Nothing: every question was answered.</p>"
    rows = "".join(
        f"<tr><td>{escape(a.key)}</td><td class='n'>{escape(a.taken)}</td><td class='s'>{escape(a.why)}</td></tr>"
        for a in page.assumptions
    )
    return f"<h2>Taken for granted, because nobody said</h2><div class='two'><table>{rows}</table></div>"


def _sources(say, sources):
    rows = "".join(
        f"<tr><td class='n'>{escape(say(limit.value, limit.kind))}</td><td>{escape(limit.meaning)}"
        f"<sup>{sources.number(limit.source)}</sup></td></tr>"
        for limit in LIMITS
    )
    named = "".join(f"<li>{escape(source)}</li>" for source in sources.named)
    return (
        f"<h2>Limits</h2><div class='two'><table>{rows}</table></div>"
        f"<h2>Sources</h2><ol class='plain small two'>{named}</ol>"
    )
