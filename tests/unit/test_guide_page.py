"""The building guide as its reader has it: every signal drawn once, nothing off the page, no text on text."""

import re

import pytest

from host_sim.board import signals
from tests import chromium
from tests.guides import ALL, BOTH, drawings, html_of, subject

pytest.importorskip("schemdraw")
PAPERS = {"letter": (8.5, 11.0), "A4": (8.27, 11.69)}
PRINTED_MM = (186.0, 255.0)  # what both papers hold within margins of 12 mm
LEAST_PT = 7.0


@pytest.mark.parametrize(("board", "expander"), BOTH)
def test_every_row_of_the_table_is_drawn_once_with_its_pin_and_its_terminal(board, expander):
    both = {name: texts for name, texts in drawings(board, expander).items() if name.startswith("schematic")}
    drawn = [text for texts in both.values() for text in texts]
    assert len(drawn) > 100
    rows = signals.signals(board, expander)
    for one in rows:
        assert drawn.count(one.name) == 1, one.name
        assert drawn.count(one.terminal) == 1, one.terminal
        shared = sum(other.pin == one.pin for other in rows)
        assert drawn.count(one.pin_text) == shared, one.pin_text
        if one.position:
            assert drawn.count(f"pin {one.position}") == shared, one.position
    assert len(re.findall(r"pin [J\d]", " | ".join(drawn))) >= sum(bool(one.position) for one in rows)


@pytest.mark.parametrize(("board", "expander"), BOTH)
def test_every_row_stands_in_the_connection_table(board, expander):
    text = html_of(board, expander)
    what = subject(board, expander)
    for one in what.rows:
        row = re.search(rf'<tr><td class="name">{re.escape(one.terminal)}</td>.*?</tr>', text, re.DOTALL)
        assert row, one.terminal
        to = "leave open: no level transmitter" if one.name in what.absent else one.to
        for words in (one.name, one.pin_text, one.rest, one.safe, to, one.pull):
            assert words.replace("'", "&#39;") in row[0], (one.name, words)


def test_the_ladder_has_three_positions_a_guard_and_a_suppressor_for_each_pump():
    texts = drawings("pico", True)["ladder diagram, power side and coil circuits"]
    for n in (1, 2):
        for words in (f"selector SS{n}: HAND OFF AUTO", f"disconnect DS{n}", f"contactor C{n}", f"thermal T{n}",
                      f"relay K{n}", f"fuse FC{n}", f"motor M{n}", f"KT{n}", f"relay KT{n}"):  # fmt: skip
            assert texts.count(words) == 1, words
    assert texts.count("X O O") == texts.count("O O X") == 2
    # The demo's pump 1 is on the mains, pump 2 on the battery.
    assert {"breaker CB1", "GFCI 1", "100 ohm + 0.1 uF, class X2"} <= set(texts)
    assert texts.count("equipment ground") == 1 and texts.count("surge arrester") == 1
    assert {"fuse FU2", "diode across the coil"} <= set(texts) and "GFCI 2" not in texts


def test_no_color_says_anything():
    colors = set(re.findall(r"(?:fill|stroke):\s*([^;\"]+)", html_of("pico", True)))
    assert colors <= {"none", "black", "white", "#000", "#fff", "#ffffff", "#000000"}, colors


def test_sizes_of_type_in_the_drawings_are_readable_on_paper():
    # A drawing's unit is a point on the page: its box is as wide as the page, 186 mm.
    text = html_of("esp32", True)
    assert set(re.findall(r"<svg [^>]*style=\"width:([\d.]+)mm", text)) == {"186"}
    sizes = {float(size) for size in re.findall(r'font-size="?:?\s*([\d.]+)', text)}
    assert sizes and min(sizes) >= LEAST_PT, sizes


def problems(sheets, boxes):
    """What of a page leaves its sheet or its drawing, or lies on another text."""
    for width, height, over in sheets:
        if width > PRINTED_MM[0] + 0.1 or height > PRINTED_MM[1] or over >= 0.3:
            yield f"a sheet of {width:.1f} x {height:.1f} mm, {over:.1f} mm too wide"
    texts = [box for box in boxes if not box[0].startswith("drawing ")]
    yield from chromium.overlaps(texts)
    right = PRINTED_MM[0] * chromium.PX_MM
    yield from (box for box in texts if box[1] < -0.5 or box[3] > right + 0.5)
    for name, left, top, edge, low in [box for box in boxes if box[0].startswith("drawing ")]:
        if edge - left > right + 0.5:
            yield f"{name} is wider than the sheet"
        yield from (box for box in texts if top - 1 <= box[2] < low - 1 and box[4] > low + 1)


@chromium.needed
@pytest.mark.long
def test_nothing_lies_on_anything_and_nothing_leaves_the_sheet(tmp_path):
    with chromium.Browser(tmp_path) as browser:
        for name, board, expander, low in ALL:
            case = (name, board, expander, low)
            path = tmp_path / "build.html"
            path.write_text(html_of(board, expander, low, name), encoding="utf-8")
            browser.show(path, PRINTED_MM[0] * chromium.PX_MM, "print")
            sheets, boxes = browser.sheets(), browser.boxes()
            assert not list(problems(sheets, boxes)), case
            words = browser.words()
            assert len(words) > 50 and not [one for one in words if one[1] != 1], "a command is broken within a word"
            assert len(boxes) > 400 and sum(box[0].startswith("drawing ") for box in boxes) == 5
            for paper, inches in PAPERS.items():
                assert chromium.pages_of(browser.print(inches)) == len(sheets), (case, paper)


@chromium.needed
@pytest.mark.long
def test_a_label_that_is_too_long_and_one_that_lies_on_its_neighbor_are_found(tmp_path):
    text = html_of("esp32", True)
    broken = {
        "leaves": text.replace("with USB: see the board's own rules", "with USB as well: see the board's own rules"),
        "lies on": text.replace(">selector 1 HAND<", ">selector 1 HAND, second contact block of it<"),
    }
    with chromium.Browser(tmp_path) as browser:
        for name, html in broken.items():
            assert html != text
            path = tmp_path / f"{name[:4]}.html"
            path.write_text(html, encoding="utf-8")
            browser.show(path, PRINTED_MM[0] * chromium.PX_MM, "print")
            assert list(problems(browser.sheets(), browser.boxes())), name


@chromium.needed
@pytest.mark.long
def test_a_command_that_breaks_at_a_hyphen_is_found(tmp_path):
    path = tmp_path / "build.html"
    path.write_text(html_of("pico", True).replace(".word { white-space: nowrap; }", ""), encoding="utf-8")
    with chromium.Browser(tmp_path) as browser:
        browser.show(path, PRINTED_MM[0] * chromium.PX_MM, "print")
        assert [one for one in browser.words() if one[1] != 1]


def test_a_command_is_marked_whole_and_what_it_says_is_what_is_typed():
    html = html_of("pico", True)
    found = [re.sub("<[^>]+>", "", one) for one in re.findall("<code>(.*?)</code>", html)]
    assert "sumpbench build --check --board pico --port PORT --only X1 --only X3" in found
    plain = re.sub("<code>.*?</code>", "", html)
    assert not re.search(r"sumpbench [a-z]+ --", plain), "a command outside of the marks may break at its hyphens"
    assert "`" not in plain and not set("".join(found)) & set("\u00ad\u2010\u2011\u2060")


def test_the_overlap_check_can_fail():
    boxes = [("one", 0, 0, 50, 10), ("other", 40, 5, 90, 15)]
    assert chromium.overlaps(boxes)


def test_both_hot_conductors_of_a_240_v_pump_are_switched():
    texts = drawings("esp32", True, name="lines")["ladder diagram, power side and coil circuits"]
    assert {"L1", "L2", "40 A, 2 poles", "in CB2", "25 A AC-3, 2 poles", "20 A", "or in CB1"} <= set(texts)
    assert texts.count("equipment ground") == 2


def test_where_the_relay_drive_holds_is_drawn_for_the_module_that_is_fitted():
    for active in (True, False):
        heads = re.findall(">R: (relay drive, [^<]*)<", html_of("pico", True, active))
        assert ("0 V (active-low)" in heads[0]) == active


@pytest.mark.parametrize(("board", "expander"), BOTH)
def test_what_the_site_leaves_out_is_drawn_as_not_built(board, expander):
    for name, left in (("demo", {"level loop"}), ("loop", set()), ("bare", {"current 1", "current 2", "level loop"})):
        if name == "loop" and (board, expander) == ("pico", False):
            left = {"battery"}  # one pin reads both
        what = subject(board, expander, name=name)
        assert {one.name for one in what.rows if one.name in what.absent and one.kind == signals.ANALOG} == left
        texts = drawings(board, expander, name=name)
        measuring = " ".join(texts["circuits C, L, B, S: measuring and serial"])
        for one in what.rows:
            if one.kind == signals.ANALOG:
                assert bool(re.search(rf"\b{one.terminal}\b", measuring)) == (one.name not in left), (name, one.name)
        schematic = texts["schematic 2, outputs, measuring, serial, supply"]
        assert sum(text.startswith("not built") for text in schematic) == len(left)
