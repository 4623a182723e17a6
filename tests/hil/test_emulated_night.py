"""A flood night on the emulated board gives the simulator's journal, record for record; and what lets the board doze.

With a UF2 the first hour of the demo is compared, with SUMPBENCH_FULL=1 all fourteen.
"""

import os
from importlib import resources

import pytest
from duplexsump.control import settings as s

from hil.kits import wires
from hil.kits.base import Edge
from hil.kits.emulated.pins import Pins
from hil.kits.emulated.quiet import LONGEST_NS, TICK_NS, Quiet
from hil.rehearsal.emulated_night import differences, recorded, segments
from host_sim.board import readback
from host_sim.run import closed_loop
from host_sim.run.journal import Life, Record
from host_sim.site.load import load_site
from tests.hil.emulated_chip import uf2

HOUR_MS = 3600000


@pytest.fixture(scope="module")
def site():
    return load_site(resources.files("host_sim") / "scenarios" / "demo.toml")


@pytest.fixture(scope="module")
def night(site):
    path = uf2()
    from hil.kits.emulated.kit import EmulatedKit
    from hil.rehearsal.emulated_night import EmulatedNight

    hours = site.duration_s / 3600 if os.environ.get("SUMPBENCH_FULL") else 1
    with EmulatedKit(path, settings=site.settings) as kit:
        made = EmulatedNight(kit, site)
        made.begin()
        made.run_ms(int(hours * HOUR_MS))
        made.records, made.segments, made.quiet = recorded(kit), segments(kit), kit.quiet
        yield made


def test_the_night_gives_the_simulators_journal_record_for_record(night, site):
    simulated = closed_loop.run(site).journal.records
    last_ms = max(row.time_ms for row in night.records)
    compared, found = differences(simulated, night.records, last_ms - 1)
    assert found == []
    assert compared > 100 and last_ms > 0.9 * HOUR_MS


def test_the_boards_journal_replays_exactly(night):
    replay = readback.replay(night.segments)
    assert replay.differences == [] and replay.records > 100


def test_the_board_was_left_to_wait_and_the_second_controller_never_differed(night):
    assert night.quiet.agrees, night.quiet.differed
    ticks = night.now_ms() // 100
    assert night.quiet.steps < ticks // 10, "it must have dozed for the night to be affordable"


# What lets it doze, without a board.


class Pico:
    def __init__(self):
        self.read = {}

    def ticks_ns(self, ticks_ms):
        return ticks_ms * 1_000_000

    def counts(self, pin):
        return self.read.get(pin, 0)


class Kit:
    """What `Quiet` sees of a kit."""

    def __init__(self):
        self.values = s.defaults()
        self.pins = Pins()
        self.wires = self.pins.wires
        self.pico = Pico()
        self.driven = wires.rest_values(self.values)
        self.seen = dict.fromkeys(wires.OUTPUTS, 0) | {"relay": 1, "service": 1, "light": 1}
        self.pico.read[28] = 12800 * 4095 // 33000
        self.edges = [Edge(0, "relay", 1)]

    def volts_counts(self, pin):
        return self.pico.counts(pin)


@pytest.fixture
def quiet():
    return Quiet(Kit(), 1000)


def instant(quiet, tick):
    return quiet.zero_ns + tick * TICK_NS


def step_on(quiet, ticks):
    """Step at every instant the second controller asks for, and what comes out at the pins is what it said."""
    tick = 0
    while tick < ticks:
        tick = int((quiet.until_ns(instant(quiet, tick) + 2e6) - quiet.zero_ns) // TICK_NS)
        quiet.tick(instant(quiet, tick) + 2e6)
        for place, name in enumerate(wires.OUTPUTS):
            quiet.kit.seen[name] = quiet.controller.out[place]
    return tick


def test_a_board_with_nothing_to_do_waits_but_never_longer_than_its_watchdog_bears(quiet):
    end = step_on(quiet, 6000)
    assert quiet.agrees and quiet.steps < 150
    wait_ns = quiet.until_ns(instant(quiet, end) + 2e6) - instant(quiet, end)
    assert TICK_NS < wait_ns <= LONGEST_NS + TICK_NS


def test_a_wire_that_moves_makes_it_look_at_the_next_tick(quiet):
    end = step_on(quiet, 600)
    now = instant(quiet, end) + 30e6
    quiet.kit.driven["lead"] = 1
    quiet.stir()
    assert quiet.until_ns(now) < now + TICK_NS
    quiet.tick(instant(quiet, end + 1) + 2e6)
    assert quiet.last_tick == end + 1 and quiet.due_tick - (end + 1) <= 10, "the debounce is due within a second"


def test_pins_that_differ_dismiss_it_and_every_tick_is_looked_at_from_then_on(quiet):
    end = step_on(quiet, 600)
    quiet.kit.seen["pump_1"] = 1
    quiet.tick(instant(quiet, end + 5) + 2e6)
    assert not quiet.agrees and "pump_1" in quiet.differed
    now = instant(quiet, end + 5) + 2e6
    assert quiet.until_ns(now) < now + TICK_NS


def record(time_ms, first=0, pump=0, late=0):
    return Record(time_ms, (first, 0, 0), (pump, 0, 0, 0, 0, 0, 0, late, 0))


def test_journals_differ_by_a_record_a_value_or_more_than_a_tick():
    ours = [Life(0, "up", 0), record(0), record(1000, 1), record(2000, 1, 1)]
    assert differences(ours, [Life(0, "up", 7), record(0), record(1100, 1), record(1900, 1, 1)], 5000) == (3, [])
    assert differences(ours, [Life(0, "up", 7), record(0), record(1200, 1), record(2000, 1, 1)], 5000)[1]
    assert differences(ours, [Life(0, "up", 7), record(0), record(1000, 1), record(2000, 1)], 5000)[1]
    assert differences(ours, [Life(0, "up", 7), record(0), record(1000, 1)], 5000)[1]
    assert differences(ours, [record(0), record(1000, 1), record(2000, 1, 1)], 5000)[1]
    assert differences(ours, [Life(0, "up", 7), record(0)], 500) == (1, [])


def test_a_step_one_tick_late_differs_in_nothing_but_its_mark_and_needs_no_fellow():
    ours = [Life(0, "up", 0), record(0), record(1000, 1), record(3000, 1, 1)]
    silent = [Life(0, "up", 0), record(0), record(1100, 1, 0, 1), record(2100, 1, 0, 1), record(3000, 1, 1)]
    assert differences(ours, silent, 5000) == (3, [])
    again = [Life(0, "up", 0), record(0), record(1100, 1), record(2100, 1), record(3000, 1, 1)]
    assert differences(ours, again, 5000)[1], "without the mark it is one record too many"


def test_nothing_compared_is_a_difference():
    assert differences([], [record(0)], 5000)[1] and differences([record(0)], [], 5000)[1]
