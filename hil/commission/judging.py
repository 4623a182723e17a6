"""Verdicts on a measured rate, current, voltage or refill: limits with their sources, and the item recorded."""

from hil.bench.verdict import judge, worst
from hil.commission import measure
from hil.record.items import FAIL, NOTED, PASS

# Shares of the sizing's rate.  Common practice, no source: a pump below 80 % of what was sized is worn or throttled.
LEAST_RATE, MOST_RATE, NEAR_RATE = 0.80, 1.40, 0.10
# Shares of the nameplate amps: over 1.15 eats the service factor of a small motor, under 0.5 it does not pump.
# Common practice, no source.
LEAST_AMPS, MOST_AMPS, NEAR_AMPS = 0.50, 1.15, 0.15
# Supply volts of the nameplate's: within 10 % motors must run (NEMA MG 1, 12.44, from memory); the last half is
# marginal.
WITHIN_VOLTS, NEAR_VOLTS = 0.10, 0.05
# Refill time over what the inflow alone takes: half of it means that as much ran back.  Common practice, no source.
LEAST_REFILL, NEAR_REFILL = 0.5, 0.25
NEAR_BATTERY_V = 0.3  # common practice, no source


def rate(context, item, value, place, times):
    """Record a pumped rate against the sizing; `place` is 0, 1 or BOTH, `times` says how it was timed."""
    promised = context.expected.rates_m3s[place]
    by = "person" if times.startswith("as typed") else "board"
    if promised is None:
        context.quantity(item, value, "flow", NOTED, by, note=f"no sized rate to compare with; {times}")
        return
    share = value / promised
    note = f"{share * 100:.0f} % of the sizing; {times}"
    if share > MOST_RATE:
        note += "; above the sized rate: are the floats at the sized heights?"
    low, high = LEAST_RATE * promised, MOST_RATE * promised
    limit = f"sized {context.show(promised, 'flow')}, {context.show(low, 'flow')} to {context.show(high, 'flow')}"
    context.quantity(item, value, "flow", judge(share, LEAST_RATE, MOST_RATE, NEAR_RATE), by, note=note, limit=limit,
                  low=low, high=high)  # fmt: skip


def amps(context, item, value, plate, by, note=""):
    """Record a motor's current against its nameplate."""
    share = value / plate
    context.quantity(item, value, "current", _of_amps(share), by, note=note or f"{share * 100:.0f} % of nameplate",
                  limit=f"nameplate {context.show(plate, 'current')}, 50 to 115 %", low=LEAST_AMPS * plate,
                  high=MOST_AMPS * plate)  # fmt: skip


def _of_amps(share):
    return judge(share, LEAST_AMPS, MOST_AMPS, NEAR_AMPS)


def both_amps(context, values, shown, by):
    """Record the currents of both motors running together; without a nameplate current they are only noted."""
    plates = context.expected.plate_a
    text = ", ".join(f"{n + 1}: {shown[n]}" for n in (0, 1))
    if None in plates:
        context.put("amps_both", NOTED, text, by=by, value=list(values), unit="A")
        return
    verdict = worst([_of_amps(values[n] / plates[n]) for n in (0, 1)])
    limit = f"nameplates {context.show(plates[0], 'current')} and {context.show(plates[1], 'current')}, 50 to 115 %"
    context.put("amps_both", verdict, text, by=by, limit=limit, value=list(values), unit="A")


def volts(context, item, value, plate, typed):
    """Record the supply voltage under load against the nameplate."""
    low, high = 1.0 - WITHIN_VOLTS, 1.0 + WITHIN_VOLTS
    context.quantity(item, value, "voltage", judge(value / plate, low, high, NEAR_VOLTS), "person",
                  note=f"as typed: {typed}", low=low * plate, high=high * plate,
                  limit=f"nameplate {plate:g} V, within 10 %")  # fmt: skip


def battery(context, item, value, loaded, note=""):
    """Record a battery's voltage against the controller's settings for it, under load or at rest."""
    limit = context.board.setting("battery_loaded" if loaded else "battery_low") / 1000.0
    word = "under load" if loaded else "at rest"
    context.quantity(item, value, "voltage", judge(value, limit, None, NEAR_BATTERY_V), "board", low=limit, note=note,
                  limit=f"{word}, at least {limit:g} V")  # fmt: skip


def refill(context, item, changes, inflow, pumped):
    """Record the refill after a stop: faster than the inflow means water back through the check valve."""
    found, again, filled = context.expected, measure.refill(changes), measure.fill(changes)
    if again is None:
        context.untested(item, "the off float did not read wet again")
        return
    took = again[1] - again[0]
    shown = f"off float wet again after {took / 1000.0:.1f} s"
    if found.refill_m3:
        share = measure.refill_share(took, found.refill_m3, inflow, pumped, context.board.setting("debounce"))
        verdict = judge(share, LEAST_REFILL, None, NEAR_REFILL)
        context.put(item, verdict, shown, by="board", value=took / 1000.0, unit="s",
                 note=f"{share * 100:.0f} % of the time that the hose alone takes",
                 limit=f"at least {LEAST_REFILL * 100:.0f} %: less is water back through the check valve")  # fmt: skip
        return
    # The controller's own rule (J3), for a pit whose heights are not given.
    quick = took < 15000 and filled and filled[1] - filled[0] > 20 * took
    context.put(item, FAIL if quick else PASS, shown, by="board", value=took / 1000.0, unit="s",
             limit="not under 15 s and under a twentieth of the fill time")  # fmt: skip


