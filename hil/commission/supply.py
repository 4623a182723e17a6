"""The supply: battery, power cut in mid draw-down and ten minutes on battery, breakers and ground-fault devices."""

from duplexsump.control import settings as s
from duplexsump.control.pump import CAUSES, THERMAL_OPEN

from hil.commission import judging, pump_supply
from hil.commission.measure import SETTLE_MS
from hil.commission.pumping import STAND, WATER_S
from hil.commission.questions import question
from hil.commission.step import PUMPS_LIVE, Step
from hil.commission.step_context import Skipped
from hil.record.items import FAIL, NOTED, PASS

ON_BATTERY_S = 600.0
CUT_S = 600.0  # a helper has to walk to the switch
TAKES_OVER_S = 60.0
REST_MS = 10000  # after its pump has stopped; a battery settles for hours, but the sag of the load is gone
LOST = (1, 2)  # CAUSES of a pump without current: failed to start, run lost
SUPPLY_CAUTION = (
    "Only qualified persons work at the panel; its covers stay on. Ventilate the battery: it gives off gas while it "
    "charges. While the power is out no mains pump runs: shut the hose before the water nears the floor."
)


def _has_battery(context):
    board = context.board
    if board.values["battery"] > 1000 or board.on_battery(0) or board.on_battery(1):
        return ""
    return "no battery installed"


def _battery_start(context):
    board = context.board
    board.look()
    if board.values["battery"] > 1000:
        at_rest = _steady(board, lambda: not any(board.on(n) for n in _on_battery(board)), REST_MS)
        if not context.until("the battery to rest", at_rest, WATER_S):
            return
        charging = "on its charger" if board.states["charging"] else ""
        judging.battery(context, "battery_start", board.values["battery"] / 1000.0, False, charging)
        return
    _by_meter(context, "battery_start", "battery_volts")


def _on_battery(board):
    return [n for n in (0, 1) if board.on_battery(n)]


def _by_meter(context, item, key):
    value, typed = context.read(question(context, key))
    limit = context.board.setting("battery_low") / 1000.0
    verdict = PASS if value >= limit else FAIL
    least = f"at least {limit:g} V"
    context.quantity(item, value, "voltage", verdict, "person", note=f"as typed: {typed}", limit=least)


def _power_cut(context):
    board = context.board
    if not context.selectors("auto", "auto"):
        return
    context.quiet()
    context.do("hose_on", "Open the hose.  The pumps start by themselves.")
    while True:
        context.do("stand_by_switch", "Have your helper at the main switch of pumps and controller, ready to switch it "
                "off in mid draw-down.")  # fmt: skip
        mains = _on_mains(board)
        if not context.until("a pump on the mains to run", lambda: any(board.on(n) for n in mains), WATER_S):  # noqa: B023
            return
        context.do("cut", f"Pump {board.running()} runs: CUT THE POWER NOW.")
        ran = [board.running()]

        def cut(ran=ran):
            if board.client is not None and board.states["mains"]:
                ran[0] = board.running()
            return board.client is None or not board.states["mains"]

        if not context.until("the power to go out", cut, CUT_S, quiet=True):
            return
        if ran[0] != "none":
            break
        context.say("   The power went out while no pump ran.  Restore it, and try again.")
        context.do("restore", "Switch the power on again.  The pumps start by themselves.")
        context.until("the power to return", lambda: board.client and board.states["mains"], CUT_S, quiet=True)
    words = [f"cut while pump {ran[0]} ran"]
    good = _while_out(context, words) if board.client is not None else _dark(words)
    if "battery_10_min" not in context.items:
        context.untested("battery_10_min", _has_battery(context) or "the controller lost power with the mains")
    good = _back(context, words) and good
    context.put("power_cut", PASS if good else FAIL, "; ".join(words), by="board")


def _steady(board, holds, ms):
    # A predicate that comes true once `holds()` has been true for so long without a break.
    since = [None]

    def settled():
        if not holds():
            since[0] = None
        elif since[0] is None:
            since[0] = board.ms
        return since[0] is not None and board.ms - since[0] >= ms

    return settled


def _on_mains(board):
    return [n for n in (0, 1) if board.setting(f"supply_{n + 1}") != s.BATTERY] or [0, 1]


def _dark(words):
    words.append("controller lost power")
    return True


def _while_out(context, words):
    # The controller runs on its battery; a pump that may run on it must take over.
    board, begin = context.board, context.board.ms
    words.append("controller kept running")
    on_battery, good = _on_battery(board), True
    if on_battery:
        good = context.until("the battery pump to start", lambda: any(board.on(n) for n in on_battery), TAKES_OVER_S)
        words.append(f"pump {board.running()} on battery after {(board.ms - begin) / 1000.0:.0f} s" if good
                     else "no pump on battery")  # fmt: skip
    grace_s = board.setting("mains_grace") / 1000.0  # A4: a short outage is no alarm
    told = context.until(f'the alarm "mains lost", {grace_s:.0f} s after the cut',
                         lambda: board.alarm("mains_lost"), grace_s + 60.0)  # fmt: skip
    words.append("mains-lost alarm" if told else "NO mains-lost alarm")
    _ten_minutes(context, begin)
    return good and told


def _ten_minutes(context, begin):
    board = context.board
    if _has_battery(context):
        return
    left = ON_BATTERY_S - (board.ms - begin) / 1000.0
    context.say(f"   {ON_BATTERY_S / 60:.0f} min on battery.  Watch the water and the hose meanwhile; "
             "skip, with a reason, ends it.")  # fmt: skip
    try:
        if not context.watch(left, "the ten minutes on battery"):
            context.put("battery_10_min", FAIL, "recorded as a fault by the person", by="person", note=context.where())
            return
    except Skipped as skipped:
        context.untested("battery_10_min", skipped.reason)
        context.say(f"   Not tested: {skipped.reason}.")
        return
    if board.values["battery"] > 1000:
        loaded = _under_load(context)
        judging.battery(context, "battery_10_min", board.values["battery"] / 1000.0, loaded,
                        f"{(board.ms - begin) / 60000.0:.0f} min after the cut")  # fmt: skip
        return
    _by_meter(context, "battery_10_min", "battery_later")


def _under_load(context):
    # A battery shows most under its pump's load, once the inrush is over; returns whether one runs.
    board, on_battery = context.board, _on_battery(context.board)
    runs = _steady(board, lambda: any(board.on(n) for n in on_battery), SETTLE_MS)
    return bool(on_battery) and context.until("the battery pump to run", runs, WATER_S)


def _back(context, words):
    # The supply returns; a pump must be at work again without anybody's help.
    board = context.board
    dark = board.client is None
    context.do("restore", "Switch the power on again.  The pumps start by themselves.")
    if not context.until("the power to return", lambda: board.client and board.states["mains"], CUT_S, quiet=True):
        words.append("power did not return")
        return False
    begin = board.ms
    if dark:
        words.append("restarted at power-up" if board.values["reset_cause"] == 0 else "never lost power")
    good = context.until("a pump on the mains to run again",
                         lambda: any(board.on(n) for n in _on_mains(board)), WATER_S)  # fmt: skip
    after = f"{(board.ms - begin) / 1000.0:.0f} s after the return"
    words.append(f"pump {board.running()} ran at the next fill, {after}" if good else "no pump ran after the return")
    return good


def _trip(n):
    p = n + 1

    def run(context):
        board = context.board
        if board.setting("sensing") == s.SENSE_NOTHING:
            good = context.ask(question(context, "device_{n}", p, how=pump_supply.device(board, n)))
            note = "the controller senses neither current nor run feedback: it cannot name a pump without power"
            shown = "cuts the pump off, and holds when restored" if good else "does not cut it off, or does not hold"
            context.put(f"trip_{p}", NOTED if good else FAIL, shown, by="person", note=note)
            return
        context.do("hose_on", "Open the hose.  The pumps start by themselves.")
        if not context.until("`off` to read wet", lambda: board.wet("off") or not board.known("off"), WATER_S):
            return
        if not context.selectors(*_alone(n, "hand")):
            return
        context.quiet()
        if not context.until(f"pump {p} to run in HAND", lambda: board.on(n), 180.0):
            return
        _cut_off(context, n)

    return run


def _cut_off(context, n):
    # A fuse goes out and back in with the pump stopped: under load it sparks.
    p, board, stopped = n + 1, context.board, pump_supply.stopped_first(context.board, n)
    if stopped and not context.selectors(*_alone(n, "off")):
        return
    context.do(f"trip_{p}", pump_supply.sentence(pump_supply.trip(board, n)))
    if stopped and not context.selectors(*_alone(n, "hand")):
        return
    named = context.until(f"the controller to name a fault of pump {p}", lambda: _named(board, n),
                          180.0 if stopped else 60.0)  # fmt: skip
    shown = _words(board, n) if named else "no fault named"
    heat = named and board.hot(n) and _cause(board, n) == THERMAL_OPEN
    verdict = PASS if named and (_mains_out(board) or _cause(board, n) in LOST) else FAIL
    if stopped and not context.selectors(*_alone(n, "off")):
        return
    back = pump_supply.sentence(pump_supply.restore(board, n))
    context.do(f"untrip_{p}", f"{back}  The pump may start by itself.")
    note = "" if verdict == PASS else "not named as a loss of power"
    cool = f"the thermal contact of pump {p} to read closed again"
    if heat and context.until(cool, lambda: not board.hot(n), 60.0):
        # Open with the device, closed with it: the relay of the motor's thermal contact hangs on it.
        verdict, note = PASS, "named as heat: relay KT drops with this breaker, GFCI or fuse"
    _reset_pump(context, n)
    context.put(f"trip_{p}", verdict, shown, by="board", note=note)


def _alone(n, place):
    # The selectors with that of pump n at a place of its own.
    return tuple(place if i == n else "auto" for i in (0, 1))


def _cause(board, n):
    return board.values[f"pump_{n + 1}_cause"]


def _named(board, n):
    named = board.alarm(f"pump_{n + 1}_unavailable") and not board.on(n) and _cause(board, n)
    return bool(named) or _mains_out(board)


def _mains_out(board):
    # At once, where the alarm waits for mains_grace.
    return not board.states["mains"]


def _words(board, n):
    if _mains_out(board):
        return "mains lost: the device feeds the controller's mains input too"
    return f"pump {n + 1} fault: {CAUSES[_cause(board, n)]}"


def _reset_pump(context, n):
    # Its rest after a trip would last ten minutes: a reset ends it (R4).
    board = context.board
    context.selectors("auto", "auto")
    context.do("reset", "Press the reset button.")
    name = f"pump_{n + 1}_unavailable"
    context.until(f"pump {n + 1} to be available again", lambda: not board.alarm(name), 120.0)
    context.quiet()


def _tripped(context):
    bad = context.ask(question(context, "tripped"))
    if bad:
        which = context.ask(question(context, "which_tripped"))
        context.put("tripped", FAIL, which, by="person", note="an electrician must find the cause")
        return
    context.put("tripped", PASS, "none", by="person")
    context.do("hose_off", "Shut the hose.")


STEPS = (
    Step("battery_start", "The battery at rest", "The resting voltage is the baseline for the one under load.",
         ("battery_start",), _battery_start, _has_battery, PUMPS_LIVE),
    Step("power_cut", "The power cut", "The storm that floods the basement takes the power out.",
         ("power_cut", "battery_10_min"), _power_cut, None, PUMPS_LIVE, f"{STAND} {SUPPLY_CAUTION}"),
    *(Step(f"trip_{n + 1}", f"Breaker, GFCI or fuse of pump {n + 1}",
           "The controller must name the pump that lost power.", (f"trip_{n + 1}",), _trip(n), None, PUMPS_LIVE,
           SUPPLY_CAUTION) for n in (0, 1)),
    Step("tripped", "Nuisance trips", "What trips or blows without a fault does so in the storm.",
         ("tripped",), _tripped, None, PUMPS_LIVE),
)  # fmt: skip
