"""The seam between level and duty: what each may count on from the other when it is searched alone.

The level (belief, demand, blind pumping) and the duty (pair, gate, flood
retries, pumps) are searched one without the other; each stands before the other as
anything that keeps these rules.  The search of each part checks that it keeps its
own rules at every step, whatever the other does within the other's; the search of the
whole pair and the campaign check both on the real firmware.  So what holds in
both parts holds for the two together.

A view of the level is (demand, asks): pumps asked for by the level, and 0, or, while a
blind run asks, 1 + the pump whose blind turn it is, and 2 more where the run takes both.
"""

from duplexsump.control.blind import Blind
from duplexsump.control.pump import FLOOD_TRIAL, RETRY, Pump
from duplexsump.control.records import HIGH, LAG, LEAD

# Demands that may follow each, by the contact off alone.
_ALONE = ((0,), (0, 1, 2), (0, 2))


def view(pump: Pump) -> tuple:
    """Return what the pair sees of a pump: (state, held, trial)."""
    return pump.state, pump.held, pump.trial


def demands(before: int, wet: int) -> tuple:
    """Return the demands that may follow `before` with the contacts `wet` believed wet at the end of the step (D1).

    Two pumps may be asked for without lag believed wet: by R2, or because lag became suspect in this very step (L3).
    """
    if wet & (LAG | HIGH):
        return (2,)
    if wet & LEAD:
        if before == 2:
            return (2,)
        return (1, 2)
    return _ALONE[before]


def level_breach(before: tuple, after: tuple, wet: int, out_before: int):
    """Return what the level did against its rules in one step, or None.

    `before`, `after`: views; `wet`: contacts believed wet at the end of the
    step; `out_before`: mask of the pumps that were on at its beginning.
    """
    demand: int = after[0]
    asked: int = after[1]
    if demand not in demands(before[0], wet):
        return f"demand {before[0]} became {demand} with {wet} believed wet"
    if demand and asked:
        return f"a blind run asks for a pump beside a demand for {demand}"
    if asked and not before[1] and out_before:
        return f"a blind run begins while pumps {out_before} are on"
    if asked and before[1] and asked != before[1]:
        return "the blind turn changed in mid-run"
    return None


def asks(blind: Blind) -> int:
    """Return what blind pumping asks for, as a view has it."""
    return 1 + blind.turn + 2 * blind.both if blind.wants() else 0


def duty_breach(view: tuple, out_before: int, out: int, held: int):
    """Return what the duty did against its rules in one step, or None.

    `view`: the level's in this step; `out_before`, `out`: masks of the pumps on;
    `held`: mask of the pumps within their shortest run (S3).
    """
    demand: int = view[0]
    asked: int = view[1]
    if demand:
        return None
    if out & ~held and not asked:
        return f"pumps {out & ~held} stay on unasked beyond their shortest run"
    if out & ~out_before and not asked:
        return f"pumps {out & ~out_before} start unasked"
    if asked in (1, 2) and out == 3:
        return "both pumps run for a blind run of one"
    return None


def keeps_waiting(pumps: list, out: int) -> int:
    """Return the mask of pumps on that R3's next try has to wait for.

    A try that goes on without a current to be seen keeps nobody waiting, nor does one that runs
    in no try beside one that is out.  `pumps`: the two; `out`: mask of the pumps on.
    """
    one: Pump = pumps[0]
    two: Pump = pumps[1]
    if one.silent:
        out &= ~1
    if two.silent:
        out &= ~2
    if out == 1 and not one.held and two.state >= RETRY:
        return 0
    if out == 2 and not two.held and one.state >= RETRY:
        return 0
    return out


def flood_breach(out: int, trials: list, counting: int):
    """Return what the flood retries did against their rules by the end of a step, or None.

    `out`: mask of the pumps that keep a try waiting; `trials`: each pump's; `counting`: whether the next
    try is being counted down to.  A try of S4 may wait beside it, of a pump that could not use it.
    """
    if counting and (out or FLOOD_TRIAL in trials):
        return f"a try is counted down to with pumps {out} on and tries {trials} outstanding"
    return None
