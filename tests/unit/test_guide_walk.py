"""The order of assembly walked step by step: each terminal, part, tool and command that a step names is there."""

import re

import pytest
import typer
from typer.testing import CliRunner

from hil.cli import build, commission
from host_sim.board import signals
from host_sim.cli import app
from host_sim.errors import InputError
from host_sim.guide import assembly, parts, words
from host_sim.site.load import packaged
from tests.guides import ALL, BOTH, CASES, QUICK, subject

pytest.importorskip("schemdraw")
TERMINAL = re.compile(r"X\d:[\d+]+")
COMMAND = re.compile(r"`(sumpbench [^`]+)`")
# What a step asks for by a word of its own, and the part under which it is bought.
TOOLS = {"cord splitter": "test gear", "plug-in load": "test gear", "clamp": "test gear", "bucket": "test gear",
         "12 V lamp of 5 A": "test gear", "1.8 kohm": "test gear", "Solder": "test gear", "Meter": "test gear",
         "USB adapter": "USB adapter for RS-485", "terminator": "terminator", "transceiver": "serial transceiver",
         "suppressor": "serial suppressor", "push buttons": "push button", "jumper": "test jumper",
         "lamp, jumper": "status light", "Charger": "charger", "Battery": "battery", "converters": "converter",
         "pull-ups": "pull-up resistor",
         "surge arrester": "surge arrester", "Horn": "horn", "beacon": "beacon",
         "enclosure": "low-voltage enclosure",
         "socket": "circuit board", "Relay modules": "relay module", "current sensors": "transformer|Hall",
         "level loop": "level transmitter",
         "Expander": "I2C I/O expander", "Floats": "float switch",
         "floats": "float switch"}  # fmt: skip


def text_of(what):
    return " ".join(f"{do} {test}" for do, test in assembly.steps(what))


def at(what, beginning):
    """The number of the step that begins so."""
    return next(n for n, (do, _) in enumerate(assembly.steps(what))
                if do.startswith((beginning, f"Fuse FB out. {beginning}")))


@pytest.mark.parametrize(("name", "board", "expander", "low"), CASES)
def test_every_terminal_of_a_step_or_a_rule_is_on_the_board_or_among_the_common_ones(name, board, expander, low):
    what = subject(board, expander, low, name)
    common = set(TERMINAL.findall(" ".join(row[0] for row in words.COMMON)))
    known = {one.terminal for one in what.rows} | common
    named = set(TERMINAL.findall(text_of(what)))
    assert {"X7:+", "X7:0", "X1:5"} <= named and not named - known
    built = {one.terminal for one in what.rows if one.name not in what.absent} | common
    assert not named - built, "a step asks for a wire that the site leaves out"
    assert len(common) == 13


@pytest.mark.parametrize(("name", "board", "expander", "low"), CASES)
def test_every_part_and_tool_of_a_step_is_in_the_parts_list(name, board, expander, low):
    what = subject(board, expander, low, name)
    rows = [(part, rating) for _, part, rating in parts.parts(what)]
    text = text_of(what)
    listed = " | ".join(f"{part}: {rating}" for part, rating in rows)
    named = set(re.findall(r"\b(?:F[A-Z]\d?|KT\d|K[M\d])\b", text)) - {"FI"}
    assert {"FB", "FG", "FA3", "FA6", "K1", "K6"} <= named and ("KT1" in named) == (1 in what.thermal)
    assert not {one for one in named if not re.search(rf"\b{one}\b", listed)}
    asked = {word: part for word, part in TOOLS.items() if word in text}
    assert len(asked) > 18
    for word, part in asked.items():
        found = [rating for bought, rating in rows if re.search(part, bought)]
        assert found, (word, part)
        if part == "test gear" and word not in ("Solder", "Meter"):
            assert word in found[0], f"the test gear has no {word}"


def test_a_step_that_needs_a_voltage_comes_after_the_one_that_gives_it():
    for board, expander in BOTH:
        steps = assembly.steps(subject(board, expander))
        at = {words: next(n for n, (do, _) in enumerate(steps) if words in do) for words in (
            "Battery's minus to X7:0", "Board still out of its socket", "board into its socket",
            "Relay modules connected")}  # fmt: skip
        assert sorted(at.values()) == list(at.values())
        for n, (do, test) in enumerate(steps):
            # 3.3 V comes from the board itself: before it is in its socket it is a place on the meter, in ohms.
            if n < at["board into its socket"]:
                assert not re.search(r"3\.3 V \(|(?:SDA|SCL) 3\.3 V|3\.3 V at", test), (board, do, test)
            # Nothing is soldered or put in under voltage.
            if any(words in do for words in ("board into its socket", "Relay modules connected")):
                assert do.index("Fuse FB out") < do.index("Fuse FB in")
        assert "no voltage at any other pin" in steps[at["Board still out of its socket"]][1]
        bus = "SDA and SCL 3.3 V" in steps[at["board into its socket"]][1]
        assert bus == expander


@pytest.mark.parametrize(("name", "board", "expander", "low"), CASES)
def test_what_is_proved_has_been_wired_and_what_comes_later_has_a_bridge(name, board, expander, low):
    what = subject(board, expander, low, name)
    field, power = at(what, "Field wiring"), at(what, "Electrician: contactors")
    assert at(what, "Front panel") < field < power < at(what, "RS-485") < at(what, "Floats and pumps into the pit")
    do = assembly.steps(what)[field][0]
    waiting, good = assembly.bridges(what)
    assert ("X3:+ to X3:1" in do) == what.has("mains present") == (("X3:+ to X3:1", "KM") in waiting)
    assert [bridge for bridge, _ in (*waiting, *good) if bridge in do] == [bridge for bridge, _ in (*waiting, *good)]
    assert {bridge[-4:] for bridge, _ in (*waiting, *good)} >= {"X1:5", "X1:6"}
    said = assembly.steps(what)[power][0]
    assert ("Out come the bridges" in said) == bool(waiting) and all(bridge in said for bridge, _ in (*waiting, *good))
    if waiting:
        assert f"asked again after step {power + 1}" in assembly.steps(what)[field][1]


@pytest.mark.parametrize(("board", "expander"), BOTH)
def test_the_controllers_supply_is_off_while_a_wire_is_put_on(board, expander):
    what = subject(board, expander)
    wiring = range(at(what, "Fuse FB out. Relay modules"), at(what, "Floats and pumps into the pit"))
    for n in wiring:
        do = assembly.steps(what)[n][0]
        assert do.startswith("Fuse FB out.") and "Fuse FB in." in do, do
    assert len(wiring) == 9


@pytest.mark.parametrize(("name", "board", "expander", "low"), QUICK)
def test_pump_circuits_are_dead_while_they_are_worked_on_and_fed_again_for_the_test(name, board, expander, low):
    what = subject(board, expander, low, name)
    dead, live = {"lines": ("CB1 and CB2 off and locked", "CB1 and CB2 on")}.get(
        name, ("CB1 off and locked, FU2 out", "CB1 on, FU2 in"))  # fmt: skip
    steps = assembly.steps(what)
    power = at(what, "Electrician: contactors")
    (first, tried), (relays, _), (*_, (pit, proved)) = steps[power], steps[power + 1], steps[power + 2:]
    assert f"Then {live}." in first and tried.endswith(f"Then {dead}.")
    assert relays.index("K1, K2") < relays.index(dead) < relays.index(live)
    assert pit.index("selectors OFF") < pit.index(dead) < pit.index(f"Then {live}") < pit.index("selectors AUTO")
    # A motor's own thermal contact is needed for HAND while the leads are off, and is proved where it was bridged.
    hot = bool(what.thermal)
    assert ("Thermal leads T1 and T2" in first) == ("KT1 and KT2 stay dropped" in proved) == hot == (name != "loop")
    assert ("press reset" in tried) == any(one.sensor for one in what.motors)


def test_the_charger_is_off_before_the_posts_are_touched_and_a_motor_fuse_is_slow_blow():
    what = subject("pico", True)
    steps = assembly.steps(what)
    assert "charger's cord out" in steps[at(what, "Charger to the battery")][0]
    lamp = next(do for do, _ in steps if "12 V lamp" in do)
    words = "Charger's cord out first (FB, FV, lamp); last connection away from the posts."
    assert lamp.index(words) < lamp.index("12 V lamp")
    rating = next(rating for _, part, rating in parts.parts(what) if "fuse FU2" in part)
    assert "slow-blow (time-delay)" in rating


def test_who_prints_without_thermal_gets_no_relay_for_it_and_bridges_that_stay():
    what = subject("esp32", True, False, "loop")
    text = f"{text_of(what)} {' '.join(' '.join(row) for row in parts.parts(what))}"
    assert not re.search(r"\bKT\d", text) and "X1:+ to X1:5 (for good: thermal 1)" in text
    # Without the mains relay each outage would read hot: such a pump keeps its bridge, KT is in its coil circuit alone.
    bare = subject("pico", False, False, "bare")
    assert (bare.thermal, bare.read_hot, bare.bridged_hot, bare.kept_cool) == ((1, 2), (2,), (1,), ())
    demo = subject("pico", True)
    assert (demo.read_hot, demo.bridged_hot, demo.kept_cool) == ((1, 2), (), (1,))
    measured = [n for n, (do, _) in enumerate(assembly.steps(what)) if do.startswith("Fuse FB out. Measuring")]
    assert len(measured) == any(what.has(one.name) for one in what.rows if one.kind == signals.ANALOG)


@pytest.mark.parametrize(("name", "board", "expander", "low"), CASES)
def test_the_guide_asks_for_no_contact_that_is_not_read_here(name, board, expander, low):
    what = subject(board, expander, low, name)
    text = f"{text_of(what)} {' '.join(' '.join(row) for row in parts.parts(what))}"
    known = {one.terminal for one in what.rows if one.name not in what.absent}
    for terminal, said in (("X1:7", ("moisture contacts", "moisture relay")), ("X3:3", ("transfer switch",)),
                           ("X3:2", ("with an alarm contact", "charger's contact"))):  # fmt: skip
        for one in said:
            assert (one in text) == (terminal in known), (terminal, one)


@pytest.mark.parametrize("expander", [False, True])
def test_each_step_ends_with_a_test_and_the_first_power_is_without_pumps(expander):
    steps = assembly.steps(subject("pico", expander, True))
    assert len(steps) >= 17 and all(do and test for do, test in steps)
    text = " ".join(test for _, test in steps)
    first, then, last = map(text.index, ("FIRST POWER-UP, WITHOUT PUMPS", "build --check", "sumpbench commission"))
    assert first < then < last
    assert "--active-low all" in text and (" --expander" in text) == expander
    high = " ".join(test for _, test in assembly.steps(subject("pico", expander)))
    assert "the modules are active-low" in high and "the modules are active-low" not in text


def program(name):
    """The program that has a command of a name."""
    bench = typer.Typer()
    build.add_to(bench)
    commission.add_to(bench)
    return bench if name in typer.main.get_command(bench).commands else app.app


# The demo has a charger's contact, and the second board without expander no input for it: its guide is refused.
RUN = [pytest.param(*one, marks=() if one[:3] == ("bare", "pico", False) else pytest.mark.long)
       for one in ALL if one[0] in ("demo", "bare") and one[:3] != ("demo", "esp32", False)]  # fmt: skip


@pytest.mark.parametrize(("name", "board", "expander", "low"), RUN)
def test_every_command_runs_as_it_stands_up_to_the_port_that_is_not_there(
    tmp_path, monkeypatch, name, board, expander, low
):
    what = subject(board, expander, low, name)
    text = text_of(what)
    commands = COMMAND.findall(text)
    assert {one.split()[1] for one in commands} >= {"size", "build", "deploy", "watch", "commission"}
    assert len(COMMAND.findall(text)) == text.count("`sumpbench "), "every one is marked"
    assert all(f"--board {board}" in one for one in commands if "--check" in one)
    assert all(("--no-expander" in one) != expander for one in commands if "--check" in one)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sumpbench-size").mkdir()
    site = packaged("demo").read_text(encoding="utf-8")
    if name == "bare":
        site = site.replace("[settings]", '[settings]\nmains_fitted = 0\ncharger_fitted = 0\n', 1)
    (tmp_path / assembly.SITE).write_text(site, encoding="utf-8")
    ran = set()
    for command in dict.fromkeys(commands):
        _, called, *given = command.split()
        if called == "size":
            assert given[0] == "--ask"  # a dialogue, with tests of its own
            continue
        given = [str(tmp_path / "no-port") if word in ("PORT", "LINE") else word for word in given]
        run = CliRunner().invoke(program(called), [called, *given])
        ported = any(word.endswith("no-port") for word in given)
        said = run.output + str(run.exception or "")
        if not ported:
            assert run.exit_code == 0, (command, said)
        else:
            # Nobody is there to answer, or there is no such port: never a word that is not known.
            assert isinstance(run.exception, InputError), (command, said)
            assert "no such port" in said or "nobody is there to answer" in said, (command, said)
        ran.add(called)
    assert ran >= {"build", "deploy", "watch", "commission"}
    assert (tmp_path / f"sumpbench-build-{board}{'' if expander else '-no-expander'}" / "build.html").exists()
