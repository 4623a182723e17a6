"""The sizing's page as its reader has it: printed by Chromium on three sheets, and in a window; nothing overlaps."""

import functools
import json
import random
import re
import tomllib

import pytest

from host_sim.board.settings_file import checksum
from host_sim.errors import InputError
from host_sim.report.sheet import LEFT_OUT
from host_sim.run.journal import firmware_checksum
from host_sim.site.load import packaged
from host_sim.sizing.document import edited
from host_sim.sizing.model import size
from host_sim.sizing.report.as_html import as_html
from host_sim.sizing.report.page import build
from host_sim.sizing.report.sources import Sources
from host_sim.sizing.say import Say, assumed_words
from tests import chromium
from tests.interviews.draw import draw
from tests.interviews.person import talk
from tests.sampled import sampled
from tests.sizing_sites import SOUND, random_site

PAPERS = {"letter": (8.5, 11.0), "A4": (8.27, 11.69)}
LEAST_PT = 7.5
# Of a person who knew nothing and is told everything: one page is set smaller, so that no text is cut.
CROWDED_PT = {("interview, place 3", "si"): 7.25}
PRINTED_MM = (186.0, 255.0)  # what both papers hold within margins of 12 mm
# Everything that can be wrong with a pit at once, in words as long as they come.  Invented.
WRONG = {
    "name": "A very long name of a place that somebody has typed in, north corner, below the stairs to the garden door",
    "pit.diameter": "16 in", "pit.depth": "20 in", "discharge.riser.fittings.swing_check": None,
    "discharge.riser.fittings.ball_valve": None, "pump.weep_hole": None, "sizing.piping": None, "sizing.outfall": None,
    "sizing.basin": None, "sizing.power": None, "sizing.motor": {"body_diameter": "9 in"}, "sizing.floats": None,
    "sizing.evidence.0.weather": "unknown", "controller.sensing": "nothing", "supply.charger.current": "1 A",
    "supply.battery.capacity": "40 Ah", "supply.inverter.limit": "1500 W",
}  # fmt: skip
LONG_CURVE = [[f"{5 * i} gpm", f"{30 - 0.2 * i * i - i} ft"] for i in range(10)]
BATTERY_PAIR = {
    "pump1": {"supply": "mains"}, "supply.inverter": None,
    "pump2": {"supply": "battery", "rated_current": "18 A", "volts": "12 V", "power_factor": 1.0, "curve": LONG_CURVE,
              "intake": "4 in"},
}  # fmt: skip
CHANGES = "the time that the battery lasts, and the height of the lead float"
ASSUMED = [{"what": f"the {word} of pump {n}", "taken": "as usual", "changes": CHANGES}
           for n in (1, 2) for word in ("plate", "curve", "inlet", "body", "outlet")]  # fmt: skip
SITES = {
    "sound": {},
    "everything wrong": WRONG,
    "mains and battery, ten points of a curve": BATTERY_PAIR,
    "tethered floats, a drain inlet": {"sizing.floats": {"kind": "tethered"}, "sizing.basin.inlet": "20 in"},
    "much assumed": {**WRONG, **BATTERY_PAIR, "sizing.assumed": ASSUMED},
    "square, a line for each pump": {"pit.shape": "square", "pit.side": "30 in", "pit.diameter": None,
                                     "discharge.header": None, "discharge.riser.fittings.exit": 1},
}  # fmt: skip


def html_of(data, system="us", **head):
    say = Say(system)
    return as_html(build(size(data), say, with_check=False), say, **head)


@functools.cache
def interviews(count=4, seed=3):
    """Return {name: document} of interviews that the sizing does not refuse."""
    found = {}
    for number in range(40):
        text, _ = talk(draw(seed, number))
        try:
            size(tomllib.loads(text))
        except InputError:
            continue
        found[f"interview {number}"] = tomllib.loads(text)
        if len(found) == count:
            return found
    raise AssertionError(f"of 40 interviews of seed {seed} fewer than {count} can be sized")


@functools.cache
def documents():
    """Return {name: document}: the demo, the sites above, random ones, and interviews."""
    rng = random.Random(5)
    found = {"the demo": tomllib.loads(packaged("demo").read_text(encoding="utf-8"))}
    found |= {name: edited(SOUND, edits) for name, edits in SITES.items()}
    found |= {f"random {i}": random_site(rng) for i in range(4)}
    return found | interviews()


NAMES = ["the demo", *SITES, *(f"random {i}" for i in range(4)), *(f"interview, place {i}" for i in range(4))]


def document(name):
    if name.startswith("interview"):
        return list(interviews().values())[int(name[-1])]
    return documents()[name]


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    if chromium.PATH is None:
        pytest.skip("no Chromium to look at pages with")
    with chromium.Browser(tmp_path_factory.mktemp("chromium")) as found:
        yield found


@pytest.mark.long
@pytest.mark.parametrize("name", sampled(NAMES, 5))
@pytest.mark.parametrize("system", sampled(["us", "si"], 2))
def test_it_prints_on_three_sheets_and_no_text_lies_on_another_or_leaves_its_sheet(browser, tmp_path, name, system):
    path = tmp_path / "sizing.html"
    path.write_text(html_of(document(name), system, when="2031-05-25"), encoding="utf-8")
    browser.show(path, PRINTED_MM[0] * chromium.PX_MM, "print")
    sheets, boxes = browser.sheets(), browser.boxes()
    assert len(sheets) == 3
    for across, tall, wider in sheets:
        assert across <= PRINTED_MM[0] + 0.1 and tall <= PRINTED_MM[1] and wider <= 0
    assert len(boxes) > 150 and chromium.overlaps(boxes) == []
    assert max(box[3] for box in boxes) <= PRINTED_MM[0] * chromium.PX_MM + 1 and min(box[1] for box in boxes) >= -1
    for paper in PAPERS.values():
        assert chromium.pages_of(browser.print(paper)) == 3
    types = [float(size) for size in re.findall(r'class="sheet" style="font-size:([\d.]+)pt"', path.read_text("utf-8"))]
    least = CROWDED_PT.get((name, system), LEAST_PT)
    assert min(types) >= least and browser.least_pt(".sheet") >= least - 0.01
    assert "in full in the JSON" not in path.read_text("utf-8") and LEFT_OUT not in path.read_text("utf-8")


@pytest.mark.long
@pytest.mark.parametrize("width", [1280, 760, 400])
def test_in_a_window_nothing_overlaps_or_has_to_be_scrolled_to_across(browser, tmp_path, width):
    for name in ("sound", "much assumed"):
        path = tmp_path / "sizing.html"
        path.write_text(html_of(document(name)), encoding="utf-8")
        browser.show(path, width)
        boxes = browser.boxes()
        assert browser.width() <= width and max(box[3] for box in boxes) <= width
        assert len(boxes) > 300 and chromium.overlaps(boxes) == []


def test_an_overlap_a_clipped_text_and_a_fourth_sheet_would_be_found(browser, tmp_path):
    page, path = html_of(SOUND), tmp_path / "broken.html"
    onto = '<p style="position:absolute;top:20px;left:20px;margin:0">over the title</p>'
    path.write_text(page.replace("</body>", onto + "</body>"), encoding="utf-8")
    browser.show(path, 703, "print")
    assert any("over the title" in pair for pair in chromium.overlaps(browser.boxes()))
    path.write_text(page.replace("table-layout: fixed", "width: 250mm; table-layout: fixed; white-space: nowrap"))
    browser.show(path, 703, "print")
    assert max(box[3] for box in browser.boxes()) > PRINTED_MM[0] * chromium.PX_MM + 1
    path.write_text(page.replace('class="drawings"', 'class="drawings" style="margin-bottom: 90mm"'), encoding="utf-8")
    browser.show(path, 703, "print")
    assert chromium.pages_of(browser.print(PAPERS["letter"])) > 3


@chromium.needed
def test_the_drawings_are_printed_at_their_own_size(browser, tmp_path):
    # The ruler of 6 in, the scale that is told, and the points of the drawing agree; so must the paper.
    path = tmp_path / "sizing.html"
    page = html_of(SOUND)
    path.write_text(page, encoding="utf-8")
    browser.show(path, 703, "print")
    told = [float(width) for width in re.findall(r'<svg role="img"[^>]*? width="([\d.]+)pt"', page)][:2]
    seen = [box for box in browser.boxes() if box[0].startswith("drawing the ")][:2]
    assert [(right - left) / 96.0 * 72.0 for _, left, _, right, _ in seen] == pytest.approx(told, abs=0.5)


@pytest.mark.long
def test_the_head_has_blanks_date_version_and_checksums_and_the_end_signatures():
    result = size(SOUND)
    page = html_of(SOUND, when="2031-05-25T10:00", place="1 Invented Lane")
    words = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))
    for part in ("Customer: Place: 1 Invented Lane Date: 2031-05-25 ", "Version: sumpbench ",
                 f"Firmware: {firmware_checksum():08x} ", f"Settings checksum: {checksum(result.settings)} ",
                 "sized by: date, signature customer: date, signature"):  # fmt: skip
        assert part in words
    assert checksum(result.settings) != checksum(size(edited(SOUND, {"sizing.motor.starts_per_hour": 12})).settings)


@pytest.mark.long
def test_it_reads_in_black_and_white():
    style = re.search(r"<style>(.*?)</style>", html_of(SOUND), re.DOTALL)[1]
    assert set(re.findall(r"#[0-9a-f]{3,6}\b", style)) <= {"#000", "#fff", "#777"}
    assert ">NO: " in html_of(edited(SOUND, WRONG))  # a word, and a thick frame, say what color would


def test_every_figure_of_the_supply_and_every_part_has_its_source_beside_it():
    page = build(size(SOUND), Say("us"), False, False)
    rows = [row for section in page.sections if section.key == "supply" for row in section.rows]
    bare = {row.key for row in rows if row.kind != "text" and not row.source}
    assert bare == set()
    assert all(part.source for part in page.parts)
    cable = next(row for row in rows if row.key == "supply.gauge")
    assert "Table 310.16" in cable.source and "2023" in cable.source
    assert "62485-2:2010" in next(row for row in rows if row.key == "supply.air").source


def test_an_unpublished_source_is_told_by_its_letter_and_a_published_one_by_its_number():
    sources = Sources()
    assert sources.tag("ASTM D1785; common practice, no source") == "[1, P]"
    assert sources.tag("our own choice, no source") == "[O]" and sources.tag("") == ""
    assert sources.tag("Archimedes; ASTM D1785") == "[2, 1]"
    assert sources.listed() == ["[P] common practice, no source", "[O] our own choice, no source", "[1] ASTM D1785",
                                "[2] Archimedes"]  # fmt: skip


def test_a_table_quoted_from_memory_is_marked_so_beside_every_figure():
    sources = Sources()
    assert sources.tag("sizes: NEC 2023 240.6(A), from memory; ASTM D1785") == "[1M, 2]"
    listed = sources.listed()
    assert listed[0].startswith("[M] from memory") and listed[1].startswith("[1M] sizes: NEC")
    page = build(size(edited(SOUND, BATTERY_PAIR)), Say("us"), False, False)
    cited = {row.source for section in page.sections for row in section.rows} | {part.source for part in page.parts}
    standards = [part for source in cited for part in source.split("; ")
                 if re.search(r"NEC|IEEE|1113\.1\.4|60947|Crane", part)]  # fmt: skip
    assert len(standards) >= 5
    for source in standards:
        assert "M]" in Sources().tag(source), source


def test_the_parts_list_has_a_transformer_for_ac_and_none_for_dc_and_a_locked_rotor_in_range():
    page = build(size(edited(SOUND, BATTERY_PAIR)), Say("us"), False, False)
    parts = {part.what: part.rating for part in page.parts}
    assert "burden" in parts["current transformer, pump 1 (AC)"]
    assert "burden" not in parts["Hall sensor, pump 2 (DC)"]
    for sensor, pump in zip(page.result.sensors, page.result.inputs.pumps, strict=True):
        assert sensor.range_a >= 3.0 * pump.motor.rated_a and sensor.full_v * sensor.gain == pytest.approx(3.3)
    assert "DC-3" in parts["contactor, pump 2"] and "AC-3" in parts["contactor, pump 1"]
    assert json.dumps([vars(part) for part in page.parts])


@pytest.mark.long
def test_beside_a_transmitter_the_list_has_one_float_and_the_loop():
    edits = {"sizing.floats": {"kind": "transmitter"}, "transmitter": {"zero": "1 in", "span": "1 m"}}
    parts = {part.what: part for part in build(size(edited(SOUND, edits)), Say("us"), False, False).parts}
    assert "4 mA at 1.0 in" in parts["level transmitter"].rating
    assert parts["float switch, vertical, for high"].count == "1"
    assert not any("transmitter" in what and "float" in what for what in parts)


def test_pit_and_controller_stand_among_the_parts():
    page = build(size(SOUND), Say("us"), False, False)
    named = {part.what: part.rating for part in page.parts}
    assert "controller" in named and "wiring" in named["controller"]
    basin = next(part for part in page.parts if "basin" in part.what or "pit" in part.what)
    assert "30.0 in" in basin.what + basin.rating and "36.0 in" in basin.what + basin.rating


def test_the_sheet_lists_what_apply_all_changed():
    say = Say("us")
    page = build(size(SOUND), say, False, False)
    assert "CHANGED from what was given" not in as_html(page, say)
    page.changed = [("a pit 26.0 in wide", "breaking the floor", "pumps and floats do not fit beside each other"),
                    ("vertical floats", "a part", "floats too close")]  # fmt: skip
    html = as_html(page, say)
    for text in ("CHANGED from what was given", "1. a pit 26.0 in wide", "(breaking the floor)", "2. vertical floats"):
        assert text in html


def test_what_was_assumed_is_named_in_words_and_not_by_the_keys_of_the_site_file():
    page = build(size(edited(SOUND, {"sizing.motor.starts_per_hour": None})), Say("us"), False, False)
    told = [assumed_words(a.key) for a in page.assumptions]
    assert any(words == "both pumps: starts per hour" or words == "pump 1: starts per hour" for words in told), told
    assert assumed_words("sizing.motor2.least_run") == "pump 2: shortest run"
    assert not [words for words in told if "_" in words or "motor" in words or "sizing" in words]
