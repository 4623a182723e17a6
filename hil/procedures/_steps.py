"""Shared steps of the procedures: come to rest, fill and drain the pit, measure a time against its rule.

Times are milliseconds of the bench's clock, taken at the pins.  The limits
around a rule follow from the controller's design, not from a measured board: it
steps every 100 ms, and a healthy pass of its loop may take up to 500 ms (M3).
"""

from duplexsump.control.pump import CAUSES
from duplexsump.control.records import CONTACT_NAMES

from hil.bench.verdict import Failed
from hil.kits.base import Missing

EARLY_MS = 300  # two steps of the controller's grid and one for the bench's own
LATE_MS = 600  # one step of the grid and one long pass of the loop
MARGIN_MS = 150  # inside the limits, but nearer than this to one of them: marginal
GAP_S = 2.5  # between two floats on the way up or down: within 2 s they would share a wire (L7)
START_UP_MS = 10000  # MicroPython, file system, checksum of the firmware; common practice, no source
PUMPS = ("pump_1", "pump_2")
REMINDERS = ("inspection_due", "pour_and_test")  # alarms of the calendar, which no bench can end
SENSE_NOTHING, SENSE_CURRENT = 0, 2  # setting sensing
ALTERNATE, FIXED = 0, 1  # setting duty
MAINS, BATTERY = 0, 1  # settings supply_1, supply_2


def pump(n):
    """Return the wire of pump `n` (1 or 2)."""
    return PUMPS[n - 1]


def other(n):
    """Return the other pump of the two."""
    return 3 - n


# What follows a fault.


def taken_over(bench, n, off_ms):
    """Check that the other pump takes over at once from pump `n`, which stopped at `off_ms`."""
    at_most(bench, "take-over by the other pump", bench.when(pump(other(n)), 1, 5) - off_ms, 100)


def cause_named(bench, n, cause):
    """Check the cause that the board gives for pump `n`: a number of `duplexsump.control.pump`."""
    found = bench.value(f"pump_{n}_cause")
    bench.check(f"cause: {CAUSES[cause]}", found == cause, f"cause {found}")


# Coming to rest.


def ready(bench, **settings):
    """Bring the board to rest: `settings` in force, pit empty, pumps healthy, no alarm, rests and delays elapsed.

    Raises Missing where the kit may not change a setting that the procedure needs, or cannot simulate the current
    without which the board would trip every pump.
    """
    if settings:
        bench.settings(**settings)
    if bench.setting("sensing") != SENSE_NOTHING and not (bench.has("current_1") and bench.has("current_2")):
        words = (
            f"this board senses its pumps (sensing = {bench.setting('sensing')}), and no current can be simulated here"
        )
        raise Missing(words, "current")
    bench.water()
    bench.draw_normally()
    bench.ready()
    for button in ("silence", "reset", "silence"):
        bench.press(button)
    standing = alarms(bench)
    bench.check("no alarm at rest", not standing, ", ".join(standing) or "none")
    bench.check("no pump runs at rest", not running(bench), ", ".join(running(bench)) or "none")


def shorter(bench, **settings):
    """Shorten long times where the kit may change settings; elsewhere wait for the board's own."""
    try:
        bench.settings(**settings)
    except Missing:
        bench.note("settings unchanged: the board's own long times apply")


def alarms(bench):
    """Return the names of the active alarms, except REMINDERS and those of forced inputs, which a kit causes."""
    return [name for name in bench.alarms() if name not in REMINDERS and not name.startswith("inputs_forced")]


def running(bench):
    """Return the wires of the pumps whose relays are on, as far as the kit sees them."""
    return [wire for wire in PUMPS if bench.has(wire) and bench.is_on(wire)]


# Floats.


def contact(name):
    """Return the bit of a level contact."""
    return 1 << CONTACT_NAMES.index(name)


def fitted(bench, *names):
    """Raise Missing unless all these level contacts are floats on this board."""
    for name in names:
        if not bench.setting("fitted") & contact(name):
            raise Missing(f"no {name} float is fitted on this board (fitted = {bench.setting('fitted')})", name)


def stick(bench, name, wet):
    """Make a float's circuit read wet or dry at any level, and note in the record how."""
    # A normally-open float reads wet while its circuit is closed, a normally-closed one while it is open.
    closed = wet != bool(bench.setting("normally_closed") & contact(name))
    bench.note(f"{name} float {'shorted' if closed else 'unplugged'}: its circuit reads {'wet' if wet else 'dry'}")
    if closed:
        bench.short(name)
    else:
        bench.unplug(name)


def suspects(bench):
    """Return the names of the suspect contacts."""
    mask = bench.client.states()["suspect"]
    return [name for name in CONTACT_NAMES if mask & contact(name)]


def none_suspect(bench, when):
    """Check that no contact is suspect."""
    bench.check(f"{when} no contact is suspect", not suspects(bench), ", ".join(suspects(bench)) or "none suspect")


def are_suspect(bench, *names):
    """Check that exactly these contacts are suspect."""
    found = suspects(bench)
    bench.check(f"suspect: {' and '.join(names)}", found == list(names), ", ".join(found) or "none suspect")


# Water.


def up_to(bench, top):
    """Return the floats from the bottom up to `top`.  Raises Missing where one but `off` is not fitted."""
    names = CONTACT_NAMES[: CONTACT_NAMES.index(top) + 1]
    fitted(bench, *names[1:])
    return names if bench.setting("fitted") & contact("off") else names[1:]


def fill(bench, top):
    """Let the water rise float by float up to `top`; return the instant at which that one turned wet, in ms.

    Raises Missing where one of these floats is not fitted; the off float may be left out.
    """
    names = up_to(bench, top)
    for count in range(1, len(names) + 1):
        if count > 1:
            bench.wait(GAP_S)
        bench.water(*names[:count])
    return bench.mark_ms


def drain(bench, top="lead"):
    """Let the water fall float by float from `top` until all are dry; return the instant of the last, in ms."""
    names = up_to(bench, top)
    for count in range(len(names) - 1, -1, -1):
        bench.water(*names[:count])
        if count:
            bench.wait(GAP_S)
    return bench.mark_ms


# Pumps.


def first_on(bench, within_s, since_ms):
    """Wait until a pump starts, counted from an instant on; return (1 or 2, instant of its start).  Raises Failed."""
    return first_starts(bench, 1, within_s, since_ms)[0]


def first_starts(bench, count, within_s, since_ms):
    """Wait for so many starts, counted from an instant on; return them as (pump, instant).  Raises Failed."""
    if not bench.kit.run_until(lambda: len(starts(bench, since_ms)) >= count, round(within_s * 1000)):
        seen = ", ".join(f"pump {n}" for n, _ in starts(bench, since_ms)) or "none"
        wanted = "no pump started" if count == 1 else f"{count} starts expected, seen: {seen}"
        raise Failed(f"{wanted} within {within_s:g} s; alarms: {', '.join(alarms(bench)) or 'none'}")
    return starts(bench, since_ms)[:count]


def starts(bench, since_ms):
    """Return the starts since an instant, in order, as (pump, ms)."""
    edges = [edge for edge in bench.kit.edges if edge.ms >= since_ms and edge.value and edge.wire in PUMPS]
    return [(PUMPS.index(edge.wire) + 1, edge.ms) for edge in edges]


def runs(bench, since_ms):
    """Return the runs begun since an instant, as (pump, start, stop) in ms.  Raises Failed where one goes on."""
    found = []
    for n, on in starts(bench, since_ms):
        stops = [ms for ms, value in bench.edges(pump(n), on) if not value]
        if not stops:
            raise Failed(f"pump {n} keeps running")
        found.append((n, on, stops[0]))
    return found


def begin(bench, top="lead"):
    """Fill the pit to `top`; return (the pump that starts first, instant of its start)."""
    since_ms = bench.kit.now_ms()
    fill(bench, top)
    return first_on(bench, start_limit_s(bench), since_ms)


def start_limit_s(bench):
    """Return how long the start of a healthy pump may take: the rest with lead wet, the debounce, the spacing."""
    return sum(bench.setting_s(name) for name in ("lag_min_off", "debounce", "generator_spacing")) + LATE_MS / 1000


def off_limit_s(bench):
    """Return how long a stop by the level may take: the debounce, the shortest run, without an off float L3's time."""
    by_time_s = 0 if bench.setting("fitted") & contact("off") else bench.setting_s("blind_run")
    return bench.setting_s("debounce") + bench.setting_s("min_run") + by_time_s + LATE_MS / 1000


def until(bench, holds, within_s, what):
    """Wait until `holds()`, looked at over the link ten times a second; return the instant.  Raises Failed."""
    end_ms = bench.kit.now_ms() + round(within_s * 1000)
    while not holds():
        if bench.kit.now_ms() >= end_ms:
            raise Failed(f"not within {within_s:g} s: {what}; alarms: {', '.join(alarms(bench)) or 'none'}")
        bench.wait(0.1)
    return bench.kit.now_ms()


def both_off(bench, for_s):
    """Check that no pump runs for a time."""
    since_ms = bench.kit.now_ms()
    before = running(bench)
    bench.wait(for_s)
    moved = starts(bench, since_ms)
    seen = [f"pump {n} started after {(ms - since_ms) / 1000:.1f} s" for n, ms in moved] or before or ["none ran"]
    bench.check(f"no pump runs for {for_s:g} s", not moved and not before, ", ".join(seen))


def cycle(bench, run_s=None):
    """One cycle up to lead and down again; return the pump that led.  Ends with the pit empty and no pump running."""
    leader, _ = begin(bench)
    bench.wait(bench.setting_s("min_run") + 1 if run_s is None else run_s)
    drain(bench)
    bench.when(pump(leader), 0, off_limit_s(bench))
    return leader


def run_dry(bench):
    """Simulate underload of both pumps, as in an empty pit; return the longest allowed run so, in ms (R1, L6)."""
    for n in (1, 2):
        bench.draws(n, "under")
    return bench.setting("dry_run") if bench.setting("sensing") == SENSE_CURRENT else bench.setting("blind_run")


# Times.


def timing(bench, name, took_ms, rule_ms):
    """Measure a time that a rule fixes: not sooner than the grid allows, not later than a healthy loop."""
    _measure(bench, name, took_ms, rule_ms, rule_ms)


def at_most(bench, name, took_ms, limit_ms):
    """Measure a time that a rule limits from above."""
    _measure(bench, name, took_ms, None, limit_ms)


def between(bench, name, took_ms, low_ms, high_ms):
    """Measure a time that lies between two rules."""
    _measure(bench, name, took_ms, low_ms, high_ms)


def at_once(bench, name, took_ms):
    """Measure what must happen in the controller's next step."""
    _measure(bench, name, took_ms, None, 100)


def _measure(bench, name, took_ms, low_ms, high_ms):
    # A board's clock is off by less than 0.1 %.
    slack_ms = bench.kit.timing_ms
    low_s = None if low_ms is None else (low_ms - low_ms // 1000 - EARLY_MS - slack_ms) / 1000
    if low_s is not None and low_s <= 0:
        low_s = None  # a rule shorter than what can be told apart has no lower limit
    high_s = (high_ms + high_ms // 1000 + LATE_MS + slack_ms) / 1000
    bench.measure(name, took_ms / 1000, "s", low_s, high_s, MARGIN_MS / 1000)
