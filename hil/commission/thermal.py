"""The thermal contacts, where motors bring theirs out: each relay dropped once, and read by the controller."""

from hil.commission import pump_supply
from hil.commission.questions import question
from hil.commission.step import PUMPS_DEAD, Step
from hil.record.items import FAIL, NOTED, PASS

FITTED = {"none": (), "no": (), "1": (0,), "2": (1,), "both": (0, 1), "1 and 2": (0, 1)}
HAND_S = 180.0


def _thermal(context):
    while (said := str(context.ask(question(context, "thermal"))).strip().lower()) not in FITTED:
        context.say("   Please answer none, 1, 2 or both.")
    if not FITTED[said]:
        context.put("thermal", NOTED, "none brought out: both terminals bridged", by="person")
        return
    words = [_dropped(context, n) for n in FITTED[said]]
    good = all(read for read, _ in words)
    context.put("thermal", PASS if good else FAIL, "; ".join(text for _, text in words), by="board",
                note="" if good else "a bridge left in, or a wrong contact")  # fmt: skip


def _dropped(context, n):
    # The pump is dead already: what feeds its coil circuit is switched off, its relay drops, the input reads hot.
    board, p = context.board, n + 1
    board.look()
    if board.hot(n):
        return False, f"pump {p} reads hot before anything is switched"
    context.do(f"drop_{p}", pump_supply.sentence(pump_supply.drop_relay(board, n)))
    read = context.until(f"the thermal contact of pump {p} to read open", lambda: board.hot(n), HAND_S)
    context.do(f"undrop_{p}", pump_supply.sentence(pump_supply.restore(board, n)))
    back = context.until(f"the thermal contact of pump {p} to read closed", lambda: not board.hot(n), HAND_S)
    if not read:
        return False, f"pump {p} never read hot"
    return back, f"pump {p} read {'hot, and cool again' if back else 'hot, and stayed so'}"


STEP = Step("thermal", "Thermal contacts", "A bridge forgotten at a thermal terminal shows here and nowhere else.",
            ("thermal",), _thermal, None, PUMPS_DEAD)  # fmt: skip
