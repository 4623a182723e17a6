"""The page as three sheets of paper: what was sized and drawn, what to do and to buy, what it rests on.

The type is as large as three sheets allow.  What is not on paper is on the
screen below the sheets, and in the JSON.
"""

import re
from math import inf

from duplexsump.control import settings as s

from host_sim.report.sheet import LINE, POINT_MM, WIDTH_MM, Cell, Columns, Halves, Sheet, Table, flow
from host_sim.sizing.contacts import NAMES
from host_sim.sizing.remarks.change import DIGGING
from host_sim.sizing.report.covered_section import note
from host_sim.sizing.report.sections import stretch
from host_sim.sizing.report.sources import Sources
from host_sim.sizing.report.terminal import SHORT, checked
from host_sim.sizing.say import assumed_words

# No figure that may be left to the screen makes the type smaller than 8 pt; only what must be on paper does, and below
# 7.5 pt only where a text would be cut otherwise.
SIZES_PT, SMALLEST_PT, SMALL_PT = (9.0, 8.75, 8.5, 8.25, 8.0), (7.75, 7.5, 7.25, 7.0), 7.5
SHEETS = 3
TITLE_MM, FIELDS_MM, CAPTION_MM = 11.5, 16.0, 8.0
NAME_LETTERS, NAME_LINE_MM = 60, 6.6
VERDICT_LETTERS, VERDICT_LINE_MM, VERDICT_MM = 84, 4.8, 6.5
SIGNED_MM = 18.0
SPARE_MM = 5.0  # of a sheet, beyond the height that is planned with: what both papers hold, 255 mm, is not used up;
# of the tight plan alone, whose halves are estimated too tall
KEY_WIDTHS = (42.0, 26.0, 23.0)
SAME_M = 1e-4  # heights nearer than this are the same
PARAGRAPH = 300  # letters, from which on an assumption begins a new one
# What is printed besides the key figures, the contacts, the operating points and the supply; the rest is on the screen.
PRINTED = (
    "inflow.1.measured", "inflow.1.low", "inflow.1.high", "inflow.1.factor", "inflow.expected", "inflow.margin",
    "head.line.static", "head.shutoff_pressure", "head.surge", "head.rated_pressure", "head.material", "pit.across",
    "pit.depth", "pit.volume", "pit.needed", "pit.drain_back", "pit.uplift", "pit.held", "pit.entrance", "pit.cover",
    "pit.outfall", "pit.outfall_distance", "cycling.rest", "reserve.one", "reserve.worn", "reserve.none_runs",
    "contacts.freeboard", "contacts.dry_run",
)  # fmt: skip
SUPPLY = (
    "circuits", "battery", "expected.shortest", "design.shortest", "share", "needed",
    "air", "vent", "recharge", "drop", "gauge", "fuse", "surge", "inverter", "generator",
)  # fmt: skip
TIGHT_FIXES = 3  # of a remark, where a page is too full
TIGHT_SUPPLY = ("circuits", "design.shortest", "needed", "air", "drop", "fuse", "inverter", "generator")
SUPPLIES = {"mains": "the mains", "battery": "the battery", "either": "the mains, or the battery by its inverter"}
CURVES = {"not said": "as given in the site file", "curve": "from plate or manual", "assumed": "ASSUMED",
          "bucket and watch": "bucket and watch; its head worked out from the pipe, water at the floor"}  # fmt: skip
ASSUMED = "Assumed (not given), and what it changes"
ASSUMED_BY_CHANGE = "Assumed (not given), and in brackets what it changes, or why"


def sheets(page, say, drawings, cautions):
    """Return (the three Sheets of a Page, the small print at the foot of the last: a list of (word, text), the Sources
    that they name).

    `drawings` are the figures at the head of the first sheet.
    """
    tall_mm = max(figure.get_figheight() for figure in drawings) * 25.4
    lines = 1 + len(page.headline) // VERDICT_LETTERS
    title = TITLE_MM + NAME_LINE_MM * (len(page.result.inputs.name) // NAME_LETTERS)
    top = title + FIELDS_MM + VERDICT_MM + lines * VERDICT_LINE_MM + tall_mm + CAPTION_MM
    plans, prints = [], []
    # What is planned with the spare height is set small: in large type an estimate may be more than that short.
    usual = [(blocks_of, 0.0) for blocks_of in (_with_line, _with_figures, _in_full, _tight)]
    for blocks_of, spare in (*usual, (_tight, SPARE_MM)):
        sources = Sources()  # of its own: only what a plan prints is cited at its foot
        blocks = blocks_of(page, {row.key: row for part in page.sections for row in part.rows}, say, sources)
        small = _small(page, say, sources, cautions)
        foot = SIGNED_MM + sum(_small_mm(word, text) for word, text in small)
        plans.append((blocks, [Sheet(top - spare), *(Sheet(-spare) for _ in range(SHEETS - 2)), Sheet(-spare, foot)]))
        prints.append((small, sources))
    number, filled = flow(plans, SIZES_PT, SMALLEST_PT)
    return filled, *prints[number]


def _with_line(page, rows, say, sources):
    return [*_with_figures(page, rows, say, sources), _line(rows, say, sources, page.result.inputs.discharge)]


def _with_figures(page, rows, say, sources):
    return [*_in_full(page, rows, say, sources), _figures(rows, say, sources)]


def _in_full(page, rows, say, sources):
    return [*_first(page, rows, say, sources), *_changed(page), _remarks(page), _covered(page),
            _pumps(page.result, say), _parts(page, sources), _supply(rows, say, sources),
            _assumed(page, say)]  # fmt: skip


def _tight(page, rows, say, sources):
    return [*_first(page, rows, say, sources), *_changed(page), _remarks(page, tight=True), _covered(page, tight=True),
            _pumps(page.result, say), _parts(page, sources), _supply(rows, say, sources, TIGHT_SUPPLY),
            _assumed_by_change(page, say)]  # fmt: skip


def _first(page, rows, say, sources):
    figures = _key_figures(rows, say, sources)
    held = [row for key, row in figures if key.startswith("supply.")]
    rest = [row for key, row in figures if not key.startswith("supply.")]
    left = [_contacts(page, rows, say), _points(page, say, sources), *([Table(KEY_WIDTHS, held)] if held else [])]
    return [Columns(left, [Table(KEY_WIDTHS, rest, "Key figures")])]


def _small(page, say, sources, cautions):
    return [("More.", "Every figure and limit, and the curves: on the screen below these sheets, and in sizing.json."),
            ("Checked by simulation.", _checked(page, say)), ("Sources.", "  ".join(sources.listed())),
            ("Cautions.", " ".join(cautions))]  # fmt: skip


def _small_mm(word, text):
    return 1.0 + Cell("", runs=((word, text),)).lines(WIDTH_MM, SMALL_PT, inf) * SMALL_PT * LINE * POINT_MM


def _value(row, say, sources):
    style = "fail" if row.within is False else ""
    tag = sources.tag(row.source)
    return Cell(f"{row.shown(say)} {tag}".strip(), style)


def _span(row, longest, say):
    return say.span(row.value, longest.value, row.kind)


def _held(row, say):
    words = row.held_against(say)
    if row.within is False:
        return Cell("NO" if words == "see the remarks" else f"NO: {words}", "name")
    return Cell(words)


def _contacts(page, rows, say):
    found = []
    same = all(abs(rows[f"contacts.{name}.{way}"].value - rows[f"contacts.{name}.{way}"].bound) < SAME_M
               for name in NAMES for way in ("wet", "dry"))  # fmt: skip
    for name in reversed(NAMES):
        wet, dry = rows[f"contacts.{name}.wet"], rows[f"contacts.{name}.dry"]
        values = (wet.value, dry.value) if same else (wet.value, wet.bound, dry.value, dry.bound)
        texts = [say(value, "length") for value in values]
        found.append([Cell(name, "name"), *(Cell(text) for text in texts)])
    what = "the levels, and the float for high" if page.result.inputs.floats.kind == "transmitter" else "the floats"
    title = f"Set {what} (heights above the bottom)"
    if same:
        return Table((19.0, 36.0, 36.0), found, f"{title}, as recommended",
                     tuple(Cell(text) for text in ("", "turns wet", "turns dry")))  # fmt: skip
    titles = tuple(Cell(text) for text in ("", "turns wet", "advised", "turns dry", "advised"))
    return Table((10.0, 17.0, 23.5, 17.0, 23.5), found, title, titles)


def _points(page, say, sources):
    found = []
    for p in page.result.points:
        heads = " and ".join(f"{h * 1.0:.1f}" for h in _running(p, [say.number(h, "head") for h in p.tdh_m]))
        fastest = max(p.velocity_ms.values(), default=0.0)
        cells = (p.which, p.contact, say(p.flow_m3s, "flow"), f"{heads} {say.unit('head')}", say(fastest, "velocity"))
        found.append([Cell(text) for text in cells])
    row = next(row for part in page.sections for row in part.rows if row.key.startswith("head.off."))
    titles = tuple(Cell(text) for text in ("running", "water at", "flow", "total head", "fastest pipe"))
    return Table((23.0, 14.0, 17.0, 20.0, 17.0), found, f"Operating points {sources.tag(row.source)}", titles)


def _running(p, heads):
    found = [head for head, flow_m3s in zip(heads, p.by_pump_m3s, strict=True) if flow_m3s > 0.0]
    return [found[0]] if len({f"{head:.1f}" for head in found}) == 1 else found


def _key_figures(rows, say, sources):
    found = []
    for key, label in SHORT:
        if key not in rows or key.endswith(".longest"):
            continue
        row = rows[key]
        cell, longest = _value(row, say, sources), rows.get(f"{key.removesuffix('.shortest')}.longest")
        if longest is not None:  # both bounds on one line
            label = label.removesuffix(": low")
            cell = Cell(f"{_span(row, longest, say)} {sources.tag(row.source)}".strip(), cell.style)
        found.append((key, [Cell(label), cell, _held(row, say)]))
    return found


def _changed(page):
    rows = [[Cell("", runs=((f"{place}. {what}", f"({cost}), for: {title}"),))]
            for place, (what, cost, title) in enumerate(page.changed, 1)]  # fmt: skip
    return [Halves((91.0,), rows, "CHANGED from what was given: to be done before this page is true")] if rows else []


def _remarks(page, tight=False):
    # `tight` leaves all but the cheapest fixes of a remark to the screen.
    found, digs = [], False
    for item in page.found:
        several = [cure.text for cure in item.cures or item.untried]
        if tight and len(several) > TIGHT_FIXES + 1:
            several[TIGHT_FIXES:] = [f"one of {len(several) - TIGHT_FIXES} more on the screen"]
        cures = "; or ".join(several)
        if DIGGING in cures:  # said once, below
            cures, digs = cures.replace(f" ({DIGGING})", "*"), True
        title = f"{'SERIOUS: ' if item.serious else ''}{item.title}:"
        fix = "Fix:" if item.cures else "No single step is enough; begin with:"
        found.append([Cell("", runs=((title, f"{item.reason}."), (fix, f"{cures}.")))])
    if digs:
        found.append([Cell(f"* {DIGGING}")])
    heading = "Remarks and fixes (each fix was tried: the remark was gone)"
    return Halves((91.0,), found or [[Cell("none")]], heading)


def _covered(page, tight=False):
    """Return the table of the faults that are covered and those that are not, what has the same reason in one row.

    `tight` leaves the list of faults to the screen where one reason holds of all of them.
    """
    groups = {}
    for section in page.sections:
        for row in section.rows if section.key == "covered" else ():
            # Why a fault is covered is on the screen; why one is not must be read.
            said = str(row.value).partition(":")[0] if row.within else str(row.value)
            groups.setdefault((row.within, said), []).append(row.label)
    groups = dict(sorted(groups.items(), key=lambda group: group[0][0] is False))
    if tight and len(groups) == 1:
        groups = {key: ["each of the faults that the screen lists below"] for key in groups}
    rows = [] if tight and not any(good for good, _ in groups) else [[Cell(note(page.result))]]
    rows += [[Cell("", runs=((_told(said, good), f"{'; '.join(_any_float(_either_pump(labels)))}."),))]
            for (good, said), labels in groups.items()]  # fmt: skip
    return Halves((91.0,), rows, "One fault at the design inflow: covered, and not covered")


def _told(said, good):
    return f"{said.capitalize() if good else said.replace('not covered: ', 'NOT COVERED, ')}:"


def _either_pump(labels):
    # What is said of both pumps in the same words is said once.
    found = []
    for label in labels:
        twin = label.replace("pump 1", "pump 2") if "pump 1" in label else label.replace("pump 2", "pump 1")
        if twin != label and twin in labels:
            label = label.replace("pump 1", "either pump").replace("pump 2", "either pump")
        if label not in found:
            found.append(label)
    return found


def _any_float(labels):
    # What is said of all four floats in the same words is said once.
    alike = [f"the {name} float " for name in NAMES]
    rest = next((label.removeprefix(alike[0]) for label in labels if label.startswith(alike[0])), "")
    whole = [start + rest for start in alike]
    if not rest or not set(whole) <= set(labels):
        return labels
    place = labels.index(whole[0])
    labels = [f"any one float {rest}" if label == labels[place] else label for label in labels]
    return [label for label in labels if label not in whole]


def _pumps(result, say):
    """Return the Table of each pump by itself: plate, curve, inlet, thresholds, sensor."""
    inputs, found = result.inputs, []
    plates = [(plate, inputs.pumps[n], result.sensors[n]) for n, plate in enumerate(inputs.nameplates)]
    lines = {
        "plate": [f"{plate.volts:g} V {'DC' if plate.direct else 'AC'}, {say(plate.amps, 'current')}, on "
                  f"{SUPPLIES[plate.supply]}{', installed' if plate.installed else ''}" for plate, _, _ in plates],
        "curve": [f"{', '.join(_point(point, say) for point in plate.points)} "
                  f"({CURVES.get(plate.curve_how, plate.curve_how)})" for plate, _, _ in plates],
        "inlet": [f"{say(plate.intake_m, 'length')} above the bottom" for plate, _, _ in plates],
    }  # fmt: skip
    if inputs.sensing == "current":
        lines["trips"] = [_trips(result.settings, n, say) for n in (0, 1)]
    for name, texts in lines.items():
        found.append([Cell(name, "name"), *(Cell(text) for text in texts)])
    return Table((14.0, 86.0, 86.0), found, "The pumps, each its own", (Cell(""), Cell("pump 1"), Cell("pump 2")))


def _point(point, say):
    return f"{say(point[0], 'flow')} at {say(point[1], 'distance')}"


def _trips(values, n, say):
    under, over = values[s.UNDERLOAD_1_MA + n] / 1000.0, values[s.OVERLOAD_1_MA + n] / 1000.0
    return f"underload below {say(under, 'current')}, overload above {say(over, 'current')}"


def _parts(page, sources):
    rows = [[Cell(count), Cell("", runs=((f"{what}:", f"{part.rating} {sources.tag(part.source)}"),))]
            for count, what, part in _alike(page.parts)]  # fmt: skip
    return Halves((13.0, 78.0), rows, "Parts: how many, what, and its rating")


def _alike(parts):
    # Both pumps' part on one line where it is the same: (count, what, part).
    found, told = [], set()
    for part in parts:
        twin = next((other for other in parts if _names(other) == _names(part) and other is not part), None)
        if twin is None:
            found.append((part.count, part.what, part))
        elif _names(part) not in told:
            told.add(_names(part))
            count = "2" if part.count == "1" else f"2 x {part.count}"
            found.append((count, re.sub(r"\b(pump|riser|line) 1", r"\1s 1 and 2", part.what), part))
    return found


def _names(part):
    return part.count, re.sub(r"\b(pump|riser|line) [12]", r"\1", part.what), part.rating, part.source


def _supply(rows, say, sources, names=SUPPLY):
    found = []
    for name in names:
        row = rows.get(f"supply.{name}")
        if row is not None:
            style, label, shown = "fail" if row.within is False else "", row.label, row.shown(say)
            longest = rows.get(f"supply.{name.removesuffix('.shortest')}.longest")
            if longest is not None:
                label, shown = label.removesuffix(": low"), _span(row, longest, say)
            found.append([Cell(label), Cell(f"{shown} {sources.tag(row.source)}".strip(), style), _held(row, say)])
    titles = tuple(Cell(text) for text in ("supply", "figure", "held against"))
    return Halves((38.0, 28.0, 25.0), found, "Battery, ventilation, cable", titles)


def _line(rows, say, sources, discharge):
    found = []
    for name in ("riser_1", "riser_2", "header"):
        cells = [rows.get(f"head.line.{name}.{cell}") for cell in ("inside", "length", "k", "friction", "loss")]
        if None not in cells:
            found.append([Cell(stretch(name, discharge), "name"), *(Cell(row.shown(say)) for row in cells)])
    tags = [sources.tag(rows[f"head.line.riser_1.{cell}"].source) for cell in ("inside", "k", "friction")]
    titles = (
        Cell("pipe, both running"), Cell(f"inside diameter {tags[0]}"), Cell("length"),
        Cell(f"K of fittings {tags[1]}"), Cell(f"pipe friction {tags[2]}"), Cell("total loss"),
    )  # fmt: skip
    return Table((36.0, 34.0, 26.0, 32.0, 32.0, 26.0), found, "Discharge line", titles)


def _figures(rows, say, sources):
    found = []
    worst = max((key for key in rows if key.startswith("reserve.wait_")), key=lambda key: rows[key].value, default="")
    for key in (*PRINTED, worst):
        if key in rows:
            row = rows[key]
            found.append([Cell(row.label), _value(row, say, sources), _held(row, say)])
    return Halves((42.0, 22.0, 27.0), found, "Other figures")


def assumptions(page, say):
    """Yield (what was taken, why and what it changes, what it changes) of each value that was not given."""
    for a in page.assumptions:
        why = f"{a.why}; {a.changes}" if a.why and a.changes else a.changes or a.why
        yield f"{assumed_words(a.key)}: {say.again(a.taken)}", why, a.changes or a.why


def _assumed(page, say):
    rows = [[Cell(taken, "name"), Cell(changes)] for taken, changes, _ in assumptions(page, say)]
    if not rows:
        return Table((186.0,), [[Cell("Nothing: every question was answered.")]], "Assumed (not given)")
    return Halves((46.0, 45.0), rows, ASSUMED)


def _assumed_by_change(page, say):
    # What changes the same stands together, one after another; why each was taken is on the screen.
    groups = {}
    for taken, _, changes in assumptions(page, say):
        if taken.startswith(("curve of pump", "voltage of pump", "rated current of pump")):  # in the pumps' table
            taken = f"{taken.partition(':')[0]}: as above"
        groups.setdefault(changes, []).append(taken)
    runs = [("; ".join(_either_pump(taken)), f"({changes});" if changes else ";") for changes, taken in groups.items()]
    rows = [[Cell("", runs=tuple(part))] for part in _paragraphs(runs)]
    return Halves((91.0,), rows or [[Cell("nothing: every question was answered")]], ASSUMED_BY_CHANGE)


def _paragraphs(runs):
    # Runs in paragraphs of some lines.
    found, letters = [], PARAGRAPH
    for run in runs:
        if letters >= PARAGRAPH:
            found.append([])
            letters = 0
        found[-1].append(run)
        letters += len(run[0]) + len(run[1])
    return found


def _checked(page, say):
    if not page.checks:
        return f"Not checked by simulation. {page.check_problem or 'It was not asked for.'}"
    said = checked(page.checks, say)
    return f"The firmware ran this pit in the simulator at {len(page.checks)} constant inflows: {said}."
