"""A clock that stands still for good, on the virtual board: told, and no pump runs on by it.

On a chip a rest waits for the clock, so the pass never ends; where the rest goes by another clock the passes go on and
no tick ever comes.  The watchdog has a clock of its own in both.  `test_emulated_failing.py` has the first reset of it
on an emulated chip.
"""

import pytest
from duplexsump.control import settings as s
from duplexsump.station import loop

from hil.bench.bench import Bench
from hil.kits.virtual import VirtualKit
from host_sim.board.lockstep import BOOT_MS, GOES, STANDS, STANDS_IN_REST, STILL_MS, WATCHDOG_MS

OUTS = ("pump_1", "pump_2", "relay", "service")
ROOM_MS = 500
LATEST_MS = {STANDS_IN_REST: WATCHDOG_MS + ROOM_MS, STANDS: WATCHDOG_MS + loop.STILL * STILL_MS + ROOM_MS}


@pytest.fixture(scope="module")
def shared():
    with VirtualKit() as kit:
        yield Bench(kit)


def stopped(bench, how, *water):
    """Run a pump by these floats, then stop the clock; return the kit."""
    kit = bench.kit
    kit.board.stop_clock(GOES)
    bench.reset()
    kit.run_ms(kit.settings[s.MIN_OFF_MS])
    bench.draws(1, "normal")
    bench.draws(2, "normal")
    bench.water(*water)
    assert kit.run_until(lambda: kit.read("pump_1") or kit.read("pump_2"), 5000)
    kit.board.stop_clock(how)
    return kit


def outs(kit):
    return [kit.read(name) for name in OUTS]


@pytest.mark.long
@pytest.mark.parametrize("how", [STANDS_IN_REST, STANDS])
@pytest.mark.parametrize("water", [("off", "lead"), ("off", "lead", "lag", "high")])
def test_m3_m5_it_stops_the_pump_at_once_and_after_three_resets_both_relays_call_for_good(shared, how, water):
    kit = stopped(shared, how, *water)
    began, lives = kit.now_ms(), kit.board.lives
    assert kit.run_until(lambda: outs(kit) == [0, 0, 0, 0], LATEST_MS[how])
    assert kit.now_ms() - began > WATCHDOG_MS - ROOM_MS, "no sooner than by the watchdog"
    third_ms = 3 * LATEST_MS[how] + 2 * BOOT_MS
    while kit.now_ms() - began < third_ms:
        kit.run_ms(100)
        assert outs(kit)[:2] == [0, 0], "no pump starts by a clock that stands"
    assert kit.board.lives >= lives + 3 and set(kit.board.causes[lives:]) == {1}
    for _ in range(300):
        kit.run_ms(100)
        assert outs(kit) == [0, 0, 0, 0], "what calls for help, calls on"


@pytest.mark.parametrize("how", [STANDS_IN_REST, STANDS])
def test_m3_once_it_goes_again_the_demand_is_served(shared, how):
    kit = stopped(shared, how, "off", "lead")
    assert kit.run_until(lambda: outs(kit) == [0, 0, 0, 0], LATEST_MS[how])
    kit.board.stop_clock(GOES)
    assert kit.run_until(lambda: kit.read("pump_1") or kit.read("pump_2"), WATCHDOG_MS + 60_000)
    assert kit.read("relay") == kit.read("service") == 1


def test_m3_passes_without_a_tick_that_are_usual_do_not_keep_the_watchdog_hungry(shared):
    # A download makes a pass a frame while no time goes by; the next tick feeds it again.
    kit = stopped(shared, STANDS, "off", "lead")
    kit.run_ms(loop.STILL * STILL_MS // 2)
    kit.board.stop_clock(GOES)
    lives = kit.board.lives
    kit.run_ms(2 * WATCHDOG_MS)
    assert kit.board.lives == lives
