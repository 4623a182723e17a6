"""With the hose on: each pump alone, then both; rate, amps, volts, check valves, refill, leaks, outlet."""

from duplexsump.control import settings as s

from ..record.items import NOT_TESTED, NOTED
from . import judging, measure
from .promise import BOTH
from .questions import question
from .step import DONE, Step

WATER_S = 900.0  # a garden hose fills a narrow pit from off to lead in a minute or two
RUN_S = 300.0
LIVE = "The pumps are live from here on. Hands out of the pit; stand dry; touch no pump and no cord."


def live(desk):
    """Have the pumps plugged in and the supply on, with all hands out of the pit."""
    desk.guard = True
    if desk.figures.get("pumps_dead") is False:
        return
    desk.ask(question(desk, "plugged"))
    desk.figures["pumps_dead"] = False


# One pump alone.


def _run_alone(n):
    def run(desk):
        live(desk)
        board = desk.board
        if not desk.selectors(*("auto" if i == n else "off" for i in (0, 1))):
            return
        desk.quiet()
        board.look()
        begin = board.ms
        desk.do("meters", f"Have a voltmeter at the supply of pump {n + 1}, a clamp meter on one of its conductors.")
        if n == 0:
            desk.do("hose_on", "Lay the hose into the pit, away from the floats, open it, and leave it so.")
        else:
            desk.do("hose_on", "Leave the hose as it is; open it again if it is shut.")
        if not desk.until(f"pump {n + 1} to start", lambda: board.on(n), WATER_S):
            return
        desk.do("look", f"While it pumps, read the meters; look at the outlet outside, and at pump {2 - n}, which must "
                "stand still.")  # fmt: skip
        if desk.promise.draw_m3 is None:
            _by_bucket(desk, n, begin)
            return
        two = f"two draw-downs by pump {n + 1}, and the fill between them"
        if not desk.until(two, lambda: _seen(board, begin, 1 << n, 2), WATER_S + RUN_S):
            _amps(desk, n, begin)
            return
        pumped, inflow = _rate(desk, f"rate_{n + 1}", n, begin)
        _amps(desk, n, begin)
        _lowest_battery(desk, n, begin)
        judging.refill(desk, f"refill_{n + 1}", board.since(begin), inflow, pumped)

    return run


def _seen(board, begin, pumps, draws):
    # Draw-downs by just these pumps; before the last one, or after the only one, a fill; at the end the refill.
    changes = board.since(begin)
    drawn, filled, again = measure.draw_down(changes, pumps), measure.fill(changes), measure.refill(changes)
    if not (drawn and filled and again):
        return False
    if draws == 2:
        return filled[1] <= drawn[0] and again[0] >= drawn[1]
    return filled[0] >= drawn[1]


def _rate(desk, item, place, begin):
    changes, found = desk.board.since(begin), desk.promise
    drawn, filled = measure.draw_down(changes, (1, 2, 3)[place]), measure.fill(changes)
    inflow = measure.inflow_m3s(filled[1] - filled[0], found.fill_m3)
    pumped = measure.rate_m3s(drawn[1] - drawn[0], found.draw_m3, inflow)
    times = f"draw-down {(drawn[1] - drawn[0]) / 1000.0:.1f} s against {desk.show(inflow, 'flow')}"
    judging.rate(desk, item, pumped, place, times)
    return pumped, inflow


def _by_bucket(desk, place, begin):
    # Without two contacts that the water passes, the board cannot time it.
    item = "rate_both" if place == BOTH else f"rate_{place + 1}"
    value, typed = desk.read(question(desk, "bucket_{n}", item))
    judging.rate(desk, item, value, place, f"as typed: {typed}")
    if place != BOTH:
        _amps(desk, place, begin)
        _lowest_battery(desk, place, begin)


def _amps(desk, n, begin):
    # By the board's own sensor, where it has one; else the clamp is asked for in a step of its own.
    value = _sensed(desk, n, begin)
    if value is not None:
        judging.amps(desk, f"amps_{n + 1}", value, desk.promise.plate_a[n], "board")


def _sensed(desk, n, begin):
    board = desk.board
    if board.setting("sensing") != s.SENSE_CURRENT:
        return None
    started = [ms for ms, name, value in board.since(begin) if name == f"pump_{n + 1}" and value]
    found = measure.amps(board.amps, n, (started[-1] if started else begin) + measure.SETTLE_MS, board.ms)
    return 0.0 if found is None else found / desk.promise.per_amp[n]


def _lowest_battery(desk, n, begin):
    seen = [mv for ms, pump, mv in desk.board.battery if pump == n and ms >= begin and mv]
    if seen:
        desk.figures[f"lowest_volts_{n + 1}"] = min(seen) / 1000.0


def _ran(item):
    # What is asked about a run makes no sense where the run was left out.
    def fits(desk):
        before = desk.items.get(item, {})
        return f"not run: {before.get('why', '')}" if before.get("verdict") == NOT_TESTED else ""

    return fits


def _clamp_fits(item, ran):
    def fits(desk):
        if desk.items.get(item, {}).get("by"):
            return DONE
        return _ran(ran)(desk)

    return fits


def _clamp(n):
    def run(desk):
        value, typed = desk.read(question(desk, "clamp_{n}", n + 1))
        judging.amps(desk, f"amps_{n + 1}", value, _plate(desk, n, "a"), "person", f"as typed: {typed}")

    return run


def _plate(desk, n, which):
    # From the sizing; else from the person, once for all steps.
    given = (desk.promise.plate_a if which == "a" else desk.promise.plate_v)[n]
    kept = desk.figures.get(f"plate_{which}_{n + 1}")
    if given or kept:
        return given or kept
    value, _ = desk.read(question(desk, "plate_{n}" if which == "a" else "plate_volts_{n}", n + 1))
    desk.figures[f"plate_{which}_{n + 1}"] = value
    return value


def _volts(n):
    def run(desk):
        item = f"volts_{n + 1}"
        if desk.board.setting(f"supply_{n + 1}") == s.BATTERY:
            lowest = desk.figures.get(f"lowest_{item}")
            if lowest is None:
                desk.untested(item, "the board does not measure the battery")
            else:
                judging.battery(desk, item, lowest, True, "the lowest that the board saw while the pump ran")
            return
        value, typed = desk.read(question(desk, "volts_{n}", n + 1))
        judging.volts(desk, item, value, _plate(desk, n, "v"), typed)

    return run


def _idle(n):
    other = 2 - n

    def run(desk):
        desk.yes(f"check_{other}", question(desk, "check_{other}", n + 1), "water came back through the idle pump")

    return run


# Both.


def _both(desk):
    live(desk)
    board = desk.board
    top = "lag" if board.known("lag") else "high"
    if not desk.selectors("off", "off"):
        return
    desk.quiet()
    desk.do("hose_on", f"Both pumps rest: with the hose open let the pit fill to `{top}`. Stand by the tap.")
    desk.guard = top != "high"
    if not desk.until(f"`{top}` wet", lambda: board.wet(top), WATER_S):
        return
    begin = board.ms
    if not desk.selectors("auto", "auto"):
        return
    if not desk.until("both pumps to run", lambda: board.on(0) and board.on(1), 120.0):
        return
    if desk.promise.draw_m3 is None:
        _by_bucket(desk, BOTH, begin)
        _both_amps(desk, begin)
        return
    what = "a draw-down by both, and the fill after it"
    if not desk.until(what, lambda: _seen(board, begin, 3, 1), WATER_S):
        return
    pumped, inflow = _rate(desk, "rate_both", BOTH, begin)
    _both_amps(desk, begin)
    judging.refill(desk, "refill_both", board.since(begin), inflow, pumped)


def _both_amps(desk, begin):
    down = measure.draw_down(desk.board.since(begin), 3)
    values = [_sensed_both(desk, n, begin, down) for n in (0, 1)]
    if None not in values:
        judging.both_amps(desk, values, [desk.show(value, "current") for value in values], "board")


def _sensed_both(desk, n, begin, down):
    if desk.board.setting("sensing") != s.SENSE_CURRENT:
        return None
    begin, end = down or (begin, desk.board.ms)
    found = measure.amps(desk.board.amps, n, begin, end)
    return 0.0 if found is None else found / desk.promise.per_amp[n]


def _clamp_both(desk):
    values = []
    for n in (0, 1):
        values.append(desk.read(question(desk, "clamp_both_{n}", n + 1)))
    judging.both_amps(desk, [value for value, _ in values], [typed for _, typed in values], "person")


def _volts_both(desk):
    on_mains = [n for n in (0, 1) if desk.board.setting(f"supply_{n + 1}") != s.BATTERY]
    if not on_mains:
        desk.put("volts_both", NOTED, "both run on the battery", by="board", note="see the volts of each")
        return
    value, typed = desk.read(question(desk, "volts_both"))
    judging.volts(desk, "volts_both", value, _plate(desk, on_mains[0], "v"), typed)


def _leaks(desk):
    desk.yes("leaks", question(desk, "leaks"), "leaks")


def _outlet(desk):
    desk.yes("outlet", question(desk, "outlet"), "poor flow at the outlet")


def _steps():
    for n in (0, 1):
        p, other = n + 1, 2 - n
        rate, amps, ran = f"rate_{p}", f"amps_{p}", _ran(f"rate_{p}")
        why = "Each must carry the inflow by itself: that is what two are for."
        yield Step(f"pump_{p}", f"Pump {p} alone", why, (rate, amps, f"refill_{p}"), _run_alone(n), None, LIVE)
        yield Step(f"clamp_{p}", f"Amps of pump {p}", "Amps tell jammed from dry.", (amps,), _clamp(n),
                   _clamp_fits(amps, rate))  # fmt: skip
        why = "Low volts under load: a bad cable or terminal."
        yield Step(f"volts_{p}", f"Volts at pump {p}", why, (f"volts_{p}",), _volts(n), ran)
        why = "A leaking check valve eats the other pump's work."
        yield Step(f"idle_{other}", f"The idle check valve {other}", why, (f"check_{other}",), _idle(n), ran)
    items, ran = ("rate_both", "amps_both", "refill_both"), _ran("rate_both")
    yield Step("both", "Both pumps", "Together they are the reserve for the worst hour.", items, _both, None, LIVE)
    why = "Two motors on one supply pull its volts down."
    yield Step("clamp_both", "Amps of both", why, ("amps_both",), _clamp_both, _clamp_fits("amps_both", "rate_both"))
    yield Step("volts_both", "Volts with both", why, ("volts_both",), _volts_both, ran)
    yield Step("leaks", "Leaks", "Water that leaks back is pumped again.", ("leaks",), _leaks)
    yield Step("outlet", "The outlet", "A blocked outlet stops both pumps.", ("outlet",), _outlet)


STEPS = tuple(_steps())
