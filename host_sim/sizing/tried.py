"""A site document with edits tried on it: the measurements stay, and what was assumed of the old state is gone.

A rise test was made in the pit as it was, with the pumps and the pipe as they
were: a wider pit on paper makes no groundwater.  So the old pit stays in the
document as `sizing.measured_pit`, and the pump's rate of a log or a pump-down
test without a rate of its own as its `calculated_rate`.
"""

from host_sim.sizing.document import edited, look
from host_sim.sizing.limits import GPM

MEASURED, BY_RATE = "sizing.measured_pit", ("pump-down test", "log")
# What was assumed (see the interview), and the keys of the site file whose change makes it stale.
STALE = {
    "kind of floats": ("sizing.floats",), "float travel": ("sizing.floats",), "transmitter range": ("transmitter",),
    "transmitter height": ("transmitter",), "width of the pit": ("pit.diameter", "pit.side", "pit.bottom_diameter"),
    "width at the top": ("pit.top_diameter",), "depth of the pit": ("pit.depth",), "shape of the pit": ("pit.shape",),
    "height of the drain inlet": ("sizing.basin.inlet",), "cover": ("sizing.basin.cover",),
    "rim cast into the floor": ("sizing.basin.held_down",), "holes in the basin": ("sizing.basin.holes",),
    "pipe size": ("discharge.riser.pipe", "discharge.riser1.pipe"), "pipe size of pump 2": ("discharge.riser2.pipe",),
    "shared or separate lines": ("discharge.header",), "pipe marking": ("sizing.piping.material",),
    "length of a riser": ("discharge.riser.length",), "discharge point": ("sizing.outfall.to",),
    "outlet from the wall": ("sizing.outfall.distance",), "freeze relief": ("sizing.outfall.freeze_relief",),
    "check valves": ("discharge.riser.fittings.swing_check", "discharge.riser1.fittings.swing_check"),
    "full-open valves": ("discharge.riser.fittings.ball_valve", "discharge.riser1.fittings.ball_valve"),
    "weep holes": ("pump.weep_hole", "pump1.weep_hole"), "branch circuits": ("sizing.power.circuits",),
    "alarm heard": ("sizing.power.alarm",), "current sensing": ("controller.sensing",),
    "battery capacity": ("supply.battery.capacity",), "battery type": ("sizing.power.battery",),
    "battery's room": ("sizing.power.room",), "ventilation": ("sizing.power.vented",),
    "battery cable": ("sizing.power.cable",), "wire gauge": ("sizing.power.cable_gauge",),
    "battery fuse": ("sizing.power.fuse",), "charger": ("supply.charger",),
    "inverter surge rating": ("supply.inverter",), "generator rating": ("sizing.power.generator",),
    "backup": ("supply.inverter", "supply.generator", "supply.battery"),
    "starts per hour of pump 1": ("sizing.motor.starts_per_hour", "sizing.motor1.starts_per_hour"),
    "starts per hour of pump 2": ("sizing.motor.starts_per_hour", "sizing.motor2.starts_per_hour"),
}  # fmt: skip


def tried(data, edits, rates_m3s=None):
    """Return a document with edits made; the measurements in it keep the pit, and the pump's rate, that they had.

    `rates_m3s` is what the pump of each measurement moved, as it is calculated for the document before.
    A measurement that is edited itself is taken as made in the new pit.
    """
    found = edited(data, edits)
    again = {}
    if look(data, "sizing.evidence") and not any(key.startswith("sizing.evidence") for key in edits):
        if look(data, MEASURED) is None and found.get("pit") != data.get("pit"):
            again[MEASURED] = data["pit"]
        again.update(_rates(data, edits, rates_m3s))
    assumed = look(found, "sizing.assumed")
    if isinstance(assumed, list):
        left = [item for item in assumed if not _stale(item, edits)]
        again["sizing.assumed"] = left or None
    return edited(found, again)


def _rates(data, edits, rates_m3s):
    if rates_m3s is None or not any(key.partition(".")[0] in ("pump", "pump1", "pump2", "discharge", "pit")
                                   for key in edits):  # fmt: skip
        return {}
    found = {}
    for place, item in enumerate(look(data, "sizing.evidence")):
        told = {"pump_rate", "calculated_rate", "file"} & set(item)
        if item.get("kind") in BY_RATE and not told:
            found[f"sizing.evidence.{place}.calculated_rate"] = f"{rates_m3s[place] / GPM:.6f} gpm"
    return found


def _stale(item, edits):
    keys = STALE.get(item.get("what"), ()) if isinstance(item, dict) else ()
    return any(key == stale or key.startswith(f"{stale}.") for key in edits for stale in keys)
