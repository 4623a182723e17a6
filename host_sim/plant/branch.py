"""A turning pump on its own riser: where its curve meets the line, what weeps through its relief hole left out."""

from host_sim.plant.friction import head_m, loss_m, orifice_m3s
from host_sim.plant.root import root


def pump_branch(
    points: tuple, weep_m2: float, runout_m3s: float, throttle: float, blocked: bool, riser: tuple,
    level_m: float, junction_m: float,
) -> tuple:  # fmt: skip
    """Return (flow through the pump, flow into the junction), m3/s, of a pump that turns.

    `points` is its curve as it is now, `throttle` the head lost at its inlet for the square of the flow, `riser`
    (area m2, diameter m, length m, k, roughness m).
    """
    area: float = riser[0]
    diameter: float = riser[1]
    length: float = riser[2]
    k: float = riser[3]
    roughness: float = riser[4]
    low: float = 0.0
    high: float = runout_m3s
    through: float

    def shut(p: float):
        return p - orifice_m3s(weep_m2, head_m(points, p))

    def excess(p: float):
        return (
            level_m + head_m(points, p) - throttle * p * p
            - loss_m(p - orifice_m3s(weep_m2, head_m(points, p)), area, diameter, length, k, roughness) - junction_m
        )  # fmt: skip

    if weep_m2 > 0.0:
        low = root(shut, 0.0, runout_m3s, xtol=1e-13)
    if blocked or excess(low) <= 0.0:
        return low, 0.0
    while excess(high) > 0.0:  # the water stands above the outlet: beyond runout
        high *= 1.5
    through = root(excess, low, high, xtol=1e-13)
    return through, through - orifice_m3s(weep_m2, head_m(points, through))
