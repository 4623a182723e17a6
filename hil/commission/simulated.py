"""The hose test on a simulated pit: the same dialogue, a simulated person, a board with the plant in the loop."""

import tempfile
from pathlib import Path

from hil import record
from hil.commission import expected_values
from hil.commission.dialogue import HoseTest
from hil.commission.pit_person import HOSE_M3S, PitPerson
from hil.commission.watch import Board
from hil.rehearsal.pit_in_loop import PitInLoop
from host_sim.site.load import load_site
from host_sim.sizing.say import Say

SITE = Path(__file__).with_name("invented-pit.toml")
HOLDS = 0.75  # share of a pump's rate up to which it draws down well against what comes in; our own choice
NOTE = (
    "A simulated person did this hose test on a simulated pit, with the firmware on a simulated controller. It says "
    "nothing about any real pit."
)

INTRO = (
    "This shows the hose test: a simulated person does it on a simulated pit, with the firmware on a simulated "
    "controller.  You only watch.  Ctrl-C ends it; nothing is saved before its end.",
)


class LoopClock:
    """The time of a kit with its pit in the loop, in seconds."""

    def __init__(self, loop):
        self.loop = loop

    def seconds(self):
        """Return the pit's time."""
        return self.loop.now_ms() / 1000.0

    def pause(self, seconds):
        """Let time pass for board and pit."""
        self.loop.run_ms(round(seconds * 1000.0))


def site():
    """Return the invented site of the simulated hose test."""
    return load_site(SITE)


def run(kit, screen=None, answers=None, units="us", the_site=None):
    """Carry the hose test out on a kit whose board has the site's settings in force; return its document.

    `screen`, a `terminal.Screen`, shows every text, `answers` override the simulated person's.
    """
    the_site = the_site or site()
    loop = PitInLoop(kit, the_site)
    board = Board(kit.client, LoopClock(loop))
    board.open()
    expected = expected_values.read(the_site.path, board.settings)
    person = PitPerson(loop.pit, hose_m3s(loop.pit, expected), answers, screen=screen,
                       jumper=lambda made: kit.drive("jumper", int(made)))  # fmt: skip
    with tempfile.TemporaryDirectory(prefix="sumpbench-hose-") as folder:
        test = HoseTest(board, person, expected, Say(units), Path(folder) / "r.json", INTRO)
        test.run()
    made = document(test, kit.describe(), NOTE)
    made["sizing"] = f"{Path(the_site.path).name}{', an invented pit' if the_site.path == str(SITE) else ''}"
    return made


def hose_m3s(pit, expected):
    """Return what the hose gives: a garden hose's rate, less where a pump would not draw it and the inflow down."""
    inflow = max(pit.plant.trajectory.inflow.rates_m3s)
    carried = [HOLDS * rate - inflow for rate in expected.rates_m3s[:2] if rate]
    return max(min(HOSE_M3S, *carried), 0.0) if carried else HOSE_M3S


def document(test, described, no_hardware="", place="", customer=""):
    """Return the document of a finished hose test; see `record.document`."""
    return record.hose_test(
        test.items(), site=test.context.expected.name, sizing=test.context.expected.source,
        board={**described, **test.described()}, begun=test.begun, breaks=test.breaks, no_hardware=no_hardware,
        place=place, customer=customer,
    )  # fmt: skip
