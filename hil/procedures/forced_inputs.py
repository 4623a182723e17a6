"""Inputs forced over the link, for a test without a rig."""

from duplexsump.station import registers as r

from host_sim.board.client import RefusedError

from ._steps import both_off, first_on, pump, ready, start_limit_s, timing

ORDER = 380
PURPOSE = (
    "Inputs can be forced only with the test jumper in; forces raise an alarm, time out, and end at real high water."
)
CLAUSES = ("M2", "A1")
NEEDS = ("jumper", "high", "pump_1", "pump_2")
CAUTION = "A forced float starts a real pump: water over the inlets, or unplug both pumps. The high-water alarm sounds."
LEAD = 1  # place of lead among the forces


def run(bench):
    ready(bench)
    refused = False
    try:
        force_lead(bench)
    except RefusedError:
        refused = True
    bench.check("without the jumper a force is refused", refused)
    both_off(bench, start_limit_s(bench))

    bench.jumper(True)
    bench.wait(1)
    forced = bench.kit.now_ms()
    force_lead(bench)
    leader, _ = first_on(bench, start_limit_s(bench), forced)
    found = bench.alarm("inputs_forced")
    bench.check("alarm: inputs forced", found == "unacknowledged", found)
    over = bench.when_alarm("inputs_forced", bench.setting_s("force_timeout") + 5, "returned")
    timing(bench, "force to its timeout", over - forced, bench.setting("force_timeout"))
    bench.when(pump(leader), 0, bench.setting_s("blind_run") + 5)

    bench.press("silence")
    bench.wait(bench.setting_s("min_off"))
    force_lead(bench)
    bench.wait(3)
    bench.float("high")
    bench.when_alarm("high_water", bench.setting_s("debounce") + 2, "unacknowledged")
    found = bench.alarm("inputs_forced")
    bench.check("real high water ends every force", found == "returned", found)
    bench.jumper(False)
    bench.press("silence")
    bench.water()


def force_lead(bench):
    """Force the lead contact wet.  Raises RefusedError where the board refuses."""
    bench.client.write_bits(r.FORCE_MASK_AT + LEAD, [1])
    bench.client.write_bits(r.FORCE_VALUE_AT + LEAD, [1])
