"""Moisture in a pump's seal chamber."""

from ._steps import begin, drain, off_limit_s, pump, ready

ORDER = 240
PURPOSE = "Moisture in the seal chamber is told, stays told after it has gone, and stops no pump unless set to trip."
CLAUSES = ("S7", "A1")
NEEDS = ("lead", "moisture_1", "moisture_2", "pump_1", "pump_2", "horn")
CAUTION = "A worn seal lets water to live parts: on site have the pump unplugged before anybody touches the water."


def run(bench):
    ready(bench, moisture_trips=0)
    leader, _ = begin(bench)
    bench.wait(3)
    bench.moisture(leader)
    alarm = f"pump_{leader}_moisture"
    bench.when_alarm(alarm, 2, "unacknowledged")
    bench.stays(pump(leader), 1, 5)
    bench.check("a low alarm sounds no horn", not bench.is_on("horn"))
    bench.moisture(leader, wet=False)
    bench.wait(2)
    found = bench.alarm(alarm)
    bench.check("gone, it stays latched", found == "latched", found)
    bench.press("reset")
    bench.wait(1)
    found = bench.alarm(alarm)
    bench.check("a reset ends it", found == "normal", found)
    drain(bench)
    bench.when(pump(leader), 0, off_limit_s(bench))
