"""The high float: lifted, and with a broken wire."""

from ._steps import are_suspect, contact, none_suspect, ready, timing

ORDER = 290
PURPOSE = "A lifted high float raises the alarm even while suspect; so does a broken wire of a normally-closed one."
CLAUSES = ("I4", "L2", "A1", "A3")
NEEDS = ("high", "pump_1", "pump_2", "horn", "relay")
CAUTION = "The horn sounds, the alarm relay drops out. Both pumps start dry: unplug both pumps."


def run(bench):
    ready(bench)
    bench.float("high")
    calls(bench, "lifted")
    bench.wait(bench.setting_s("sequence_time") + 2)
    are_suspect(bench, "high")
    found = bench.alarm("high_water")
    bench.check("the alarm stays active all the same", found == "unacknowledged", found)
    bench.check("the alarm relay stays dropped", not bench.is_on("relay"))
    bench.float("high", wet=False)
    bench.when("horn", 0, bench.setting_s("debounce") + 2)  # silenced, it would stay quiet for a while (A2)
    bench.wait(1)
    none_suspect(bench, "once it has moved")
    bench.wait(bench.setting_s("blind_run"))
    if bench.setting("normally_closed") & contact("high"):
        bench.unplug("high")
        calls(bench, "unplugged")
        bench.press("silence")
        bench.float("high", wet=False)
        bench.note("a shorted high float always reads dry and is found only by lifting it: lift it at every check")
    else:
        bench.note("this high float is normally open: unplugged it always reads dry; lift it at every check")
    bench.water()


def calls(bench, how):
    """Measure the time to horn and alarm relay."""
    began, debounce_ms = bench.mark_ms, bench.setting("debounce")
    timing(bench, f"high float {how} to horn", bench.when("horn", 1, debounce_ms / 1000 + 5) - began, debounce_ms)
    timing(bench, f"high float {how} to alarm relay dropped", bench.when("relay", 0, 1) - began, debounce_ms)
