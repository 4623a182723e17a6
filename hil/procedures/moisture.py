"""Moisture in a pump's seal chamber."""

from ._steps import begin, drain, off_limit_s, pump, ready

ORDER = 240
PURPOSE = "Moisture in the seal chamber raises an alarm that latches, and stops no pump unless set to trip."
CLAUSES = ("S7", "A1")
NEEDS = ("off", "lead", "moisture_1", "moisture_2", "pump_1", "pump_2", "horn")
CAUTION = (
    "A pump starts: water over the inlets, or unplug both pumps. A worn seal lets water reach live parts: on "
    "site unplug that pump before anybody touches the water."
)


def run(bench):
    ready(bench, moisture_trips=0)
    leader, _ = begin(bench)
    bench.wait(3)
    bench.moisture(leader)
    alarm = f"pump_{leader}_moisture"
    bench.when_alarm(alarm, 2, "unacknowledged")
    bench.stays(pump(leader), 1, 5)
    bench.check("a low-priority alarm does not sound the horn", not bench.is_on("horn"))
    bench.moisture(leader, wet=False)
    bench.wait(2)
    found = bench.alarm(alarm)
    bench.check("cleared, it stays latched", found == "latched", found)
    bench.press("reset")
    bench.wait(1)
    found = bench.alarm(alarm)
    bench.check("a reset clears it", found == "normal", found)
    drain(bench)
    bench.when(pump(leader), 0, off_limit_s(bench))
