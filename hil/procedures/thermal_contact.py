"""A motor's thermal contact."""

from duplexsump.control.pump import THERMAL_OPEN

from ._steps import at_once, begin, both_off, cause_named, drain, off_limit_s, other, pump, ready, taken_over

ORDER = 230
PURPOSE = "An open thermal contact stops its pump at once and keeps it off; after closing the pump rests."
CLAUSES = ("S7", "I2", "D3")
NEEDS = ("off", "lead", "lag", "thermal_1", "thermal_2", "pump_1", "pump_2")
CAUTION = "The horn sounds. The other pump takes over: water over its inlet, or unplug both pumps."
RESTING = 3  # register pump_n_state


def run(bench):
    ready(bench)
    leader, _ = begin(bench)
    bench.wait(bench.setting_s("start_proof") + bench.setting_s("start_spacing") + 3)
    trips = bench.value(f"trips_{leader}")

    bench.thermal(leader, open=True)
    at_once(bench, "thermal contact open to pump off", bench.when(pump(leader), 0, 2) - bench.mark_ms)
    off = bench.kit.now_ms()
    taken_over(bench, leader, off)
    bench.water("off", "lead", "lag")
    bench.stays(pump(leader), 0, bench.setting_s("lag_min_off") + bench.setting_s("debounce") + 2)
    cause_named(bench, leader, THERMAL_OPEN)

    bench.thermal(leader, open=False)
    bench.stays(pump(leader), 0, bench.setting_s("lag_min_off") + 2)
    state, now = bench.value(f"pump_{leader}_state"), bench.value(f"trips_{leader}")
    bench.check("closed again, the pump rests for its retry", state == RESTING, f"state {state}")
    bench.check("it is not counted as a trip", now == trips, f"{trips} to {now}")
    bench.press("silence")
    drain(bench, "lag")
    bench.when(pump(other(leader)), 0, off_limit_s(bench))
    both_off(bench, 3)
