"""A cut cable that the floats share."""

from hil.kits.base import Missing

from ._steps import (
    are_suspect,
    at_most,
    begin,
    contact,
    drain,
    first_on,
    fitted,
    none_suspect,
    pump,
    ready,
    run_dry,
    running,
    timing,
)

ORDER = 300
PURPOSE = (
    "Floats that turn dry together mean a cut common cable: an alarm is raised, and one pump at a time runs blind."
)
CLAUSES = ("L7", "L6", "A1")
NEEDS = ("off", "lead", "pump_1", "pump_2", "horn", "relay")
CAUTION = "The horn sounds, the alarm relay drops out. Pumps run dry, up to blind_run (35 s) each: unplug both pumps."
FLOATS = ("off", "lead")  # wet; lag hangs dry, and a cut cable leaves it so


def run(bench):
    fitted(bench, *FLOATS)
    if any(bench.setting("normally_closed") & contact(name) for name in FLOATS):
        raise Missing(
            "off or lead is normally closed and reads wet when cut: this procedure needs normally-open floats"
        )
    ready(bench)
    leader, _ = begin(bench, "lead")
    bench.wait(bench.setting_s("min_run") + 3)

    for name in FLOATS:
        bench.unplug(name)
    cut, debounce_ms = bench.mark_ms, bench.setting("debounce")
    timing(bench, "cable cut to horn", bench.when("horn", 1, debounce_ms / 1000 + 5) - cut, debounce_ms)
    found = bench.alarm("float_wiring")
    bench.check("alarm: float wiring", found == "unacknowledged" and not bench.is_on("relay"), found)
    are_suspect(bench, "off", "lead")
    bench.press("silence")

    longest_ms = run_dry(bench)
    off = bench.when(pump(leader), 0, bench.setting_s("blind_run") + 10)
    n, on = first_on(bench, bench.setting_s("min_off") + 10, off)
    bench.check("one pump keeps pumping", len(running(bench)) == 1, f"pump {n}")
    at_most(bench, "blind run", bench.when(pump(n), 0, longest_ms / 1000 + 10) - on, longest_ms)
    found = bench.alarm("level_lost")
    bench.check("alarm: level lost", found in ("unacknowledged", "acknowledged"), found)
    bench.press("silence")

    bench.draw_normally()
    bench.water("off", "lead")
    bench.wait(bench.setting_s("debounce") + 1)
    none_suspect(bench, "reconnected,")
    found = bench.alarm("float_wiring")
    bench.check("the alarm has cleared", found == "normal", found)
    drain(bench)
