"""With the hose on: each pump alone, then both; rate, amps, volts, check valves, refill, leaks, outlet."""

from duplexsump.control import settings as s

from hil.commission import judging, measure, pump_supply
from hil.commission.expected_values import BOTH
from hil.commission.questions import question
from hil.commission.step import DONE, PUMPS_LIVE, Step
from hil.record.items import NOT_TESTED, NOTED

WATER_S = 900.0  # a garden hose fills a narrow pit from off to lead in a minute or two
RUN_S = 300.0
DRAWS = 8.0  # two draw-downs, against an inflow and a hose that leave a quarter of the pump's rate; our own choice
STAND = "Stand dry, and let nobody lean over the pit while a pump can start."


# One pump alone.


def _run_alone(n):
    def run(context):
        board = context.board
        if not context.selectors("off", "off"):
            return
        context.do("meters", f"For the meters, {pump_supply.isolate(board, n)}.  Only then "
                   f"{pump_supply.meters(board, n)}.  "
                   f"{pump_supply.sentence(pump_supply.reconnect(board, n))}  Step back.")  # fmt: skip
        if not context.selectors(*("auto" if i == n else "off" for i in (0, 1))):
            return
        context.quiet()
        board.look()
        begin = board.ms
        if n == 0:
            context.do("hose_on", "Hang the hose in the pit from above, away from the floats, open it, and leave it "
                    f"running.  Pump {n + 1} starts by itself.")  # fmt: skip
        else:
            context.do("hose_on", "Leave the hose running; open it again if it is shut.  "
                    f"Pump {n + 1} starts by itself.")  # fmt: skip
        if not context.until(f"pump {n + 1} to start", lambda: board.on(n), WATER_S):
            return
        context.do("look", f"While it runs, read the meters; look at the outlet outside, and from above at pump "
                f"{2 - n}, which must not turn.")  # fmt: skip
        if context.expected.draw_m3 is None:
            _by_bucket(context, n, begin)
            return
        two = f"two draw-downs by pump {n + 1}, and the fill between them"
        if not context.until(two, lambda: _seen(board, begin, 1 << n, 2), _limit_s(context, n)):
            _amps(context, n, begin)
            return
        pumped, inflow = _rate(context, f"rate_{n + 1}", n, begin)
        _amps(context, n, begin)
        _lowest_battery(context, n, begin)
        judging.refill(context, f"refill_{n + 1}", board.since(begin), inflow, pumped)

    return run


def _limit_s(context, place):
    # A deep pit and a small pump take longer than the usual ones.
    volume, rate = context.expected.draw_m3, context.expected.rates_m3s[place]
    return WATER_S + RUN_S + (DRAWS * volume / rate if rate else 0.0)


def _seen(board, begin, pumps, draws):
    # Draw-downs by just these pumps; before the last one, or after the only one, a fill; at the end the refill.
    changes = board.since(begin)
    drawn, filled, again = measure.draw_down(changes, pumps), measure.fill(changes), measure.refill(changes)
    if not (drawn and filled and again):
        return False
    if draws == 2:
        return filled[1] <= drawn[0] and again[0] >= drawn[1]
    return filled[0] >= drawn[1]


def _rate(context, item, place, begin):
    changes, found = context.board.since(begin), context.expected
    drawn, filled = measure.draw_down(changes, (1, 2, 3)[place]), measure.fill(changes)
    inflow = measure.inflow_m3s(filled[1] - filled[0], found.fill_m3)
    pumped = measure.rate_m3s(drawn[1] - drawn[0], found.draw_m3, inflow)
    times = f"draw-down {(drawn[1] - drawn[0]) / 1000.0:.1f} s with {context.show(inflow, 'flow')} coming in"
    judging.rate(context, item, pumped, place, times)
    return pumped, inflow


def _by_bucket(context, place, begin):
    # Without two contacts that the water passes, the board cannot time it.
    item = "rate_both" if place == BOTH else f"rate_{place + 1}"
    value, typed = context.read(question(context, "bucket_{n}", item))
    judging.rate(context, item, value, place, f"as typed: {typed}")
    if place != BOTH:
        _amps(context, place, begin)
        _lowest_battery(context, place, begin)


def _amps(context, n, begin):
    # By the board's own sensor, where it has one; else the clamp is asked for in a step of its own.
    value = _sensed(context, n, begin)
    if value is not None:
        judging.amps(context, f"amps_{n + 1}", value, context.expected.plate_a[n], "board")


def _sensed(context, n, begin):
    board = context.board
    if board.setting("sensing") != s.SENSE_CURRENT:
        return None
    started = [ms for ms, name, value in board.since(begin) if name == f"pump_{n + 1}" and value]
    found = measure.amps(board.amps, n, (started[-1] if started else begin) + measure.SETTLE_MS, board.ms)
    return 0.0 if found is None else found / context.expected.per_amp[n]


def _lowest_battery(context, n, begin):
    seen = [mv for ms, pump, mv in context.board.battery if pump == n and ms >= begin and mv]
    if seen:
        context.figures[f"lowest_volts_{n + 1}"] = min(seen) / 1000.0


def _ran(item):
    # A question about a run makes no sense where the run was skipped.
    def fits(context):
        before = context.items.get(item, {})
        return f"not run: {before.get('why', '')}" if before.get("verdict") == NOT_TESTED else ""

    return fits


def _clamp_fits(item, ran):
    def fits(context):
        if context.items.get(item, {}).get("by"):
            return DONE
        return _ran(ran)(context)

    return fits


def _clamp(n):
    def run(context):
        value, typed = context.read(question(context, "clamp_{n}", n + 1))
        judging.amps(context, f"amps_{n + 1}", value, _plate(context, n, "a"), "person", f"as typed: {typed}")

    return run


def _plate(context, n, which):
    # From the sizing; else from the person, once for all steps.
    given = (context.expected.plate_a if which == "a" else context.expected.plate_v)[n]
    kept = context.figures.get(f"plate_{which}_{n + 1}")
    if given or kept:
        return given or kept
    value, _ = context.read(question(context, "plate_{n}" if which == "a" else "plate_volts_{n}", n + 1))
    context.figures[f"plate_{which}_{n + 1}"] = value
    return value


def _volts(n):
    def run(context):
        item = f"volts_{n + 1}"
        if context.board.setting(f"supply_{n + 1}") == s.BATTERY:
            lowest = context.figures.get(f"lowest_{item}")
            if lowest is None:
                context.untested(item, "the controller does not measure the battery")
            else:
                judging.battery(context, item, lowest, True, "lowest reading while the pump ran")
            return
        value, typed = context.read(question(context, "volts_{n}", n + 1))
        judging.volts(context, item, value, _plate(context, n, "v"), typed)

    return run


def _idle(n):
    other = 2 - n

    def run(context):
        asked = question(context, "check_{other}", n + 1)
        context.yes(f"check_{other}", asked, "water came back through the idle pump")

    return run


# Both.


def _both(context):
    board = context.board
    top = "lag" if board.known("lag") else "high"
    if not context.selectors("off", "off"):
        return
    context.quiet()
    context.do("hose_on", f"Both selectors are at OFF: with the hose open let the pit fill to `{top}`.  Stand at the "
            "faucet.  At AUTO both pumps start.")
    context.guard = top != "high"
    if not context.until(f"`{top}` to read wet", lambda: board.wet(top), WATER_S):
        return
    begin = board.ms
    if not context.selectors("auto", "auto"):
        return
    if not context.until("both pumps to run", lambda: board.on(0) and board.on(1), 120.0):
        return
    if context.expected.draw_m3 is None:
        _by_bucket(context, BOTH, begin)
        _both_amps(context, begin)
        return
    context.do("look", "While both run, read the meters, and look at the outlet outside.")
    what = "a draw-down by both, and the fill after it"
    if not context.until(what, lambda: _seen(board, begin, 3, 1), WATER_S):
        return
    pumped, inflow = _rate(context, "rate_both", BOTH, begin)
    _both_amps(context, begin)
    judging.refill(context, "refill_both", board.since(begin), inflow, pumped)


def _both_amps(context, begin):
    down = measure.draw_down(context.board.since(begin), 3)
    values = [_sensed_both(context, n, begin, down) for n in (0, 1)]
    if None not in values:
        judging.both_amps(context, values, [context.show(value, "current") for value in values], "board")


def _sensed_both(context, n, begin, down):
    if context.board.setting("sensing") != s.SENSE_CURRENT:
        return None
    begin, end = down or (begin, context.board.ms)
    found = measure.amps(context.board.amps, n, begin, end)
    return 0.0 if found is None else found / context.expected.per_amp[n]


def _clamp_both(context):
    values = []
    for n in (0, 1):
        values.append(context.read(question(context, "clamp_both_{n}", n + 1)))
    judging.both_amps(context, [value for value, _ in values], [typed for _, typed in values], "person")


def _volts_both(context):
    on_mains = [n for n in (0, 1) if context.board.setting(f"supply_{n + 1}") != s.BATTERY]
    if not on_mains:
        context.put("volts_both", NOTED, "both run on the battery", by="board", note="see the volts of each")
        return
    value, typed = context.read(question(context, "volts_both"))
    judging.volts(context, "volts_both", value, _plate(context, on_mains[0], "v"), typed)


def _leaks(context):
    context.yes("leaks", question(context, "leaks"), "leaks")


def _outlet(context):
    context.yes("outlet", question(context, "outlet"), "poor flow at the outlet")


def _steps():
    for n in (0, 1):
        p, other = n + 1, 2 - n
        rate, amps, ran = f"rate_{p}", f"amps_{p}", _ran(f"rate_{p}")
        why = "Each must carry the inflow by itself: that is what two are for."
        yield Step(f"pump_{p}", f"Pump {p} alone", why, (rate, amps, f"refill_{p}"), _run_alone(n), None, PUMPS_LIVE,
                   STAND)  # fmt: skip
        yield Step(f"clamp_{p}", f"Amps of pump {p}", "Amps tell a jammed pump from a dry one.", (amps,), _clamp(n),
                   _clamp_fits(amps, rate), PUMPS_LIVE)  # fmt: skip
        why = "Low volts under load: a bad cable or terminal."
        yield Step(f"volts_{p}", f"Volts at pump {p}", why, (f"volts_{p}",), _volts(n), ran, PUMPS_LIVE)
        why = "A leaking check valve wastes the other pump's work."
        yield Step(f"idle_{other}", f"Check valve {other}, its pump idle", why, (f"check_{other}",), _idle(n), ran,
                   PUMPS_LIVE)  # fmt: skip
    items, ran = ("rate_both", "amps_both", "refill_both"), _ran("rate_both")
    yield Step("both", "Both pumps", "Together they are the reserve in the worst hour.", items, _both, None,
               PUMPS_LIVE, STAND)  # fmt: skip
    why = "Two motors on one supply pull its volts down."
    yield Step("clamp_both", "Amps of both", why, ("amps_both",), _clamp_both, _clamp_fits("amps_both", "rate_both"),
               PUMPS_LIVE)  # fmt: skip
    yield Step("volts_both", "Volts with both", why, ("volts_both",), _volts_both, ran, PUMPS_LIVE)
    yield Step("leaks", "Leaks", "Water that leaks back is pumped again.", ("leaks",), _leaks, None, PUMPS_LIVE)
    yield Step("outlet", "The outlet", "A blocked outlet stops both pumps.", ("outlet",), _outlet, None, PUMPS_LIVE)


STEPS = tuple(_steps())
