"""A4 for each pump alike: what feeds it, when the mains counts as back, when the battery is spent, what is told."""

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.supply import Supply
from duplexsump.control.timers import Timers

GOOD, LOW, DEAD = r.BATTERY_GOOD, r.BATTERY_LOW, r.BATTERY_DEAD
DAY_MS = 86_400_000


class Bench:
    """The supply with a clock; `go` is one step."""

    def __init__(self, kinds=(s.MAINS, s.MAINS), mains=1, **overrides):
        values = s.defaults()
        values[s.SUPPLY_1], values[s.SUPPLY_2] = kinds
        for name, value in overrides.items():
            values[s.index(name)] = value
        self.timers = Timers()
        self.supply = Supply(values, self.timers)
        self.inputs = [0] * r.N_INPUTS
        self.inputs[r.IN_MAINS], self.inputs[r.IN_CHARGER] = mains, 1
        self.now = 0
        self.supply.begin(self.inputs)

    def go(self, ms=100, high=0, lag=0, **changes):
        for name, value in changes.items():
            self.inputs[r.INPUT_NAMES.index(name)] = value
        self.now += ms
        self.timers.expire(self.now)
        self.supply.step(self.inputs, high, lag)
        return self.supply


@pytest.mark.parametrize("kinds", [(a, b) for a in range(3) for b in range(3)])
@pytest.mark.parametrize("mains", [0, 1])
def test_a4_what_feeds_each_pump(kinds, mains):
    for bench in (Bench(kinds, mains), Bench(kinds, 1 - mains)):
        bench.go(mains=mains)
        bench.go(60_000)
        bench.go()
        fed = on_battery = 0
        for n, kind in enumerate(kinds):
            battery = kind == s.BATTERY or (kind == s.EITHER and not mains)
            on_battery |= battery << n
            fed |= (battery or (kind != s.BATTERY and mains)) << n
        assert (bench.supply.fed, bench.supply.on_battery) == (fed, on_battery)
        assert [bool(bench.supply.on_mains(n)) for n in range(2)] == [kind != s.BATTERY for kind in kinds]
        assert bench.supply.fitted == sum((kind != s.MAINS) << n for n, kind in enumerate(kinds))


def test_a4_the_mains_at_power_up_counts_at_once_and_its_loss_at_once():
    bench = Bench()
    assert (bench.supply.mains, bench.supply.fed) == (1, 3)
    assert bench.go(mains=0).went
    assert (bench.supply.mains, bench.supply.fed) == (0, 0)
    assert not bench.go().went, "told in the step of the loss only"
    bench = Bench()
    bench.go(mains=0)
    assert not bench.go(mains=1).went, "nor where it is back in the next"
    assert not Bench(mains=0).go().went


@pytest.mark.parametrize(("high", "settle_ms"), [(0, 15_000), (8, 5000)])
def test_a4_the_return_of_the_mains_counts_once_it_has_settled(high, settle_ms):
    bench = Bench()
    bench.go(mains=0)
    bench.go(high=high, mains=1)
    assert not bench.go(settle_ms - 100, high=high).mains
    supply = bench.go(100, high=high)
    assert (supply.mains, supply.came, supply.fed) == (1, True, 3)
    assert not bench.timers.running(tm.SETTLE) and not bench.timers.running(tm.SETTLE_FLOOD)
    supply = bench.go(100, high=high)
    assert (supply.mains, supply.came) == (1, False), "told in that step only"


def test_a4_high_water_after_the_short_settling_makes_the_mains_count_at_once():
    bench = Bench()
    bench.go(mains=0)
    bench.go(mains=1)
    assert not bench.go(8000).mains
    assert bench.go(100, high=8).mains


def test_a4_a_mains_that_is_there_all_along_has_nothing_to_settle():
    bench = Bench()
    for _ in range(200):
        supply = bench.go(high=8)
        assert (supply.mains, supply.came, supply.went, supply.lost) == (1, False, False, False)
        assert not bench.timers.running(tm.SETTLE)


def test_a4_high_water_does_not_make_a_mains_count_that_came_in_this_very_step():
    bench = Bench(mains=0)
    assert not bench.go(mains=1, high=8).mains


def test_a4_a_mains_that_goes_again_settles_from_the_beginning():
    bench = Bench()
    bench.go(mains=0)
    bench.go(mains=1)
    bench.go(2000, mains=0)
    assert not bench.timers.running(tm.SETTLE) and not bench.timers.running(tm.SETTLE_FLOOD)
    bench.go(100, mains=1)
    assert not bench.go(10_000).mains
    assert bench.go(5000).mains


def test_a4_the_loss_is_told_after_mains_grace_until_the_mains_counts_as_back():
    bench = Bench()
    bench.go(mains=0)
    assert not bench.go(299_900).lost
    assert bench.go(100).lost
    assert bench.go(mains=1).lost
    assert bench.go(14_900).lost
    assert not bench.go(100).lost


@pytest.mark.parametrize("lag", [r.LAG, r.HIGH])
def test_a4_the_loss_is_told_at_once_with_lag_or_high_wet(lag):
    bench = Bench()
    bench.supply.lag = lag
    assert not bench.go().lost, "with the mains there it is no loss"
    assert bench.go(mains=0).lost
    bench.supply.lag = 0
    assert bench.go(1000).lost, "and stays told until the mains is back"
    bench.go(mains=1)
    assert not bench.go(15_000).lost


def test_a4_five_losses_within_an_hour_of_the_first_are_an_unsteady_mains_until_an_hour_passes_without_one():
    bench = Bench()
    for k in range(5):
        assert not bench.supply.unsteady
        bench.go(60_000, mains=0)
        assert (bench.supply.losses, bench.supply.unsteady) == (k + 1, k == 4)
        bench.go(mains=1)
        bench.go(20_000)
    bench.go(3_000_000, mains=0)
    assert (bench.supply.losses, bench.supply.unsteady) == (5, True)
    bench.go(mains=1)
    assert bench.go(3_599_800).unsteady
    assert not bench.go(100).unsteady
    assert bench.supply.losses == 0


def test_a4_four_losses_within_an_hour_or_five_in_more_are_not():
    bench = Bench()
    for _ in range(12):
        bench.go(880_000, mains=0)
        bench.go(mains=1)
        bench.go(20_000)
        assert not bench.supply.unsteady


def settled(bench, ms=1000, **changes):
    """Give `changes` and let the battery count as what it reads."""
    bench.go(**changes)
    return bench.go(ms, high=changes.get("high", 0))


@pytest.mark.parametrize("battery", [LOW, DEAD])
def test_a4_what_the_battery_reads_counts_once_it_has_stood_for_a_second(battery):
    bench = Bench((s.MAINS, s.BATTERY), mains=0)
    bench.go(battery=battery)
    supply = bench.go(900)
    assert (supply.battery, supply.spent, supply.low, supply.fed) == (GOOD, 0, 0, 2)
    bench.go(battery=GOOD)
    bench.go(battery=battery)
    assert bench.go(900).battery == GOOD, "the second begins anew"
    supply = bench.go(100)
    dead = battery == DEAD
    assert (supply.battery, supply.spent, bool(supply.low), supply.fed) == (battery, dead, True, 0 if dead else 2)
    bench.go(battery=GOOD)
    assert bench.go(900).battery == battery
    assert bench.go(100).battery == GOOD


@pytest.mark.parametrize("loaded", [0, 2])
@pytest.mark.parametrize("mains", [0, 1])
@pytest.mark.parametrize("battery", [GOOD, LOW, DEAD])
def test_a4_a_dead_battery_is_spent_until_it_has_borne_its_pump_or_the_mains_has_been_back(battery, mains, loaded):
    bench = Bench((s.MAINS, s.BATTERY), mains=mains)
    settled(bench, battery=DEAD)
    assert (bench.supply.spent, bench.supply.fed) == (1, mains)
    bench.supply.loaded = loaded
    settled(bench, battery=battery)
    assert bench.go(9900).spent == 1
    again = battery != DEAD and (mains or loaded)
    assert bench.go(100).spent == (0 if again else 1)
    assert bench.go(3_600_000).spent == (0 if again else 1), "at rest a dead battery soon reads as a good one"
    assert bench.supply.fed == (2 if again else 0) | mains


def test_a4_a_battery_that_is_not_spent_has_nothing_to_bear():
    bench = Bench((s.MAINS, s.BATTERY))
    bench.supply.loaded = 2
    bench.go(60_000)
    assert not bench.timers.running(tm.BEARS)


def test_a4_a_battery_that_sinks_again_within_ten_seconds_has_borne_nothing():
    bench = Bench((s.MAINS, s.BATTERY), mains=0)
    settled(bench, battery=DEAD)
    bench.supply.loaded = 2
    settled(bench, battery=GOOD)
    settled(bench, 8000, battery=DEAD)
    settled(bench, battery=GOOD)
    assert bench.go(9900).spent == 1
    assert bench.go(100).spent == 0


def test_a4_a_battery_found_dead_with_the_mains_there_is_low_at_the_outage_though_it_reads_good_at_rest():
    bench = Bench((s.MAINS, s.BATTERY))
    settled(bench, battery=DEAD)
    settled(bench, battery=GOOD)
    assert not bench.supply.low
    assert bench.go(mains=0).low
    bench.go(mains=1)
    assert bench.go(14_900).low
    assert not bench.go(100).low, "until the mains is back"


def test_a4_no_battery_fitted_is_never_spent_and_never_low():
    bench = Bench(mains=0)
    assert settled(bench, battery=DEAD).spent == 0
    assert not bench.supply.low


@pytest.mark.parametrize(("mains", "battery", "low"), [
    (0, LOW, True), (0, DEAD, True), (0, GOOD, False), (1, LOW, False),
])  # fmt: skip
def test_a4_battery_low_is_told_while_it_carries_the_house(mains, battery, low):
    bench = Bench((s.BATTERY, s.MAINS), mains=mains)
    settled(bench, battery=battery)
    assert bool(bench.supply.low) == low
    settled(bench, battery=GOOD)
    assert bool(bench.supply.low) == low, "once low, low until the mains is back"


def test_a4_with_high_wet_a_spent_battery_runs_to_exhaustion():
    bench = Bench((s.MAINS, s.BATTERY), mains=0)
    settled(bench, battery=DEAD)
    assert bench.go(high=8).fed == 2


@pytest.mark.parametrize("high", [0, 8])
@pytest.mark.parametrize("battery", [GOOD, LOW, DEAD])
@pytest.mark.parametrize("spent", [0, 1])
@pytest.mark.parametrize("exhaust", [0, 1])
@pytest.mark.parametrize("demanded", [0, 1, 2])
def test_a4_exhaustion_begins_with_high_water_and_goes_on_until_the_level_ends_the_run(
        high, battery, spent, exhaust, demanded):  # fmt: skip
    bench = Bench((s.MAINS, s.BATTERY), mains=0)
    supply = bench.supply
    assert (supply.demanded, supply.exhaust) == (0, 0)
    supply.battery, supply.spent, supply.exhaust, supply.demanded = battery, spent, exhaust, demanded
    bench.go(battery=battery, high=high)
    now_spent = battery == DEAD or spent
    on = now_spent and (high or (exhaust and demanded))
    assert (supply.spent, supply.exhaust) == (int(now_spent), int(bool(on)))
    assert supply.fed == (2 if on or not now_spent else 0)


@pytest.mark.parametrize(("changes", "told"), [
    ({"charger": 0}, True), ({"charger": 1}, False), ({"charger": 0, "mains": 0}, False),
])  # fmt: skip
def test_a4_a_charger_that_does_not_charge_for_a_day_with_mains_is_told(changes, told):
    bench = Bench(charger_fitted=1)
    bench.go(**changes)
    assert not bench.go(DAY_MS - 100).not_charging
    assert bool(bench.go(100).not_charging) == told
    assert not bench.go(charger=1).not_charging
    unfitted = Bench()
    unfitted.go(**changes)
    assert not unfitted.go(DAY_MS).not_charging


@pytest.mark.parametrize("loaded", [0, 2])
@pytest.mark.parametrize("mains", [0, 1])
@pytest.mark.parametrize(("battery", "after_ms"), [(DEAD, 60_000), (LOW, DAY_MS), (GOOD, None)])
def test_a4_a_battery_is_judged_at_rest_with_the_mains_there(battery, after_ms, mains, loaded):
    bench = Bench((s.MAINS, s.BATTERY), mains=mains)
    bench.supply.loaded = loaded
    bench.go(battery=battery)
    judged = mains and not loaded and after_ms
    assert not (bench.go((after_ms or DAY_MS) - 100).gone or bench.supply.flat)
    supply = bench.go(100)
    assert (bool(supply.gone), bool(supply.flat)) == (bool(judged and battery == DEAD), bool(judged and battery == LOW))
    assert not (bench.go(battery=GOOD).gone or bench.supply.flat)


@pytest.mark.parametrize("battery", [LOW, DEAD])
@pytest.mark.parametrize(("loaded", "mains"), [(2, 1), (0, 0), (2, 0)])
def test_a4_a_battery_that_was_found_bad_at_rest_stays_so_under_its_pump_and_in_an_outage_until_it_reads_good(
        battery, loaded, mains):  # fmt: skip
    bench = Bench((s.MAINS, s.BATTERY))
    bench.go(battery=battery)
    bench.go(DAY_MS)
    found = (battery == DEAD, True)
    assert (bool(bench.supply.gone), bool(bench.supply.flat)) == found
    bench.supply.loaded = loaded
    bench.go(mains=mains)
    bench.go(3_600_000)
    assert (bool(bench.supply.gone), bool(bench.supply.flat)) == found
    bench.go(battery=GOOD)
    assert (bool(bench.supply.gone), bool(bench.supply.flat)) == (False, False)


@pytest.mark.parametrize("spent", [0, 1])
@pytest.mark.parametrize("loaded", [0, 2])
@pytest.mark.parametrize("battery", [LOW, DEAD])
@pytest.mark.parametrize("hours", [23, 24])
def test_a4_a_battery_that_dies_under_a_pump_after_a_day_of_mains_is_told_in_that_step(hours, battery, loaded, spent):
    bench = Bench((s.MAINS, s.BATTERY))
    assert bench.supply.fell == 0
    bench.go()
    bench.go(hours * 3_600_000)
    bench.supply.loaded, bench.supply.spent = loaded, spent
    assert not bench.go(battery=battery).fell
    assert not bench.go(900).fell, "the inrush of a start pulls any battery down for a moment"
    assert bool(bench.go(100).fell) == (hours == 24 and battery == DEAD and loaded and not spent)
    assert not bench.go(100).fell


@pytest.mark.parametrize(("kinds", "fitted"), [((s.MAINS, s.MAINS), False), ((s.BATTERY, s.MAINS), True)])
def test_a4_the_day_of_mains_is_counted_where_a_battery_is_fitted_and_anew_after_each_outage(kinds, fitted):
    bench = Bench(kinds)
    bench.go()
    assert not bench.supply.charged
    assert bench.timers.running(tm.CHARGED) == fitted
    assert not bench.go(DAY_MS - 100).charged
    assert bool(bench.go(100).charged) == fitted
    assert bool(bench.go(DAY_MS).charged) == fitted
    assert not bench.go(mains=0).charged
    bench.go(DAY_MS)
    assert not bench.supply.charged
    bench.go(mains=1)
    bench.go(15_000)
    assert bench.supply.mains and not bench.go(DAY_MS - 200).charged
    bench.go(200)
    assert bool(bench.supply.charged) == fitted


def test_a4_without_a_pump_on_a_battery_none_is_judged():
    bench = Bench()
    assert bench.supply.loaded == 0
    bench.go(battery=DEAD)
    supply = bench.go(DAY_MS)
    assert (supply.gone, supply.flat) == (False, False)


@pytest.mark.parametrize("kinds", [(a, b) for a in range(3) for b in range(3)])
def test_a4_with_high_wet_a_mains_that_is_not_seen_is_used_all_the_same(kinds):
    bench = Bench(kinds, mains=0)
    bench.supply.demanded = 2
    settled(bench, battery=DEAD if s.BATTERY in kinds or s.EITHER in kinds else GOOD)
    assert bench.supply.unseen == 0
    supply = bench.go(high=8)
    on_mains = sum((kind != s.BATTERY) << n for n, kind in enumerate(kinds))
    # High water spends a dead battery to exhaustion, so what hangs on it counts as fed.
    assert supply.unseen == on_mains & ~supply.fed
    assert supply.unseen | supply.fed == 3


def test_a4_with_lag_wet_for_flood_settle_it_is_used_too():
    bench = Bench(mains=0)
    bench.supply.demanded = 2
    bench.go(lag=4)
    assert bench.go(4900, lag=4).unseen == 0
    assert bench.go(100, lag=4).unseen == 3
    assert bench.go(lag=0).unseen == 3, "until the demand is over"
    bench.supply.demanded = 0
    assert bench.go(lag=0).unseen == 0


def test_a4_lag_that_turns_dry_in_between_begins_the_time_anew():
    bench = Bench(mains=0)
    bench.go(lag=4)
    bench.go(4000)
    bench.go(lag=4)
    assert bench.go(4000, lag=4).unseen == 0


def test_a4_a_mains_that_counts_again_is_seen_and_no_more_assumed():
    bench = Bench(mains=0)
    bench.supply.demanded = 2
    bench.go(high=8)
    bench.go(high=8, mains=1)
    assert bench.supply.unseen == 3
    supply = bench.go(5000, high=8)
    assert (supply.fed, supply.unseen, supply.assumed) == (3, 0, 0)
    assert bench.go(60_000, lag=4).unseen == 0, "nothing is assumed of a mains that is there"
    supply = bench.go(lag=4, mains=0)
    assert (supply.fed, supply.unseen) == (0, 0), "the time begins at the loss"


@pytest.mark.parametrize("spent", [0, 1])
def test_a4_a_battery_that_is_good_is_used_in_the_usual_way(spent):
    bench = Bench((s.EITHER, s.BATTERY), mains=0)
    supply = settled(bench, high=8, battery=DEAD if spent else GOOD)
    assert (supply.fed, supply.unseen, supply.on_battery) == (3, 0, 3)


def test_a4_without_a_mains_input_the_mains_counts_as_present():
    bench = Bench((s.MAINS, s.BATTERY), mains=0, mains_fitted=0, charger_fitted=1)
    supply = bench.go(60_000)
    assert (supply.mains, supply.fed, supply.lost, supply.unseen) == (1, 3, False, 0)
    bench.go(charger=0)
    assert bench.go(DAY_MS).not_charging


def test_a4_as_built_nothing_is_assumed():
    supply = Supply(s.defaults(), Timers())
    assert (supply.unseen, supply.assumed, supply.running) == (0, 0, 0)


@pytest.mark.parametrize(("running", "on"), [(0, 0), (1, 1), (2, 0)])
def test_a4_a_run_on_a_mains_that_is_not_seen_is_not_cut_short_by_the_end_of_its_demand(running, on):
    bench = Bench((s.MAINS, s.BATTERY), mains=0)
    bench.go(high=8)
    bench.supply.running = running
    assert bench.go().assumed == on
    bench.supply.running = 0
    assert bench.go().assumed == 0


def test_a4_lag_that_was_wet_before_the_mains_went_does_not_shorten_the_time():
    bench = Bench()
    bench.supply.demanded = 2
    bench.go(lag=4)
    bench.go(3000, lag=4)
    bench.go(lag=4, mains=0)
    assert bench.go(4900, lag=4).unseen == 0
    assert bench.go(100, lag=4).assumed == 1


def test_a4_a_spent_battery_is_not_the_mains():
    bench = Bench((s.MAINS, s.BATTERY), mains=0)
    settled(bench, battery=DEAD)
    bench.go(lag=4)
    supply = bench.go(5000, lag=4)
    assert (supply.fed, supply.unseen) == (0, 1)


@pytest.mark.parametrize(("kinds", "on_it"), [((s.MAINS, s.BATTERY), 2), ((s.EITHER, s.EITHER), 3)])
def test_a4_on_a_spent_battery_a_missing_current_is_no_fault(kinds, on_it):
    bench = Bench(kinds, mains=0)
    assert settled(bench, battery=DEAD).doubted() == 0
    supply = bench.go(high=8)
    assert supply.doubted() == supply.unseen | on_it
    supply.loaded = on_it
    settled(bench, high=8, battery=GOOD)
    assert bench.go(10_000, high=8).doubted() == supply.unseen


def test_m8_of_a_battery_that_nobody_reads_nothing_is_raised_and_nothing_cleared():
    bench = Bench((s.MAINS, s.BATTERY))
    bench.go(battery=DEAD, board=r.FAULT_CONVERTER)
    assert not bench.go(DAY_MS).gone
    bench.go(board=0)
    assert bench.go(60_000).gone
    assert bench.go(battery=GOOD, board=r.FAULT_CONVERTER).gone
    assert bench.go(DAY_MS).gone
    assert not bench.go(board=r.FAULT_EXPANDER).gone, "read at its own pin or not: the expander has no part in it"


def test_m8_of_a_charger_that_nobody_reads_nothing_is_raised_and_nothing_cleared():
    bench = Bench((s.MAINS, s.BATTERY), charger_fitted=1)
    bench.go(charger=0, board=r.FAULT_EXPANDER)
    assert not bench.go(DAY_MS).not_charging
    bench.go(board=0)
    assert bench.go(DAY_MS).not_charging
    assert bench.go(charger=1, board=r.FAULT_EXPANDER).not_charging
    assert not bench.go(board=r.FAULT_CONVERTER).not_charging
