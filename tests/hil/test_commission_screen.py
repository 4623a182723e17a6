"""What a hose test looks like at a terminal and in a file: waiting, lines broken between words, each pump's supply."""

import io

import pytest
from duplexsump.control import settings as s

from hil.commission import carry_out, pump_power, pump_supply, simulated, supply
from hil.commission.expected_values import ExpectedValues
from hil.commission.step_context import StepContext
from hil.commission.terminal import Screen
from host_sim.sizing.say import Say


class Sink(io.StringIO):
    """Text that is a terminal, or is not."""

    def __init__(self, terminal):
        super().__init__()
        self.terminal = terminal

    def isatty(self):
        return self.terminal


def shown(text, width):
    """Return the lines that stand on a terminal of that width after a text with carriage returns."""
    lines = []
    for line in text.split("\n"):
        cells = ""
        for part in line.split("\r"):
            assert len(part) < width or "\r" not in line, f"{part!r} would go on to the next line"
            cells = part + cells[len(part):]
        lines.append(cells.rstrip())
    return lines


class Board:
    """A board on which something comes true after a time; its floats read the same throughout."""

    client = None

    def __init__(self, after_s, supplies=(s.MAINS, s.MAINS)):
        self.now, self.after_s, self.supplies = 0.0, after_s, supplies
        self.clock = self

    def seconds(self):
        return self.now

    def pause(self, seconds):
        self.now += 1.0

    rest = look = lambda self, seconds=1.0: self.pause(seconds)

    def wet(self, name):
        return 0

    def over(self):
        return self.now >= self.after_s

    def line(self):
        return "off WET, lead dry, lag dry, high dry; pump on: none; selectors auto, auto"

    def setting(self, name):
        return self.supplies[int(name[-1]) - 1]


class Looker(Screen):
    """A person who looks and does nothing."""

    def poll(self):
        return None

    def does(self, key):
        return None


def waited(terminal, width, monkeypatch, after_s=600):
    """Return what a wait of some minutes of the board's time leaves in a terminal or a file."""
    monkeypatch.setenv("COLUMNS", str(width))
    sink = Sink(terminal)
    board = Board(after_s)
    context = StepContext(board, Looker(sink), ExpectedValues("nothing"), Say("us"))
    assert context.until("pump 1 to start", board.over, 9999.0)
    context.say("   [pass: 33 gpm]")
    return sink.getvalue()


@pytest.mark.parametrize("width", [40, 80, 100])
def test_a_wait_is_one_line_on_a_terminal_whatever_its_width(monkeypatch, width):
    text = waited(True, width, monkeypatch)
    assert shown(text, width) == ["   Waiting for pump 1 to start ...", "   [pass: 33 gpm]", ""]
    assert text.count("\r") > 50  # it was updated meanwhile


def test_in_a_file_a_wait_is_told_each_minute(monkeypatch):
    text = waited(False, 80, monkeypatch, after_s=170)
    assert "\r" not in text
    assert text.count("Still waiting for pump 1 to start") == 2
    assert waited(False, 80, monkeypatch, after_s=50).count("Still waiting") == 0


@pytest.mark.parametrize("width", [40, 80, 100])
def test_no_line_breaks_within_a_word(monkeypatch, width):
    monkeypatch.setenv("COLUMNS", str(width))
    sink = Sink(True)
    for text in (simulated.NOTE, *simulated.INTRO, supply.SUPPLY_CAUTION, pump_power.LIVE_LINE):
        Screen(sink).say(text)
    said = sink.getvalue()
    assert all(len(line) <= width for line in said.split("\n"))
    words = " ".join((simulated.NOTE, *simulated.INTRO, supply.SUPPLY_CAUTION, pump_power.LIVE_LINE)).split()
    assert said.split() == words


@pytest.mark.parametrize(
    ("supplies", "say", "never"),
    [
        ((s.MAINS, s.MAINS), ("GFCI", "breaker", "outlet"), ("fuse", "changeover")),
        ((s.BATTERY, s.BATTERY), ("fuse",), ("GFCI", "breaker", "outlet", "circuit", "plug")),
        ((s.EITHER, s.EITHER), ("changeover", "outlet"), ("GFCI", "fuse")),
    ],
)
def test_each_pump_is_cut_off_where_its_own_supply_can_be_cut(supplies, say, never):
    board = Board(0, supplies)
    tellers = (pump_supply.isolate, pump_supply.reconnect, pump_supply.trip, pump_supply.restore, pump_supply.seen_off,
               pump_supply.device, pump_supply.meters)  # fmt: skip
    told = " ".join(teller(board, n) for teller in tellers for n in (0, 1))
    assert all(word in told for word in say) and not any(word in told for word in never), told
    assert "pump 1" in told and "pump 2" in told and "{" not in told


def test_of_a_mains_pump_and_a_battery_pump_each_is_told_by_itself():
    board = Board(0, (s.MAINS, s.BATTERY))
    how = pump_supply.both(board, pump_supply.isolate, pump_power.UNPLUG)
    assert how == ("unplug pump 1 at the outlet, or lock out its disconnect, not its breaker; lock out "
                   "pump 2's disconnect; where it has none, pull the fuse in its own lead, and keep it in your "
                   "pocket")  # fmt: skip
    assert pump_supply.both(Board(0), pump_supply.isolate, pump_power.UNPLUG) == pump_power.UNPLUG


def test_ctrl_c_in_a_simulated_hose_test_leaves_with_130_and_says_that_nothing_is_saved(tmp_path, monkeypatch, capsys):
    class Kit:
        def __init__(self, settings):
            pass

        def __enter__(self):
            raise KeyboardInterrupt

        def __exit__(self, *_):
            pass

    monkeypatch.setattr(carry_out, "VirtualKit", Kit)
    assert carry_out.run_virtual(None, tmp_path / "r.json") == 130
    said = capsys.readouterr().out
    assert "nothing is saved" in said and "did this hose test" not in said
    assert list(tmp_path.iterdir()) == []


def test_the_simulated_test_does_not_offer_to_save_and_resume():
    said = " ".join(simulated.INTRO)
    assert "resumes" not in said and "saves" not in said and "nothing is saved" in said
