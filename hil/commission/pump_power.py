"""The pumps' power: dead and proved dead before hands go into the pit, or live and said so.

Isolation is tried before it is trusted, as lockout practice has it (OSHA 29 CFR
1910.147(d)(6), from memory: verify before work begins).  The proof is the
board's and the person's: in HAND it switches the pump on, no current comes, and
nothing hums or moves.  The board's reading alone proves nothing: a dead sensor
reads no current either.
"""

from duplexsump.control import settings as s
from duplexsump.control.pump import FAILED_START, RETRY, RUN_LOST, STARTING

from hil.commission import pump_supply
from hil.commission.questions import question

PROVED_DEAD = "Both pumps are cut off and proved dead"
WILL_START = "Both pumps are live and will start by themselves"
DEAD_LINE = f"   {PROVED_DEAD}.  Leave them so: your hands go into the pit in this step."
LIVE_LINE = (
    f"   CAUTION: {WILL_START}, at any moment.  Hands out of the pit; touch no pump and no water, and no cord "
    "except to cut the pump off."
)
NOT_DEAD_YET = (
    "   CAUTION: until both pumps are cut off and proved dead, either may start at any moment.  Hands out of the pit."
)
UNPLUG = ("unplug them, or lock out the disconnect of each; leave breakers on, they feed the coil circuits that the "
          "proof needs")  # fmt: skip
HOT = (
    "   The controller reads the thermal contact of pump {p} open, and does not switch it on: its motor is hot, or its "
    "breaker, GFCI or fuse is off, or the wire at its thermal terminal is open.  With the breaker on and the plug out "
    "or the disconnect locked it can prove the pump dead; go back for that.  Else it is proved by eye."
)
PLUG = "plug them in, or switch their disconnects on"
TRY_S = 240.0  # rest and power-up delay are over by then
PROOF_S = 60.0
RESET_S = 120.0


def dead(context):
    """Have both pumps unplugged and prove it; return False where it was entered as a fault."""
    context.guard = False
    hose_off(context)
    context.board.look()
    if not (context.figures.get("pumps_dead") and _both_off(context.board)):
        context.figures.pop("pumps_dead", None)
        context.say(NOT_DEAD_YET)
        if not _isolate(context):
            return False
        context.figures["pumps_dead"] = True
    context.say(DEAD_LINE)
    return True


def live(context):
    """Have both pumps plugged in with all hands out of the pit, and say that they will start."""
    context.guard = True
    if context.figures.get("pumps_dead") is not False:
        if not let_go(context):
            return False
        context.guard = True
        context.say(LIVE_LINE)
        how = pump_supply.both(context.board, pump_supply.reconnect, PLUG)
        context.do("plug", f"Power both pumps: {how}.  Then step back: from now on they start by themselves.")
        context.ask(question(context, "plugged"))
        context.figures["pumps_dead"] = False
        return True
    context.say(LIVE_LINE)
    return True


def hose_off(context):
    """Have the hose shut where it may be open."""
    if context.figures.get("hose_on"):
        context.do("hose_off", "Shut the hose.")


def let_go(context):
    """Have a float that is still held or tied up let go, with the pumps dead; return False where they are not."""
    held = context.figures.get("held_float")
    if not held:
        return True
    if not dead(context):
        return False
    context.do(f"let_go_{held}", f"Let the `{held}` float go: untie it.")
    return True


def _both_off(board):
    return board.selector(0) == board.selector(1) == "off"


def _isolate(context):
    while True:
        if not context.selectors("off", "off"):
            return False
        how = pump_supply.both(context.board, pump_supply.isolate, UNPLUG)
        context.do("unplug", f"Cut both pumps off: {how}.  The controller stays on, and would start a pump at the "
                   "first float that you lift.")  # fmt: skip
        while not context.ask(question(context, "unplugged")):
            context.say("   Do it first; or skip this step and say why.")
        if not _rested(context):
            return False
        context.say("   Now the proof.  Stay clear of the pit: a pump that you have not really cut off runs now.")
        found = _try(context, 0) and _try(context, 1)
        if not _rested(context):
            return False
        if found is not None:
            return found


def _try(context, n):
    # True: dead; None: it ran, so once more; False: entered as a fault.
    board, p = context.board, n + 1
    before = board.values[f"starts_{p}"]
    if not context.selectors(*("hand" if i == n else "off" for i in (0, 1))):
        return False
    switched = lambda: board.values[f"starts_{p}"] != before  # noqa: E731
    ended = context.until(f"the controller to switch pump {p} on in HAND", lambda: switched() or board.hot(n), TRY_S)
    started = ended and switched()
    if ended and not started:
        context.say(HOT.format(p=p))
    found = _dead_in_hand(context, n) if started else _seen_off(context, n)
    if found is None:
        context.say(f"   STOP: pump {p} RUNS.  It still has power: what you cut off is something else.")
    return False if not context.selectors("off", "off") else found


def _dead_in_hand(context, n):
    board, p = context.board, n + 1
    if board.setting("sensing") != s.SENSE_NOTHING:
        state, cause = f"pump_{p}_state", f"pump_{p}_cause"
        if not context.until(f"the controller to check the current of pump {p}",
                             lambda: board.values[state] != STARTING, PROOF_S):  # fmt: skip
            return False
        if not (board.values[state] >= RETRY and board.values[cause] in (FAILED_START, RUN_LOST)):
            return None
    return True if context.ask(question(context, "stayed_dead_{n}", p)) else None


def _seen_off(context, n):
    # A pump that the controller does not switch on, such as one that is locked out, is proved by eye alone.
    how = pump_supply.seen_off(context.board, n)
    if not context.ask(question(context, "plug_in_sight_{n}", n + 1, how=how)):
        return False
    context.fault = ""
    return True


def _rested(context):
    # A pump that failed to start rests for minutes, or is locked out: a reset ends both (R4).
    board = context.board
    board.look()

    def rested():
        # While its thermal contact is open no reset ends a pump's rest.
        return all(board.values[f"pump_{p}_state"] < RETRY or board.hot(p - 1) for p in (1, 2))

    if rested():
        return True
    context.quiet()
    context.do("reset", "Press the reset button.")
    return context.until("the reset to clear the failed starts", rested, RESET_S)
