"""Bands beside the long sweeps: what is copied, what counts as a start, what loads the battery, a level at rest."""

from itertools import product

import pytest
from duplexsump.control import bands as core
from duplexsump.control import records as r
from duplexsump.control import settings as s

from tests.rig import make_settings

PUMPS = [(0, 0), (1, 0), (0, 1), (1, 1)]
READ_FROM_BANDS = {"contacts", "chatter", "current_1", "current_2", "level", "transmitter", "moved", "battery"}


def made(**overrides):
    values = {"sensing": s.SENSE_CURRENT, "transmitter": 1, "fitted": 8, "normally_closed": 8, "level_span": 1000}
    return core.Bands(make_settings(**{**values, **overrides}))


def read(bands, pumps=(0, 0), level_mm=0, battery=12_800, mains=1, current_1=0):
    raw, inputs = [0] * r.N_INPUTS, [0] * r.N_INPUTS
    raw[r.IN_LEVEL], raw[r.IN_BATTERY], raw[r.IN_MAINS] = 4000 + 16 * level_mm, battery, mains
    raw[r.IN_CURRENT_1] = current_1
    bands.convert(raw, inputs, *pumps)
    return inputs


def edges(bands, pumps=(0, 0), mains=1):
    found = [0] * 8
    bands.thresholds(found, *pumps, mains)
    return found


def test_as_built_no_current_a_level_of_0_a_good_battery_and_no_pump_on():
    bands = made()
    state = {name: value for name, value in vars(bands).items() if name != "settings"}
    assert state == {"current": [0, 0], "transmitter": 0, "step": 0, "moved": 0, "start_mm": 0, "running": 0,
                     "battery": 0, "loaded": 0}  # fmt: skip


def test_what_is_no_band_is_copied_and_a_raw_record_tells_of_no_chatter():
    raw, inputs = [100 + i for i in range(r.N_INPUTS)], [-1] * r.N_INPUTS
    made().convert(raw, inputs, 0, 0)
    for place, name in enumerate(r.INPUT_NAMES):
        if name not in READ_FROM_BANDS:
            assert inputs[place] == raw[place], name
    assert inputs[r.IN_CHATTER] == 0


@pytest.mark.parametrize(("before", "after"), list(product(PUMPS, PUMPS)))
def test_l5_moved_counts_from_each_start_of_either_pump_and_from_no_stop(before, after):
    bands = made()
    read(bands, before, 200)
    assert read(bands, before, 203)[r.IN_MOVED] == 1
    start = any(now > was for was, now in zip(before, after, strict=True))
    assert read(bands, after, 203)[r.IN_MOVED] == (0 if start else 1)
    assert bands.running == after[0] + 2 * after[1]
    for mm in (201, 205) if start else ():
        assert read(bands, after, mm)[r.IN_MOVED] == 0
    assert read(bands, after, 206)[r.IN_MOVED] == 1


def test_l5_a_start_is_seen_through_a_failed_signal_too():
    bands = made()
    read(bands, (0, 0), 200)
    read(bands, (1, 0), -100)
    assert (bands.transmitter, bands.running) == (r.TRANSMITTER_LOW, 1)
    read(bands, (1, 0), 200)
    assert bands.moved == 1, "the start was before the signal came back: it does not count from here"


@pytest.mark.parametrize("start_mm", [0, 3, 106, 113, 114, 200, 999])
def test_a_level_that_has_not_moved_stays_until_it_has_by_more_than_two_mm(start_mm):
    bands = made(level_span=8000)

    def microamps(mm):
        return 4000 + 2 * mm

    def at(mm):
        feed, out = [0] * r.N_INPUTS, [0] * r.N_INPUTS
        feed[r.IN_LEVEL] = microamps(mm)
        bands.convert(feed, out, 1, 0)
        return 10 * out[r.IN_LEVEL]

    step_mm = at(start_mm)
    assert bands.moved == 0
    low_mm, first_mm = max(start_mm - 2, step_mm - 4), min(start_mm + 3, step_mm + 14)
    assert edges(bands)[4:6] == [microamps(low_mm), microamps(first_mm)]
    step_mm = at(start_mm + 9)
    assert bands.moved == 1
    assert edges(bands)[4:6] == [microamps(step_mm - 4), microamps(step_mm + 14)]


def test_a_current_band_of_none_has_no_lower_edge_and_the_highest_no_upper():
    bands = made()
    assert edges(bands)[0:2] == [core.LOWEST, 500]
    read(bands, current_1=200_000)
    assert edges(bands)[0:2] == [24_000 - 24_000 // 20, core.HIGHEST]
    assert edges(bands)[2:4] == [core.LOWEST, 500]


@pytest.mark.parametrize("mains", [0, 1])
@pytest.mark.parametrize("pumps", PUMPS)
@pytest.mark.parametrize(("first", "second"), list(product((s.MAINS, s.BATTERY, s.EITHER), repeat=2)))
def test_a4_the_battery_is_loaded_by_a_pump_that_is_on_and_fed_by_it(first, second, pumps, mains):
    bands = made()
    bands.settings[s.SUPPLY_1], bands.settings[s.SUPPLY_2] = first, second
    loaded = any(on and (supply == s.BATTERY or (supply == s.EITHER and not mains))
                 for on, supply in zip(pumps, (first, second), strict=True))  # fmt: skip
    fitted = {first, second} != {s.MAINS}
    low = 11_000 if loaded else 11_900
    for millivolts, band in ((10_400, r.BATTERY_DEAD), (10_600, r.BATTERY_DEAD), (10_750, r.BATTERY_LOW),
                             (low - 1, r.BATTERY_LOW), (low + 199, r.BATTERY_LOW), (low + 200, r.BATTERY_GOOD),
                             (low, r.BATTERY_GOOD), (low - 1, r.BATTERY_LOW)):  # fmt: skip
        wanted = band if fitted else r.BATTERY_GOOD
        assert read(bands, pumps, battery=millivolts, mains=mains)[r.IN_BATTERY] == wanted, millivolts
        around = {r.BATTERY_DEAD: [core.LOWEST, 10_700], r.BATTERY_LOW: [10_500, low + 200],
                  r.BATTERY_GOOD: [low, core.HIGHEST]}  # fmt: skip
        wanted = around[band] if fitted else [core.LOWEST, core.HIGHEST]
        assert edges(bands, pumps, mains)[6:] == wanted, millivolts
    assert bands.loaded == loaded


@pytest.mark.parametrize("millivolts", [11_900, 12_099, 12_000])
def test_a4_a_dead_battery_that_comes_back_above_low_is_low_until_it_is_good(millivolts):
    bands = made(supply_2=s.BATTERY)
    assert read(bands, battery=10_000)[r.IN_BATTERY] == r.BATTERY_DEAD
    assert read(bands, battery=millivolts)[r.IN_BATTERY] == r.BATTERY_LOW
    assert read(bands, battery=12_100)[r.IN_BATTERY] == r.BATTERY_GOOD
