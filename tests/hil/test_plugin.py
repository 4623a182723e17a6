"""The pytest plugin, driven by pytest itself: what skips, what fails, what is an error, what a report carries."""

import pytest

from hil import plugin
from hil.kits import select
from hil.kits.virtual import VirtualKit
from host_sim.errors import InputError
from tests.micropython.places import micropython

pytest_plugins = ["pytester"]

OPEN_KIT = select.open_kit
A_TEST = """
import pytest

def test_starts(bench, dut):
    assert dut is bench.kit
    bench.draw_normally()
    bench.ready()
    bench.water("off", "lead")
    bench.when("pump_1", 1, 5.0)

@pytest.mark.needs("level", "hang")
def test_level(bench):
    bench.transmitter(level_mm=100)

def test_after_another(bench):
    assert not bench.is_on("pump_1"), "a fresh start for each test"
    assert bench.value("starts_1") == 0

def test_no_board():
    pass
"""
A_FAILURE = """
def test_relay(bench):
    bench.draw_normally()
    bench.ready()
    bench.water("off", "lead")
    bench.when("pump_1", 1, 5.0)
    bench.when("horn", 1, 2.0)
"""


@pytest.fixture(scope="module")
def opened():
    micropython()
    with VirtualKit() as kit:
        yield kit


@pytest.fixture
def shared(opened, monkeypatch):
    """A kit that many sessions may use one after another; it notes the outputs when one lets go."""
    for name, *_ in (*plugin.SWITCHES, *plugin.VALUES):
        monkeypatch.delenv(plugin._variable(name), raising=False)
    opened.closed = []
    monkeypatch.setattr(opened, "close", lambda: opened.closed.append(opened.read("pump_1")))
    monkeypatch.setattr(select, "open_kit", lambda choice: opened)
    return opened


def run(pytester, text, *options):
    pytester.makepyfile(text)
    return pytester.runpytest_inprocess("-p", "hil.plugin", "-p", "no:cacheprovider", *options)


@pytest.mark.long
def test_on_a_virtual_board_tests_run_each_from_a_fresh_start(pytester, shared):
    result = run(pytester, A_TEST, "--hil-virtual", "-m", "hil", "--strict-markers")
    result.assert_outcomes(passed=3, deselected=1)
    result.stdout.fnmatch_lines(["board under test: the virtual board"])
    assert shared.closed == [0]


def test_without_a_board_tests_skip_by_name(pytester, shared):
    result = run(pytester, A_TEST, "-rs")
    result.assert_outcomes(passed=1, skipped=3)
    result.stdout.fnmatch_lines(["*no kit: --hil-virtual, --hil-emulated*"])
    assert shared.closed == []


@pytest.mark.long
def test_what_the_kit_lacks_skips_by_name_and_fails_where_it_must_be_there(pytester, shared, monkeypatch):
    monkeypatch.setattr(shared, "wires", shared.wires - {"level"})
    result = run(pytester, A_TEST, "--hil-virtual", "-rs")
    result.assert_outcomes(passed=3, skipped=1)
    result.stdout.fnmatch_lines(['*no wire "level" on this board (virtual)*'])
    result = run(pytester, A_TEST, "--hil-virtual", "--hil-must")
    result.assert_outcomes(passed=3, errors=1)
    result.stdout.fnmatch_lines(['*--hil-must: *no wire "level"*'])
    result = run(pytester, A_TEST, "--hil-must")
    result.assert_outcomes(passed=1, errors=3)
    result.stdout.fnmatch_lines(["*--hil-must: no kit*"])


def test_what_turns_out_to_be_lacking_within_a_test_skips_too(pytester, shared, monkeypatch):
    monkeypatch.setattr(shared, "may_change_settings", False)
    text = "def test_short(bench):\n    bench.settings(debounce=500)\n"
    result = run(pytester, text, "--hil-virtual", "-rs")
    result.assert_outcomes(skipped=1)
    result.stdout.fnmatch_lines(["*debounce = 1000, 500 needed*"])
    result = run(pytester, text, "--hil-virtual", "--hil-must")
    result.assert_outcomes(failed=1)


def test_a_board_that_was_named_but_is_silent_is_an_error(pytester, shared, monkeypatch):
    def silent():
        raise InputError("no answer in Modbus", "/dev/board")

    monkeypatch.setattr(shared, "reset", silent)
    result = run(pytester, A_TEST, "--hil-virtual")
    result.assert_outcomes(passed=1, errors=3)
    result.stdout.fnmatch_lines(["*no answer in Modbus*"])


def test_a_port_that_is_none_is_an_error(pytester, shared, monkeypatch):
    monkeypatch.setattr(select, "open_kit", OPEN_KIT)
    result = run(pytester, A_TEST, "--hil-port", "/dev/no-such-port", "--hil-rig-port", "/dev/no-such-rig")
    result.assert_outcomes(passed=1, errors=3)
    result.stdout.fnmatch_lines(["*there is no such port*"])


def test_a_failure_carries_log_and_trace_and_drops_the_outputs(pytester, shared):
    result = run(pytester, A_FAILURE, "--hil-virtual")
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines([
        "*horn did not turn on within 2 s: outputs on: pump_1, relay, service, light*",
        "*bench: serial log and pin trace*",
        "*starts for reasons*",
        "*pump_1 *1",
    ])
    assert shared.read("pump_1") == 0
    assert shared.closed == [0]


@pytest.mark.long
def test_junit_says_what_was_under_test(pytester, shared):
    run(pytester, A_TEST, "--hil-virtual", "--junitxml=result.xml")
    text = (pytester.path / "result.xml").read_text()
    shared.reset()
    seen = shared.describe()
    for name in ("firmware", "board", "wiring", "seed", "micropython"):
        assert f'name="hil_{name}" value="{seen[name]}"' in text
    assert text.count('name="hil_firmware"') == 3, "the tests that use a board, and no other"


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--hil-virtual", "--hil-port", "/dev/ttyACM0"], "one board at a time"),
        (["--hil-emulated"], "needs a MicroPython UF2"),
        (["--hil-emulated", "--hil-uf2", "/no/such.uf2"], "there is no such UF2 file"),
        (["--hil-uf2", "/no/such.uf2"], "which board?"),
        (["--hil-rig-port", "/dev/ttyACM1"], "need the port of a real board"),
        (["--hil-port", "/dev/ttyACM0"], "needs its rig's port (--rig-port), or forced"),
        (["--hil-port", "/dev/a", "--hil-rig-port", "/dev/a"], "cannot be the board and the rig at the same time"),
        (["--hil-port", "/dev/a", "--hil-rig-port", "/dev/b", "--hil-forces"], "a rig or forced inputs, not both"),
        (["--hil-virtual", "--hil-seed", "x"], "a whole number from 0 up"),
    ],
)
def test_options_that_do_not_go_together_are_told_at_once(pytester, shared, options, words):
    result = run(pytester, A_TEST, *options)
    assert result.ret == pytest.ExitCode.USAGE_ERROR
    text = result.stderr.str() + result.stdout.str()
    assert words in text
    assert "Traceback" not in text


@pytest.mark.long
def test_the_environment_stands_in_for_options(pytester, shared, monkeypatch):
    monkeypatch.setenv("SUMPBENCH_HIL_VIRTUAL", "1")
    run(pytester, A_TEST).assert_outcomes(passed=4)
    monkeypatch.setenv("SUMPBENCH_HIL_VIRTUAL", "0")
    run(pytester, A_TEST).assert_outcomes(passed=1, skipped=3)
    monkeypatch.setenv("SUMPBENCH_HIL_MUST", "yes")
    run(pytester, A_TEST).assert_outcomes(passed=1, errors=3)
    monkeypatch.delenv("SUMPBENCH_HIL_MUST")
    # A UF2 that lies about for whoever wants it names no board by itself.
    monkeypatch.setenv("SUMPBENCH_HIL_UF2", "/no/such.uf2")
    run(pytester, A_TEST).assert_outcomes(passed=1, skipped=3)


@pytest.mark.long
def test_the_choice_carries_every_option(pytester, shared, monkeypatch):
    seen = []
    monkeypatch.setattr(select, "open_kit", lambda choice: seen.append(choice) or shared)
    run(pytester, A_TEST, "--hil-port", "/dev/a", "--hil-rig-port", "/dev/b", "--hil-seed", "7", "--hil-board", "esp32",
        "--hil-power", "run").assert_outcomes(passed=4)  # fmt: skip
    assert seen == [select.Choice(port="/dev/a", rig_port="/dev/b", seed=7, board="esp32", power_by="run")]


def test_wires_are_proved_before_the_first_test(pytester, shared, monkeypatch):
    def prove(say, coils_only):
        raise InputError(f"lead and lag are swapped (coils only: {coils_only})", "wiring")

    monkeypatch.setattr(shared, "prove", prove)
    result = run(pytester, A_TEST, "--hil-virtual", "--hil-coils-only")
    result.assert_outcomes(passed=1, errors=3)
    result.stdout.fnmatch_lines(["*lead and lag are swapped (coils only: True)*"])
    assert shared.closed == [0]
