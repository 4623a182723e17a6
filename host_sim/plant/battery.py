"""The battery by Peukert's law, its voltage and its recharge.

Depth of discharge counts from 0 (full) to 1 (empty); at a steady current I it
grows by I ** k, so that an empty battery has run t = H * (C / (I * H)) ** k.
"""

CHARGING_V = 0.9  # terminal voltage above rest while a charger is on; common practice
COLLAPSED = 0.72  # of the empty battery's voltage is left when an empty battery is loaded; common practice
DEAD_V = 4.0  # a battery that gives nothing still shows this; our own choice


def runtime_s(battery, amps: float, share: float = 1.0) -> float:
    """Return how long a full battery carries a steady current.

    Peukert: t = H * (C / (I * H)) ** k.  Example: 100 Ah at 20 h with k 1.2
    gives 3.79 h at 20 A.
    """
    hours = battery.rate_s
    return hours * (battery.capacity_as * share / (amps * hours)) ** battery.peukert


def depth_rate(battery, amps: float, share: float, charge_amps: float, efficiency: float) -> float:
    """Return the change of the depth of discharge for each second: above 0 while it empties."""
    net = amps - charge_amps
    if net > 0.0:
        return 1.0 / runtime_s(battery, net, share)
    return net * efficiency / (battery.capacity_as * share)


def volts(battery, depth: float, amps: float, share: float, charging: bool) -> float:
    """Return the terminal voltage, never below 0, at a depth of discharge under a load; charging raises it at rest."""
    if depth >= 1.0 and amps > 0.0:
        return battery.empty_v * COLLAPSED
    full_v: float = battery.full_v
    empty_v: float = battery.empty_v
    rest = full_v - (full_v - empty_v) * depth
    if charging and amps <= 0.0:
        return rest + CHARGING_V
    return max(0.0, rest - amps * battery.resistance_ohm / share)
