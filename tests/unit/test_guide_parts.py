"""The parts list against the drawings: what is drawn is bought, in the rating and the count that is drawn."""

import re

import pytest

from host_sim.board import signals
from host_sim.guide import parts
from tests.guides import BOTH, CASES, drawings, drawn, html_of, subject

pytest.importorskip("schemdraw")


def bought(board, expander, low=False, name="demo"):
    """The parts as {name: (count, rating)}; a name that stands twice has its counts added."""
    found = {}
    for number, part, rating in parts.parts(subject(board, expander, low, name)):
        count, words = found.get(part, (0, ""))
        found[part] = (count + int(number), f"{words} {rating}")
    return found


@pytest.mark.parametrize(("board", "expander"), BOTH)
def test_parts_are_counted_from_the_table_and_carry_ratings(board, expander):
    rows = parts.parts(subject(board, expander))
    count = {part: int(number) for number, part, _ in rows}
    field = sum(one.electrical == "field contact" for one in signals.signals(board, expander))
    assert count["optocoupler"] == count["reverse diode"] == field
    assert ("I2C I/O expander" in count) == expander
    assert ("I2C analog converter" in count) == ((board, expander) == ("pico", True))
    assert all(rating for _, _, rating in rows)


@pytest.mark.parametrize(("name", "board", "expander", "low"), CASES)
def test_everything_that_is_drawn_is_in_the_parts_list_with_its_rating(name, board, expander, low):
    texts = drawn(board, expander, low, name=name)
    have = bought(board, expander, low, name)
    listed = " | ".join(f"{part}: {rating}" for part, (_, rating) in have.items())
    named = {word for text in texts
             for word in re.findall(r"\b(?:F[A-Z]\d?|CB\d|DS\d|SS\d|KT\d|K[M\d]|C\d|GFCI \d)(?= |$|:|,)", text)}
    assert len(named) > 20 and {"FB", "FG", "FA3", "FA6", "K1", "K6", "GFCI 1", "SS2"} <= named
    assert ("KT1" in named) == ("KT1" in listed) == (1 in subject(board, expander, low, name).thermal)
    assert not {one for one in named if not re.search(rf"\b{one}\b", listed)}
    values = {value for text in texts
              for value in re.findall(r"(?<![\d.])\d+(?:\.\d+)? (?:kohm|ohm|nF|uF)\b", text)}  # fmt: skip
    assert len(values) > 4
    assert not {value for value in values if not re.search(rf"(?<![\d.]){re.escape(value)}\b", listed)}
    # A fuse or breaker is bought in the rating that is drawn beside it.
    ladder = drawings(board, expander, low, name)["ladder diagram, power side and coil circuits"]
    for at, text in enumerate(ladder):
        if text.startswith(("fuse ", "breaker ")):
            amps = re.match(r"[\d.]+ A", ladder[at + 1])[0]
            row = next(rating for part, (_, rating) in have.items() if re.search(rf"\b{text.split()[1]}\b", part))
            assert row.strip().startswith(amps), (text, amps, row)
    beside = {text for text in texts if re.match(r"F[A-Z] [\d.]+ m?A", text)}
    assert len(beside) >= 3
    for text in beside:
        fuse, amps = re.match(r"(F[A-Z]) ([\d.]+ m?A)", text).groups()
        assert amps in have[f"fuse {fuse}"][1], text
    # And none is bought that is not drawn.
    assert {part.split()[1] for part in have if part.startswith("fuse ")} <= named
    assert "18 V" in texts and "18 V" in have["field suppressor"][1]
    assert any("suppressor 6.5 V" in text for text in texts) and "6.5 V" in have["serial suppressor"][1]
    assert "surge arrester" in texts and have["surge arrester"][0] == 1


@pytest.mark.parametrize(("name", "board", "expander", "low"), CASES)
def test_the_circuits_parts_are_counted_by_the_schematics_letters(name, board, expander, low):
    texts = [text for title, texts in drawings(board, expander, low, name).items()
             if title.startswith("schematic") for text in texts]  # fmt: skip
    what = subject(board, expander, low, name)
    f, p = (texts.count(letter) for letter in "FP")
    c = sum(one.sensor is not None for one in what.motors)
    loop, battery, hall = what.has("level loop"), what.has("battery"), what.hall
    count = {part: number for part, (number, _) in bought(board, expander, low, name).items()}
    assert f >= 7 and p == 7 and texts.count("C") == 2 and hall <= c
    assert count["filter capacitor"] == f + p + c + loop + battery
    assert count["filter resistor"] == f + p + c + loop + battery + hall, "one before a Hall sensor's clamp"
    assert count["clamp diode"] == 2 * (p + loop + battery + hall)
    assert count["pull-up resistor"] == f + p + (2 if expander else 0)
    assert ("fuse FH" in count) == bool(hall) and ("loop shunt" in count) == loop and ("divider" in count) == battery
    assert count["terminator"] == 2 and ("mains relay KM" in count) == what.has("mains present")
    floats = {one.name for one in what.rows if one.name.startswith("float")} - set(what.absent)
    assert count["float switch"] == len(floats) == (3 if name == "bare" else 4)


@pytest.mark.parametrize(("board", "expander"), BOTH)
def test_every_measuring_and_serial_line_ends_at_its_pin_or_channel(board, expander):
    what = subject(board, expander)
    texts = drawings(board, expander)["circuits C, L, B, S: measuring and serial"]
    for one in what.rows:
        if one.kind in (signals.ANALOG, signals.SERIAL) and one.name not in what.absent:
            assert any(one.pin_text in re.split(r", | (?=pin)", text) for text in texts), one.name
            assert not one.position or any(text.endswith(f"pin {one.position}") for text in texts), one.name
            assert any(one.terminal in re.split(", ", text) for text in texts), one.terminal
    assert not {"converter", "conv.", "GPIO"} & set(texts)


def test_a_sensors_range_is_the_same_on_every_sheet():
    text = html_of("pico", True)
    assert "sensor_range_1 (30 A)" in text and "sensor_range_2 (75 A)" in text
    assert text.count("75 A") >= 4 and "sensor_range_2 (30 A)" not in text


def test_a_relay_at_line_voltage_shares_no_module_with_twelve_volts():
    for name, wanted in (("demo", ["K1", "K2, K3, K4, K5, K6"]), ("lines", ["K1, K2", "K3, K4, K5, K6"])):
        rows = {part.removeprefix("relay module for "): (int(n), rating)
                for n, part, rating in parts.parts(subject("pico", True, name=name)) if part.startswith("relay module")}
        assert list(rows) == wanted
        for relays, (number, rating) in rows.items():
            assert number == 1 and rating.startswith(f"{len(relays.split(', '))} channel")
            assert ("250 V AC" in rating) == (relays == wanted[0]) and ("30 V DC" in rating) == (relays != wanted[0])


def test_a_receptacle_is_rated_as_its_breaker_and_a_pump_without_a_plug_has_none():
    rows = {part: rating for _, part, rating in parts.parts(subject("pico", True, name="lines"))}
    assert "NEMA 5-20R" in rows["pump 1: receptacle"] and "pump 2: receptacle" not in rows
    assert "breaker CB2 with GFCI" in rows["pump 2: GFCI 2"] and "receptacle" not in rows["pump 2: GFCI 2"]


def test_a_site_without_current_sensors_buys_none():
    rows = parts.parts(subject("pico", True, name="bare"))
    assert len(rows) > 40
    assert not [part for _, part, _ in rows if re.search("transformer|Hall|fuse FH|fuse FM", part)]


def test_the_terminals_that_are_bought_are_no_fewer_than_those_that_are_named():
    for board, expander in BOTH:
        named = set(re.findall(r"\bX\d:[\d+]+", " ".join(drawn(board, expander))))
        count = {part: int(number) for number, part, _ in parts.parts(subject(board, expander))}
        assert len(named) > 20 and count["terminal"] >= 1.2 * len(named)
