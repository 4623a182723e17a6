"""The backup battery, low and dead."""

from ._steps import BATTERY, FIXED, MAINS, begin, both_off, drain, off_limit_s, ready

ORDER = 350
PURPOSE = (
    "On battery a low voltage raises an alarm, with a lower limit under load; a dead battery runs a pump only at "
    "high water."
)
CLAUSES = ("A4", "A1", "A3")
NEEDS = ("off", "lead", "lag", "high", "mains", "battery", "pump_1", "pump_2", "relay")
CAUTION = (
    "The bench sets the voltage: never discharge or short a real battery to test this. "
    "Charging batteries give off explosive gas. The horn sounds and the alarm relay drops out. Unplug both pumps."
)
BAND_V = 0.3  # beyond the controller's own dead band of 0.2 V
BELIEVED_S = 12  # of a good battery while the mains is there: one that read dead counts as good after 10 s (A4)


def run(bench):
    ready(bench, duty=FIXED, primary=1, supply_1=MAINS, supply_2=BATTERY)
    low_v, loaded_v, dead_v = (bench.setting_s(f"battery_{name}") for name in ("low", "loaded", "dead"))
    full_v, sagging_v = low_v + 2 * BAND_V, (low_v + loaded_v) / 2
    bench.battery(low_v - BAND_V)
    bench.wait(3)
    alarm_is(bench, "no low-battery alarm while the mains are on", "normal")
    bench.battery(full_v)
    bench.wait(BELIEVED_S)
    bench.mains(False)
    bench.wait(15)
    bench.press("silence")
    alarm_is(bench, "no low-battery alarm with a good battery on mains loss", "normal")

    begin(bench)
    bench.check("the battery pump runs", bench.is_on("pump_2"))
    bench.battery(sagging_v)
    bench.wait(3)
    alarm_is(bench, f"{sagging_v:.2f} V under load is not low", "normal")
    bench.battery((loaded_v + dead_v) / 2)
    bench.when_alarm("battery_low", 2, "unacknowledged")
    bench.wait(0.5)
    bench.check("a low battery drops the alarm relay", not bench.is_on("relay"))
    bench.press("silence")
    bench.check("the pump keeps running on a low battery", bench.is_on("pump_2"))

    bench.battery(dead_v - BAND_V)
    bench.when("pump_2", 0, 3)
    both_off(bench, bench.setting_s("min_off"))
    bench.water("off", "lead", "lag")
    bench.wait(3)
    bench.water("off", "lead", "lag", "high")
    bench.when("pump_2", 1, bench.setting_s("flood_min_off") + 5)
    bench.water("off", "lead", "lag")
    bench.stays("pump_2", 1, 10)
    bench.note("with high wet a dead battery is used up: the run lasts until the level ends it")
    drain(bench, "lag")
    bench.when("pump_2", 0, off_limit_s(bench))

    bench.battery(sagging_v)
    bench.wait(3)
    alarm_is(bench, f"{sagging_v:.2f} V at rest is low", "acknowledged")
    bench.battery(full_v)
    bench.wait(3)
    alarm_is(bench, "a battery that recovers between two runs keeps its alarm", "acknowledged")
    bench.mains(True)
    bench.wait(bench.setting_s("mains_settle") + 2)
    alarm_is(bench, "the mains back, the alarm clears", "normal")


def alarm_is(bench, what, state):
    """Check the state of the alarm."""
    found = bench.alarm("battery_low")
    bench.check(what, found == state, found)
