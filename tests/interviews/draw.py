"""An interview drawn from (seed, number): what a person would type at every question; all of it invented.

Pump pairs, supplies, floats and what is not known are drawn apart, so that
every combination comes up; lengths, areas and times are typed in the many ways
in which people write them.
"""

import random

UNKNOWN = ("", "don't know", "skip", "?")


def draw(seed, number):
    """Return {question key: line} of an interview: the same for ever."""
    rng = random.Random(f"interview {seed}/{number}")
    a = {}
    _pit(rng, a)
    _pipe(rng, a)
    _pumps(rng, a)
    _water(rng, a)
    _power(rng, a)
    _floats(rng, a)
    _forget(rng, a)
    # A generator of its own, so that the interviews of a seed stay what they are.
    a["falls_pump"] = random.Random(f"ran {seed}/{number}").choice(["pump 1", "1", "pump 2", "both", *UNKNOWN[:2]])
    return a


def inches(rng, value):
    """Return a length in inches in one of the ways in which a tape is read."""
    whole, eighths = int(value), round((value - int(value)) * 8)
    if eighths == 8:
        whole, eighths = whole + 1, 0
    part = {0: "", 1: "1/8", 2: "1/4", 3: "3/8", 4: "1/2", 5: "5/8", 6: "3/4", 7: "7/8"}[eighths]
    number = f"{whole}" if not part else f"{whole} {part}" if whole else part
    ways = [f'{number}"', f"{number} in", f"{number} inches", f"{number} in."]
    if not part:
        ways += [f"{whole}", f"{whole} in"]
        if whole >= 12 and whole % 12:
            ways += [f"{whole // 12}' {whole % 12}\"", f"{whole // 12} ft {whole % 12} in"]
    elif whole >= 12:
        ways.append(f"{whole // 12}' {whole % 12} {part}\"")
    return rng.choice(ways)


def feet(rng, value):
    """Return a length in feet in one of the ways in which people write it."""
    whole, rest = int(value), round((value - int(value)) * 12)
    if rest == 12:
        whole, rest = whole + 1, 0
    if not rest:
        return rng.choice([f"{whole}'", f"{whole} ft", f"{whole}", f"{whole} feet"])
    marks = f"{whole}'{rest}\""
    return rng.choice([f"{whole}' {rest}\"", f"{whole} ft {rest} in", f"{whole + rest / 12:.2f} ft", marks])


def seconds(rng, value):
    """Return a time in one of the ways in which a watch is read."""
    value = max(1, round(value))
    if value < 60:
        return rng.choice([f"{value} s", f"{value} sec", f"{value} seconds"])
    minutes, rest = divmod(value, 60)
    if rest:
        return rng.choice([f"{minutes} min {rest} s", f"{value} s", f"{minutes} min {rest} sec"])
    return rng.choice([f"{minutes} min", f"{value} s"])


def yes(rng, chance):
    """Return yes or no as people type it."""
    return rng.choice(["yes", "y", "Yes"]) if rng.random() < chance else rng.choice(["no", "n"])


def _pit(rng, a):
    a["name"] = rng.choice(["north corner", "laundry room", "under the stairs"])
    a["installed"] = rng.choice(["nothing", "nothing", "pit", "pit and pipe", "pit, pipe and pumps", "everything"])
    a["basin"] = rng.choice(["solid basin", "solid basin", "basin with holes", "concrete"])
    a["holes"], a["hole"] = str(rng.randint(10, 120)), rng.choice(['1/2"', "3/4 in", "0.5"])
    a["shape"] = rng.choice(["round", "round", "square", "bucket"])
    width = rng.choice([18, 20, 24, 24, 30, 30, 36, 42])
    depth = rng.choice([20, 24, 27.5, 30, 36, 36, 42, 48])
    a["width"], a["depth"] = inches(rng, width), inches(rng, depth)
    a["top"] = inches(rng, width + rng.choice([0, 2, 4]))
    a["inlet"] = rng.choice(["none", inches(rng, round(depth * rng.uniform(0.35, 0.9) * 4) / 4)])
    floor = rng.choice([(20, 30), (25, 40), (30, 45)])
    square = floor[0] * floor[1]
    a["floor"] = rng.choice([f"{floor[0]} x {floor[1]} ft", f"{floor[0]}' x {floor[1]}'", f"{square} sqft",
                             f"{square} sq ft", f"{square} ft2"])  # fmt: skip
    a["cover"], a["held"] = rng.choice(["bolted", "loose", "none"]), yes(rng, 0.5)
    a["_depth"], a["_width"], a["_square"] = depth, width, a["shape"] == "square"


def _pipe(rng, a):
    lift = a["_depth"] / 12 + rng.uniform(5.0, 9.5)
    a["_lift"] = lift
    a["lift"], a["pipe"] = feet(rng, lift), rng.choice(["1.5 in", "1.5 in", "2 in", "1.25 in"])
    a["riser_length"] = feet(rng, lift * rng.uniform(0.6, 1.1))
    a["riser_elbows"] = str(rng.randint(0, 3))
    a["lines"] = rng.choice(["shared", "shared", "separate"])
    for key in ("run", "run_2"):
        a[key] = feet(rng, lift * 0.5 + rng.uniform(4.0, 60.0))
    a["elbows"], a["elbows_2"], a["bends"] = str(rng.randint(1, 6)), str(rng.randint(1, 6)), str(rng.randint(0, 4))
    a["pipe_2"] = rng.choice([a["pipe"], "1.5 in", "2 in"])
    a["check"], a["valve"], a["weep"] = yes(rng, 0.95), yes(rng, 0.8), yes(rng, 0.8)
    a["material"] = rng.choice(["PVC schedule 40"] * 5 + ["unknown", "cellular-core DWV"])
    a["to"] = rng.choice(["daylight", "storm drain", "dry well"])
    a["away"], a["relief"] = feet(rng, rng.choice([2, 8, 15, 25])), yes(rng, 0.6)


def _pumps(rng, a):
    a["backup"] = rng.choice(["none", "battery pump", "battery pump", "battery pump", "inverter", "generator"])
    a["same"] = yes(rng, 0.5)
    a["_runout"] = []
    for n in (1, 2):
        weak = n == 2 and a["backup"] == "battery pump"
        a[f"intake_{n}"] = inches(rng, rng.choice([1, 2, 3, 3, 4]))
        a[f"covered_{n}"] = inches(rng, rng.choice([4, 5, 6, 8]))
        a[f"body_{n}"] = inches(rng, rng.choice([6, 7, 8, 9.5]))
        a[f"outlet_{n}"] = rng.choice(["1.25 in", "1-1/4 in", "1-1/2\"", "1.5 in"])
        a[f"amps_{n}"] = f"{rng.uniform(8, 28):.1f} A" if weak else f"{rng.uniform(4, 14):.1f} amps"
        a[f"volts_{n}"] = rng.choice(["12 V", "12 VDC", "24 V"]) if weak else rng.choice(["115 V", "120", "230 V"])
        a[f"starts_hour_{n}"] = str(rng.choice([8, 10, 12, 15, 20, 30]))
        runout = rng.uniform(18, 45) if weak else rng.uniform(35, 85)
        shutoff = a["_lift"] * rng.uniform(1.35, 2.6)
        a["_runout"].append(runout)
        _curve(rng, a, n, runout, shutoff)
    a["sensing"] = yes(rng, 0.75)
    a["sensor_1"] = rng.choice(["current transformer", "Hall sensor"])
    a["sensor_2"] = rng.choice(["current transformer", "Hall sensor", "shunt"])


def _curve(rng, a, n, runout, shutoff):
    how = rng.choice(["points of the curve", "shut-off and one point", "bucket and watch"])
    a[f"curve_how_{n}"] = how
    heads = [1.0, rng.uniform(0.7, 0.9), rng.uniform(0.35, 0.6), 0.0]
    flows = [0.0, 0.35, rng.uniform(0.65, 0.8), 1.0]
    unit, times = rng.choice([("gpm", 1), ("gph", 60), ("GPM", 1)])
    points = [f"{runout * q * times:.0f} {unit} {rng.choice(['', 'at ', '@ '])}{shutoff * h:.1f} ft"
              for q, h in zip(flows, heads, strict=True)]  # fmt: skip
    a[f"curve_{n}"] = ", ".join(points)
    a[f"shutoff_{n}"] = f"{shutoff:.1f} ft"
    a[f"point_head_{n}"], a[f"point_flow_{n}"] = f"{shutoff * heads[2]:.1f}'", f"{runout * flows[2] * times:.0f} {unit}"
    measured = runout * rng.uniform(0.35, 0.7)
    a[f"bucket_{n}"] = rng.choice(["5 gal", "5 gallons", "15 gal"])
    a[f"bucket_time_{n}"] = seconds(rng, float(a[f"bucket_{n}"].split()[0]) / measured * 60)
    a[f"plate_head_{n}"] = rng.choice(["unknown", f"{shutoff:.0f} ft", f"{shutoff:.0f}'"])


def _water(rng, a):
    # The inflow goes by what a pump may move, from a trickle to more than one can carry.
    wanted_gpm = 0.5 * max(a["_runout"]) * rng.choice([0.05, 0.1, 0.15, 0.2, 0.3, 0.45, 0.7])
    a["weather"] = rng.choice(["wettest", "wettest", "wet", "dry"])
    wanted_gpm /= {"wettest": 1.0, "wet": 1.5, "dry": 3.0}[a["weather"]] * 1.5
    area = a["_width"] ** 2 * (1.0 if a["_square"] else 0.7854)
    rate = wanted_gpm * 231.0 / area  # in per min
    a["evidence"] = rng.choice(["rise test", "rise test", "rise test", "pump-down test", "log", "drained area",
                                "recovery", "rule of thumb", "nothing measured"])  # fmt: skip
    rise = rng.choice([3, 4, 5, 6])
    a["rise"], a["rise_time"], a["rise_from"] = inches(rng, rise), seconds(rng, rise / rate * 60), inches(rng, 6)
    a["falls"], a["falls_time"], a["falls_from"] = inches(rng, 5), seconds(rng, rng.uniform(15, 90)), inches(rng, 14)
    a["starts"], a["over"] = str(rng.randint(3, 25)), rng.choice(["1 h", "60 min", "2 hours"])
    a["stops_at"], a["starts_at"] = inches(rng, rng.choice([5, 6])), inches(rng, rng.choice([11, 12.5, 14]))
    a["drained"] = rng.choice(["25 x 20 ft", "600 sqft", "30' x 30'", "900 ft2"])
    a["rain"] = rng.choice(["1 in/h", "2 in/h", "1.5 in/h"])
    a["table"], a["low"], a["high"] = rng.choice(["3 ft", "4'", "2' 6\""]), inches(rng, 6), inches(rng, 12)
    a["recovery_time"] = seconds(rng, rng.uniform(60, 900))
    a["thumb"] = a["floor"]


def _power(rng, a):
    a["capacity"] = rng.choice(["75 Ah", "100 Ah", "100 ah", "200 Ah", "55"])
    a["chemistry"], a["room"] = rng.choice(["flooded", "AGM", "lithium"]), rng.choice(["heated", "unheated"])
    a["vented"], a["hours"] = yes(rng, 0.5), rng.choice(["8 h", "12 hours", "1 day", "6 h 30 min"])
    a["charger"], a["surge"] = rng.choice(["5 A", "10 A", "20 amps"]), rng.choice(["3000 W", "6000 W", "9 kW", "2000"])
    a["cable"], a["gauge"] = feet(rng, rng.choice([3, 4, 6, 10])), rng.choice(["10 AWG", "8 AWG", "6 AWG", "4 AWG"])
    a["fuse"] = rng.choice(["none", "30 A", "40 A", "50 amps", "60"])
    a["auto"], a["starts_in"] = yes(rng, 0.6), rng.choice(["20 s", "10 sec", "45 s", "1 min 30 s"])
    a["watts"] = rng.choice(["3000 W", "7500 W", "10 kW", "5500"])
    a["circuits"], a["heard"] = yes(rng, 0.7), yes(rng, 0.7)


def _floats(rng, a):
    a["float_kind"] = rng.choice(["vertical", "vertical", "tethered", "tethered", "transmitter"])
    a["travel"] = inches(rng, rng.choice([0.75, 1, 1.5]) if a["float_kind"] == "vertical" else rng.choice([3, 4, 5]))
    a["span"], a["zero"] = rng.choice(["1 m", "1.5 m", "2 m"]), rng.choice(["1 in", "2\"", "0.5"])
    depth = a["_depth"]
    base = rng.choice([5, 6, 7, 8])
    gaps = [depth * share for share in sorted(rng.uniform(0.35, 0.95) for _ in range(3))]
    keys = ("off_at", "lead_at", "lag_at", "high_at")
    for key, height in zip(keys, [base, *gaps], strict=True):
        a[key] = inches(rng, round(max(height, base) * 4) / 4)
    if rng.random() < 0.3:
        a[rng.choice(keys)] = "recommended"


def _forget(rng, a):
    # Somebody knows everything, somebody nothing, most are in between.
    share = rng.choice([0.0, 0.0, 0.0, 0.05, 0.15, 0.4, 1.0])
    for key in [key for key in a if not key.startswith("_")]:
        if rng.random() < share and not (key == "backup" and rng.random() < 0.7):
            a[key] = rng.choice(UNKNOWN)
    for key in [key for key in a if key.startswith("_")]:
        del a[key]
