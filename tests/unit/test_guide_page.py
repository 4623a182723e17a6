"""The building guide as its reader has it: every signal drawn once, nothing off the page, no text on text."""

import functools
import math
import re

import pytest
import typer
from duplexsump.control import settings as s

from hil.cli import build, commission
from host_sim.board import signals
from host_sim.cli import app
from host_sim.errors import InputError
from host_sim.guide import assembly, figures, page, parts
from host_sim.site.load import load_site, packaged
from tests import chromium

pytest.importorskip("schemdraw")
PAPERS = {"letter": (8.5, 11.0), "A4": (8.27, 11.69)}
PRINTED_MM = (186.0, 255.0)  # what both papers hold within margins of 12 mm
LEAST_PT = 7.0
BOTH = [(board, expander) for board in ("pico", "esp32") for expander in (False, True)]


@functools.cache
def html_of(board, expander):
    return page.as_html(load_site(packaged("demo")), board, expander)


def drawings(board, expander):
    """Return {name of a drawing: the texts in it, in order}."""
    found = {}
    for name, body in re.findall(r'<svg [^>]*aria-label="([^"]+)">(.*?)</svg>', html_of(board, expander), re.DOTALL):
        found[name] = [re.sub(r"<[^>]+>", "", text).strip() for text in re.findall(r"<text.*?</text>", body, re.DOTALL)]
    return found


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
    for one in signals.ranged(signals.signals(board, expander), load_site(packaged("demo")).settings):
        row = re.search(rf'<tr><td class="name">{re.escape(one.terminal)}</td>.*?</tr>', text, re.DOTALL)
        assert row, one.terminal
        for words in (one.name, one.pin_text, one.rest, one.safe, one.to, one.pull):
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
@pytest.mark.parametrize(("board", "expander"), BOTH)
def test_nothing_lies_on_anything_and_nothing_leaves_the_sheet(tmp_path, board, expander):
    path = tmp_path / "build.html"
    path.write_text(html_of(board, expander), encoding="utf-8")
    with chromium.Browser(tmp_path) as browser:
        browser.show(path, PRINTED_MM[0] * chromium.PX_MM, "print")
        sheets, boxes = browser.sheets(), browser.boxes()
        assert not list(problems(sheets, boxes))
        words = browser.words()
        assert len(words) > 50 and not [one for one in words if one[1] != 1], "a command is broken within a word"
        assert len(boxes) > 400 and sum(box[0].startswith("drawing ") for box in boxes) == 5
        for name, paper in PAPERS.items():
            assert chromium.pages_of(browser.print(paper)) == len(sheets), name


@chromium.needed
@pytest.mark.long
def test_a_label_that_is_too_long_and_one_that_lies_on_its_neighbor_are_found(tmp_path):
    text = html_of("esp32", True)
    broken = {
        "leaves": text.replace("USB may be plugged in too", "USB may be plugged in as well, at any time you like"),
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


# Worked by hand: 8 A takes a conductor for 10 A, at most 250 % = 20 A; 20 A in direct current 25 to 30 A.
def test_the_power_side_follows_from_the_data_plates():
    one, two = figures.motors(load_site(packaged("demo")))
    assert (one.direct, one.rated_a, one.locked_a, one.category) == (False, 8, 40, "AC-3")
    assert (one.breaker_a, one.awg, one.contactor_a) == (20, 12, 12)
    assert (two.direct, two.rated_a, two.locked_a, two.category) == (True, 20, 100, "DC-3")
    assert (two.breaker_a, two.awg, two.contactor_a) == (30, 10, 25)
    for motor in (one, two):
        makes = 4 if motor.direct else 10
        assert motor.contactor_a * makes >= motor.locked_a and motor.contactor_a >= motor.conductor_a
        assert motor.sensor.range_a >= motor.sensor.locked_a, "a locked rotor lies within the range"


def rectified_v(sensor, amps):
    """What the drawn circuit makes of a sine, by its parts: burden, both halves up, mean, last amplifier on 3.3 V."""
    drawn = figures.rectifier(sensor)
    n = 20_000
    wave = [abs(math.sin(2 * math.pi * k / n)) for k in range(n)]
    mean = 2**0.5 * amps / sensor.ratio * sensor.burden_ohm * sum(wave) / n
    return min(3.3, mean * (1 + drawn.feedback_kohm / figures.GROUND_KOHM))


def test_the_drawn_rectifier_makes_of_the_range_3v3_and_of_half_of_it_half():
    sensor = figures.motors(load_site(packaged("demo")))[0].sensor
    assert rectified_v(sensor, sensor.range_a / 2) == pytest.approx(1.65, rel=0.01)
    assert rectified_v(sensor, 0.98 * sensor.range_a) == pytest.approx(0.98 * 3.3, rel=0.01)
    assert rectified_v(sensor, 3 * sensor.range_a) == 3.3, "it ends at its supply"
    text = drawings("pico", True)["circuits C, L, B, S: measuring and serial"]
    assert f"{figures.rectifier(sensor).feedback_kohm:g} kohm 1 %" in text


# The E96 series holds 2.67 and 3.16 (IEC 60063).
@pytest.mark.parametrize(("gain", "kohm"), [(3.7024, 26.7), (1.32, 3.16), (44.0, 432.0)])
def test_an_amplifiers_resistor_is_the_nearest_of_its_series(gain, kohm):
    found = figures.amplifier(gain)
    assert found.feedback_kohm == pytest.approx(kohm)
    assert 1 + found.feedback_kohm / figures.GROUND_KOHM == pytest.approx(gain, rel=0.01)


def test_figures_of_the_circuits():
    # (12 - 1.2) / 2200 = 4.909 mA; 3.3 / 3300 = 1 mA; 11 kohm x 100 nF = 1.1 ms.
    assert figures.field_ma() == pytest.approx(4.909, abs=0.001)
    assert figures.field_ma(figures.LONGEST_M) >= 2.0, "IEC 61131-2: 2 mA while on, at the end of the longest cable"
    assert figures.panel_ma() == pytest.approx(1.0)
    assert figures.filter_ms(figures.PULL_OHM) == pytest.approx(1.1)
    # 100 Ah / 1.25, half of it, at the current at rest: no more than is stored.
    kept = figures.reserve(load_site(packaged("demo")))
    assert kept.shared and kept.hours == pytest.approx(100 / 1.25 * 0.5 / kept.rest_a, rel=1e-6)
    assert 0.15 < kept.rest_a < 0.25


def test_a_motor_beyond_the_tables_is_refused_in_words():
    from dataclasses import replace

    pump = load_site(packaged("demo")).pumps[0]
    with pytest.raises(InputError, match="an electrician sizes it"):
        figures.motor(1, replace(pump, motor=replace(pump.motor, rated_a=80.0)), 200_000)


def test_every_figure_and_rule_bears_its_source():
    from host_sim.guide import words

    for row in (*words.ALLOWED, *words.POWER, *words.LOW, *words.ENCLOSURE):
        assert row[-1].strip(), row
    for what, value, worked, source in figures.rows(load_site(packaged("demo")), "pico"):
        assert value and worked and source, what
    text = html_of("pico", True)
    for words_ in ("Shock:", "Drowning:", "Battery gas:", "Flood:", "Generator exhaust:", "Licensed electrician",
                   "NFPA 70 (NEC) 430.102(B)", "NAMUR NE 43", "IEC 60947-4-1", "common practice, no source",
                   "19200 baud, even parity"):  # fmt: skip
        assert words_ in text, words_


@pytest.mark.parametrize(("board", "expander"), BOTH)
def test_parts_are_counted_from_the_table_and_carry_ratings(board, expander):
    rows = parts.parts(board, expander, figures.motors(load_site(packaged("demo"))))
    count = {part: int(number) for number, part, _ in rows}
    field = sum(one.electrical == "field contact" for one in signals.signals(board, expander))
    assert count["optocoupler"] == count["reverse diode"] == field
    assert ("I2C I/O expander" in count) == expander
    assert ("I2C analog converter" in count) == ((board, expander) == ("pico", True))
    assert all(rating for _, _, rating in rows)


def of_the_demo(board, expander):
    """The parts as {name: (count, rating)}; a name that stands twice has its counts added."""
    found = {}
    for number, part, rating in parts.parts(board, expander, figures.motors(load_site(packaged("demo")))):
        count, words = found.get(part, (0, ""))
        found[part] = (count + int(number), f"{words} {rating}")
    return found


@pytest.mark.parametrize(("board", "expander"), BOTH)
def test_everything_that_is_drawn_is_in_the_parts_list_with_its_rating(board, expander):
    drawn = [text for texts in drawings(board, expander).values() for text in texts]
    bought = of_the_demo(board, expander)
    listed = " | ".join(f"{part}: {rating}" for part, (_, rating) in bought.items())
    named = {word for text in drawn
             for word in re.findall(r"\b(?:F[A-Z]\d?|CB\d|DS\d|SS\d|KT\d|K[M\d]|C\d|GFCI \d)(?= |$|:|,)", text)}
    assert {"FB", "FV", "FF", "FL", "FH", "FM", "FA3", "FA4", "FA5", "FA6", "FC1", "FC2", "FU2", "CB1", "GFCI 1",
            "KT1", "KM", "C1", "DS2", "SS1"} <= named  # fmt: skip
    missing = {name for name in named if not re.search(rf"\b{name}\b", listed)} - {"K2", "K3", "K4", "K5"}
    assert not missing and "K1 to K6" in listed
    values = {value for text in drawn
              for value in re.findall(r"(?<![\d.])\d+(?:\.\d+)? (?:kohm|ohm|nF|uF)\b", text)}  # fmt: skip
    assert len(values) > 10
    assert not {value for value in values if not re.search(rf"(?<![\d.]){re.escape(value)}\b", listed)}
    # A fuse or suppressor is bought in the rating that is drawn beside it.
    ladder = drawings(board, expander)["ladder diagram, power side and coil circuits"]
    for at, text in enumerate(ladder):
        if text.startswith(("fuse ", "breaker ")):
            amps = re.match(r"[\d.]+ A", ladder[at + 1])[0]
            row = next(rating for part, (_, rating) in bought.items() if re.search(rf"\b{text.split()[1]}\b", part))
            assert row.strip().startswith(amps), (text, amps, row)
    beside = {text for text in drawn if re.match(r"F[A-Z] [\d.]+ m?A", text)}
    assert len(beside) == 5
    for text in beside:
        name, amps = re.match(r"(F[A-Z]) ([\d.]+ m?A)", text).groups()
        assert amps in bought[f"fuse {name}"][1], text
    assert "18 V" in drawn and "18 V" in bought["field suppressor"][1]
    assert any("suppressor 6.5 V" in text for text in drawn) and "6.5 V" in bought["serial suppressor"][1]


@pytest.mark.parametrize(("board", "expander"), BOTH)
def test_the_circuits_parts_are_counted_by_the_schematics_letters(board, expander):
    drawn = [text for name, texts in drawings(board, expander).items()
             if name.startswith("schematic") for text in texts]  # fmt: skip
    f, p, c, loop, battery = (drawn.count(letter) for letter in "FPCLB")
    bought = {part: count for part, (count, _) in of_the_demo(board, expander).items()}
    assert f >= 7 and p == 7 and (c, loop, battery) == (2, 1, 1)
    assert bought["filter capacitor"] == f + p + c + loop + battery
    assert bought["filter resistor"] == f + p + c + loop + battery + 1, "and one before the Hall sensor's clamp"
    assert bought["clamp diode"] == 2 * (p + loop + battery + 1)
    assert bought["pull-up resistor"] == f + p + (2 if expander else 0)
    assert bought["fuse FH"] == 1 and bought["terminator"] == 2


@pytest.mark.parametrize(("board", "expander"), BOTH)
def test_every_measuring_and_serial_line_ends_at_its_pin_or_channel(board, expander):
    drawn = drawings(board, expander)["circuits C, L, B, S: measuring and serial"]
    for one in signals.signals(board, expander):
        if one.kind in (signals.ANALOG, signals.SERIAL):
            assert any(one.pin_text in re.split(r", | (?=pin)", text) for text in drawn), one.name
            assert not one.position or any(text.endswith(f"pin {one.position}") for text in drawn), one.name
            assert any(one.terminal in re.split(", ", text) for text in drawn), one.terminal
    assert not {"converter", "conv.", "GPIO"} & set(drawn)


def test_a_sensors_range_is_the_same_on_every_sheet():
    text = html_of("pico", True)
    assert "sensor_range_1 (30 A)" in text and "sensor_range_2 (75 A)" in text
    assert text.count("75 A") >= 4 and "sensor_range_2 (30 A)" not in text


def test_a_step_that_needs_a_voltage_comes_after_the_one_that_gives_it():
    for board, expander in BOTH:
        steps = assembly.steps(board, expander)
        at = {words: next(n for n, (do, _) in enumerate(steps) if words in do) for words in (
            "Connect the battery", "Board still out of its socket", "board into its socket",
            "Relay module connected")}  # fmt: skip
        assert sorted(at.values()) == list(at.values())
        for n, (do, test) in enumerate(steps):
            # 3.3 V comes from the board itself: before it is in its socket it is a place on the meter, in ohms.
            if n < at["board into its socket"]:
                assert not re.search(r"3\.3 V \(|(?:SDA|SCL) 3\.3 V|3\.3 V at", test), (board, do, test)
            # Nothing is soldered or put in under voltage.
            if any(words in do for words in ("board into its socket", "Relay module connected")):
                assert do.index("Fuse FB out") < do.index("Fuse FB in")
        assert "no voltage at any other pin" in steps[at["Board still out of its socket"]][1]
        bus = "SDA and SCL 3.3 V" in steps[at["board into its socket"]][1]
        assert bus == expander


@pytest.mark.parametrize(("board", "expander"), BOTH)
def test_the_guide_asks_for_no_contact_that_the_board_does_not_read(board, expander):
    text = re.sub("<[^>]+>", " ", html_of(board, expander))
    known = {one.terminal for one in signals.signals(board, expander)}
    for terminal, words in (("X1:7", ("moisture contacts", "moisture relay")), ("X3:3", ("generator.",)),
                            ("X3:2", ("with an alarm contact", "charger's contact"))):  # fmt: skip
        for one in words:
            assert (one in text.replace("&#39;", "'")) == (terminal in known), (terminal, one)


def test_the_relay_drive_is_drawn_for_the_module_that_is_fitted():
    site = load_site(packaged("demo"))
    low, high = (re.findall(">R: (relay drive, [^<]*)<", page.as_html(site, "pico", True, active))
                 for active in (True, False))  # fmt: skip
    assert "0 V (active-low)" in low[0] and "active-low" not in high[0]
    step = {active: next(test for _, test in assembly.steps("pico", True, active) if test.startswith("FIRST POWER-UP"))
            for active in (True, False)}  # fmt: skip
    assert "the module is active-low" in step[False] and "the module is active-low" not in step[True]


def test_a_site_that_is_not_sized_yet_is_told_what_to_do(tmp_path):
    path = tmp_path / "my-site.toml"
    path.write_text('name = "mine"\n[pit]\ndepth = "30 in"\n', encoding="utf-8")
    with pytest.raises(InputError, match=rf"size it, sumpbench size {path}.*--site sumpbench-size/site.toml"):
        build.build(site=path, out=tmp_path / "out")
    assert not (tmp_path / "out").exists()
    assert assembly.SITE in " ".join(f"{do} {test}" for do, test in assembly.steps("pico", True))


def test_a_site_without_current_sensors_draws_and_buys_none():
    from dataclasses import replace

    site = load_site(packaged("demo"))
    values = list(site.settings)
    values[s.SENSING] = s.SENSE_NOTHING
    bare = replace(site, settings=values)
    html = page.as_html(bare, "pico", True)
    assert "No current sensors: the site file has none" in html and "No current sensors" not in html_of("pico", True)
    assert ">C: current sensor, pump" not in html and ">C: current sensor, pump" in html_of("pico", True)
    rows = parts.parts("pico", True, figures.motors(bare))
    assert not [part for _, part, _ in rows if "transformer" in part or "Hall" in part or part == "fuse FH"]


def test_two_measuring_circuits_on_one_pin_are_one_of_two():
    shared = "one of the two, never both"
    for board, expander in BOTH:
        assert html_of(board, expander).count(shared) == 2 * ((board, expander) == ("pico", False)), "on both sheets"
        rows = parts.parts(board, expander, figures.motors(load_site(packaged("demo"))))
        count = sum("never both" in rating for _, _, rating in rows)
        assert count == (2 if (board, expander) == ("pico", False) else 0)


def test_a_site_that_the_board_cannot_read_is_refused_before_anything_is_bought(tmp_path):
    with pytest.raises(InputError, match=r"no input for it|both read at"):
        build.build(site=packaged("demo"), board=build.Wired.esp32, expander=False, out=tmp_path / "out")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("expander", [False, True])
def test_each_step_ends_with_a_test_and_the_first_power_is_without_pumps(expander):
    steps = assembly.steps("pico", expander, True)
    assert all(do and test for do, test in steps)
    text = " ".join(test for _, test in steps)
    first, then, last = map(text.index, ("FIRST POWER-UP, WITHOUT PUMPS", "build --check", "sumpbench commission"))
    assert first < then < last
    assert "--active-low all" in text and (" --expander" in text) == expander


@pytest.mark.parametrize(("board", "expander"), BOTH)
def test_every_command_of_a_step_is_for_this_board_and_is_taken_by_the_program(board, expander):
    text = " ".join(f"{do} {test}" for do, test in assembly.steps(board, expander))
    checks = re.findall(r"sumpbench build --check[^:;]*", text)
    assert len(checks) >= 4 and all(f"--board {board}" in one for one in checks)
    assert all(("--no-expander" in one) != expander for one in checks)
    bench = typer.Typer()
    build.add_to(bench)
    commission.add_to(bench)
    found = {**typer.main.get_command(app.app).commands, **typer.main.get_command(bench).commands}
    commands = {name: {word for option in one.params for word in option.opts + option.secondary_opts}
                for name, one in found.items()}  # fmt: skip
    said = re.findall(r"sumpbench (\w+)((?: (?:--[a-z-]+|[A-Z][A-Z0-9]*|[a-z0-9/-]+(?:\.toml)?))*)", text)
    assert {name for name, _ in said} >= {"size", "build", "deploy", "hardware", "commission"}
    for name, rest in said:
        assert not {word for word in rest.split() if word.startswith("--")} - commands[name], (name, rest)
