"""Bands: every edge, its dead band, and that `thresholds()` names exactly the raw values that change nothing."""

import pytest
from duplexsump.control import bands as core
from duplexsump.control import records as r
from duplexsump.control import settings as s

from tests.rig import make_settings

NONE, UNDER, NORMAL, OVER, LOCKED = range(5)


def made(**overrides):
    values = {"sensing": s.SENSE_CURRENT, "transmitter": 1, "fitted": 8, "supply_2": s.BATTERY, **overrides}
    return core.Bands(make_settings(**values))


class Wire:
    """Raw readings through one `Bands`."""

    def __init__(self, **overrides):
        self.bands = made(**overrides)
        self.raw = [0] * r.N_INPUTS
        self.raw[r.IN_LEVEL], self.raw[r.IN_BATTERY], self.raw[r.IN_MAINS] = 4000, 12_800, 1
        self.out = [0] * r.N_INPUTS

    def read(self, pumps=(0, 0), **changes):
        for name, value in changes.items():
            self.raw[r.INPUT_NAMES.index(name)] = value
        self.bands.convert(self.raw, self.out, *pumps)
        return self.out

    def edges(self, pumps=(0, 0)):
        found = [0] * 8
        self.bands.thresholds(found, *pumps, self.raw[r.IN_MAINS])
        return found


@pytest.mark.parametrize(("milliamps", "band"), [
    (0, NONE), (499, NONE), (500, UNDER), (4499, UNDER), (4500, NORMAL), (9599, NORMAL), (9600, OVER),
    (23_999, OVER), (24_000, LOCKED), (200_000, LOCKED),
])  # fmt: skip
def test_a_rising_current_enters_each_band_at_its_lower_edge(milliamps, band):
    wire = Wire()
    assert wire.read(current_1=milliamps)[r.IN_CURRENT_1] == band
    assert wire.read(current_2=milliamps)[r.IN_CURRENT_2] == band


@pytest.mark.parametrize(("band", "edge"), [(UNDER, 500), (NORMAL, 4500), (OVER, 9600), (LOCKED, 24_000)])
def test_a_falling_current_leaves_a_band_five_percent_below_its_edge(band, edge):
    wire = Wire()
    wire.read(current_1=edge)
    assert wire.read(current_1=edge - edge // 20)[r.IN_CURRENT_1] == band
    assert wire.read(current_1=edge - edge // 20 - 1)[r.IN_CURRENT_1] == band - 1
    wire.read(current_1=200_000)
    assert wire.read(current_1=0)[r.IN_CURRENT_1] == NONE, "through every band at once"


def test_feedback_is_normal_or_none_and_without_sensing_there_is_never_a_current():
    feedback = Wire(sensing=s.SENSE_FEEDBACK)
    assert feedback.read(current_1=1)[r.IN_CURRENT_1] == NORMAL
    assert feedback.edges()[:2] == [1, core.HIGHEST]
    assert feedback.read(current_1=0)[r.IN_CURRENT_1] == NONE
    assert feedback.edges()[:2] == [core.LOWEST, 1]
    nothing = Wire(sensing=s.SENSE_NOTHING)
    assert nothing.read(current_1=9000)[r.IN_CURRENT_1] == NONE
    assert nothing.edges()[:2] == [core.LOWEST, core.HIGHEST]


def test_a_contact_reads_wet_as_it_is_wired_and_one_not_fitted_never():
    wire = Wire(fitted=r.OFF | r.LEAD | r.HIGH, normally_closed=r.HIGH, transmitter=0)
    assert wire.read(contacts=r.HIGH)[r.IN_CONTACTS] == 0
    assert wire.read(contacts=r.OFF | r.LAG)[r.IN_CONTACTS] == r.OFF | r.HIGH


def test_s7_each_pump_s_current_is_judged_by_its_own_settings():
    own = {"no_current_1": 100, "underload_1": 2000, "rated_1": 4000, "overload_1": 5000,
           "no_current_2": 1000, "underload_2": 9000, "rated_2": 20_000, "overload_2": 24_000,
           "sensor_range_2": 75_000}  # fmt: skip
    for n, edges in ((0, (100, 2000, 5000, 12_000)), (1, (1000, 9000, 24_000, 60_000))):
        for band, edge in enumerate(edges):
            for milliamps, expected in ((edge - 1, band), (edge, band + 1)):
                wire = Wire(sensing=s.SENSE_CURRENT, **own)
                read = wire.read(**{f"current_{n + 1}": milliamps, f"current_{2 - n}": 0})
                assert (read[r.IN_CURRENT_1 + n], read[r.IN_CURRENT_2 - n]) == (expected, 0)


@pytest.mark.parametrize(("microamps", "band"), [
    (3600, r.TRANSMITTER_LOW), (3601, r.TRANSMITTER_OK), (20_999, r.TRANSMITTER_OK), (21_000, r.TRANSMITTER_HIGH),
])  # fmt: skip
def test_namur_ne_43_limits_of_the_loop_current(microamps, band):
    # NAMUR NE 43: a failure signal lies at or below 3.6 mA, at or above 21.0 mA.
    assert Wire().read(level=microamps)[r.IN_TRANSMITTER] == band


def test_a_failed_signal_is_believed_again_only_within_the_measuring_range():
    # NAMUR NE 43: measuring signals lie from 3.8 to 20.5 mA.
    wire = Wire()
    for bad, edges in ((3000, (3799, 3800)), (22_000, (20_501, 20_500))):
        failed = wire.read(level=bad)[r.IN_TRANSMITTER]
        assert wire.read(level=edges[0])[r.IN_TRANSMITTER] == failed
        assert wire.read(level=edges[1])[r.IN_TRANSMITTER] == r.TRANSMITTER_OK


def test_the_level_moves_in_steps_of_ten_mm_left_only_four_mm_outside():
    wire = Wire(level_span=1000)
    def at(mm):
        return 4000 + 16 * mm
    assert wire.read(level=at(105))[r.IN_LEVEL] == 10
    assert wire.read(level=at(113))[r.IN_LEVEL] == 10
    assert wire.read(level=at(114))[r.IN_LEVEL] == 11
    assert wire.read(level=at(106))[r.IN_LEVEL] == 11
    assert wire.read(level=at(105))[r.IN_LEVEL] == 10


def test_without_a_transmitter_no_level_is_worked_out():
    wire = Wire(transmitter=0, fitted=15)
    assert wire.read(level=9000)[r.IN_LEVEL] == 0
    assert wire.edges()[4:6] == [core.LOWEST, core.HIGHEST]


def test_moved_tells_more_than_two_mm_since_the_last_start():
    wire = Wire(level_span=1000)
    wire.read(level=4000 + 16 * 200)
    for start in ((1, 0), (1, 1)):
        assert wire.read(start)[r.IN_MOVED] == 0
        assert wire.read(start, level=4000 + 16 * 202)[r.IN_MOVED] == 0
        assert wire.read(start, level=4000 + 16 * 203)[r.IN_MOVED] == 1
        wire.read(start, level=4000 + 16 * 200)
        assert wire.out[r.IN_MOVED] == 1, "until the next start"


def test_a_failed_signal_moves_neither_step_nor_start():
    wire = Wire()
    wire.read(level=8000)
    step = wire.out[r.IN_LEVEL]
    assert wire.read((1, 0), level=2000)[r.IN_LEVEL] == step
    assert wire.bands.running == 1


@pytest.mark.parametrize(("pumps", "low"), [((0, 0), 11_900), ((0, 1), 11_000)])
def test_the_battery_is_judged_at_rest_or_by_its_limit_under_load(pumps, low):
    for millivolts, band in ((10_499, 2), (10_500, 1), (low - 1, 1)):
        assert Wire().read(pumps, battery=millivolts)[r.IN_BATTERY] == band
    wire = Wire()
    wire.read(pumps, battery=low)
    assert wire.out[r.IN_BATTERY] == r.BATTERY_GOOD, "good until below the limit"
    wire.read(pumps, battery=low - 1)
    assert wire.read(pumps, battery=low + 199)[r.IN_BATTERY] == r.BATTERY_LOW
    assert wire.read(pumps, battery=low + 200)[r.IN_BATTERY] == r.BATTERY_GOOD


def test_a_dead_battery_stays_dead_within_its_dead_band():
    wire = Wire()
    assert wire.read(battery=10_000)[r.IN_BATTERY] == r.BATTERY_DEAD
    assert wire.edges()[6:] == [core.LOWEST, 10_700]
    assert wire.read(battery=10_699)[r.IN_BATTERY] == r.BATTERY_DEAD
    assert wire.read(battery=10_700)[r.IN_BATTERY] == r.BATTERY_LOW


def test_where_both_pumps_hang_on_the_mains_there_is_no_battery_to_judge():
    wire = Wire(supply_2=s.MAINS)
    assert wire.read(battery=0)[r.IN_BATTERY] == r.BATTERY_GOOD
    assert wire.edges()[6:] == [core.LOWEST, core.HIGHEST]


def test_a_pump_on_either_supply_loads_the_battery_only_without_mains():
    wire = Wire(supply_2=s.EITHER)
    assert wire.read((0, 1), battery=11_500, mains=1)[r.IN_BATTERY] == r.BATTERY_LOW
    assert wire.bands.loaded == 0
    assert wire.read((0, 1), battery=11_500, mains=0)[r.IN_BATTERY] == r.BATTERY_GOOD
    assert wire.bands.loaded == 1


_CHANNELS = (("current_1", range(0, 30_000, 61)), ("current_2", range(30_000, 0, -61)),
             ("level", [*range(3000, 23_000, 173), *range(23_000, 3000, -173)]),
             ("battery", [*range(13_500, 9_500, -7), *range(9_500, 13_500, 7)]))  # fmt: skip


@pytest.mark.parametrize(("name", "sweep"), _CHANNELS, ids=lambda v: v if isinstance(v, str) else "")
@pytest.mark.parametrize("pumps", [(0, 0), (1, 1)])
def test_thresholds_name_exactly_the_raw_values_that_leave_every_band_as_it_is(name, sweep, pumps):
    place = r.INPUT_NAMES.index(name)
    channel = core.CHANNELS.index(place)
    wire = Wire()
    for raw in sweep:
        before = list(wire.read(pumps, **{name: raw}))
        low, first = wire.edges(pumps)[2 * channel : 2 * channel + 2]
        assert low <= raw < first, (raw, low, first)
        for inside in (max(low, 0), min(first - 1, 200_000)):
            assert changed(wire, pumps, name, inside, before) == [], (raw, inside)
        if low > 0:
            assert changed(wire, pumps, name, low - 1, before), (raw, low)
        if first < core.HIGHEST:
            assert changed(wire, pumps, name, first, before), (raw, first)


def changed(wire, pumps, name, raw, before):
    """Return the names of the bands that one more reading of `raw` would change; the wire is left as it was."""
    kept = {key: list(value) if isinstance(value, list) else value for key, value in vars(wire.bands).items()}
    now = list(wire.raw)
    wire.raw[r.INPUT_NAMES.index(name)] = raw
    out = [0] * r.N_INPUTS
    wire.bands.convert(wire.raw, out, *pumps)
    vars(wire.bands).update(kept)
    wire.raw = now
    bands = ("current_1", "current_2", "level", "transmitter", "moved", "battery")
    return [each for each in bands if out[r.INPUT_NAMES.index(each)] != before[r.INPUT_NAMES.index(each)]]
