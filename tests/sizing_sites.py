"""Sites for the tests of sizing: a sound one, and random ones of our own invention."""

import copy

INCH, FOOT = 0.0254, 0.3048
GALLON = 3.785411784e-3
GPM = GALLON / 60.0
CURVE = [["0 gpm", "23 ft"], ["15 gpm", "20 ft"], ["33 gpm", "15 ft"], ["45 gpm", "10 ft"], ["60 gpm", "0 ft"]]

# Nothing to remark on: every question is answered well.  Invented.
SOUND = {
    "name": "A sound pit",
    "pit": {"diameter": "30 in", "depth": "36 in", "floor_area": "600 ft2"},
    "pump": {
        "curve": CURVE,
        "intake": "3 in",
        "rated_current": "9.5 A",
        "volts": "115 V",
        "weep_hole": "0.1875 in",
    },
    "pump1": {"supply": "mains"},
    "pump2": {"supply": "either"},
    "discharge": {
        "outlet": "11 ft",
        "riser": {
            "pipe": "2 in",
            "length": "11 ft",
            "fittings": {"elbow_90": 1, "swing_check": 1, "ball_valve": 1},
        },
        "header": {"pipe": "2 in", "length": "20 ft", "fittings": {"elbow_90": 2, "exit": 1}},
    },
    "supply": {
        "controller": "battery",
        "battery": {"capacity": "600 Ah", "peukert": 1.1, "resistance": "2 mohm"},
        "charger": {"current": "30 A"},
        "inverter": {"limit": "6500 W"},
    },
    "controller": {"sensing": "current"},
    "sizing": {
        "evidence": [{"kind": "rise test", "rise": "6 in", "in": "3 min", "from": "4 in", "weather": "wettest"}],
        "motor": {"outlet": "1.5 in", "body_diameter": "8 in", "starts_per_hour": 15},
        "piping": {"material": "PVC schedule 40"},
        "outfall": {"to": "daylight", "distance": "20 ft", "freeze_relief": True},
        "basin": {"held_down": True, "cover": "bolted"},
        "power": {"circuits": "separate", "battery": "AGM", "room": "heated", "cable_gauge": 0, "cable": "4 ft",
                  "fuse": "100 A", "generator": "0 W"},
        "floats": {"kind": "vertical", "travel": "1 in"},
    },
}  # fmt: skip


def sound(**edits):
    """Return the sound site with edits by dotted key, dots written as two underscores."""
    from host_sim.sizing.document import edited

    return edited(copy.deepcopy(SOUND), {key.replace("__", "."): value for key, value in edits.items()})


def falling_curve(draw, most_gpm, shutoff_ft):
    """Return an invented falling curve of five points, as a site file has it."""
    falls = sorted(draw.uniform(0.05, 0.3) for _ in range(4))
    heads = [1.0]
    for fall in falls:
        heads.append(heads[-1] - fall / sum(falls))
    heads[-1] = 0.0
    return [[f"{most_gpm * i / 4:.4f} gpm", f"{shutoff_ft * h:.4f} ft"] for i, h in enumerate(heads)]


def random_site(draw, weep=True, share=None):
    """Return a random document: pit, pumps, pipes, inflow.  `share`: design inflow over one pump's flow, roughly."""
    depth = draw.choice([24, 28, 30, 36, 42])
    across = draw.choice([18, 20, 22, 24, 30, 36])
    lift = depth / 12 + draw.uniform(5, 9)
    size = draw.choice([1.5, 2.0])
    shutoff = lift * draw.uniform(1.6, 2.8)
    curve = falling_curve(draw, draw.uniform(40, 80), shutoff)
    riser = {
        "pipe": f"{size} in",
        "length": f"{lift * draw.uniform(0.95, 1.2):.3f} ft",
        "fittings": {"elbow_90": draw.randint(0, 2), "swing_check": 1, "ball_valve": 1},
    }
    discharge = {"outlet": f"{lift:.4f} ft", "riser": riser}
    if draw.random() < 0.6:
        discharge["header"] = {
            "pipe": f"{size} in",
            "length": f"{draw.uniform(5, 50):.3f} ft",
            "fittings": {"elbow_90": draw.randint(1, 5), "exit": 1},
        }
    else:
        riser["fittings"]["exit"] = 1
    # Of an 18 in pit an inch a minute is 1.1 gpm; the rise test is written so that the design inflow is as asked.
    wanted_gpm = (draw.uniform(0.05, 0.8) if share is None else share) * 25.0 / 1.5
    shape = draw.choice(["cylinder", "square"])
    area = (across * INCH) ** 2 * (1.0 if shape == "square" else 0.7853981634)
    minutes = 6 * INCH * area / (wanted_gpm * GPM) / 60.0
    pit = {"shape": shape, "depth": f"{depth} in", "floor_area": "700 ft2"}
    pit["side" if shape == "square" else "diameter"] = f"{across} in"
    return {
        "name": "A random pit",
        "pit": pit,
        "pump": {"curve": curve, "intake": "3 in", "rated_current": "9 A", "weep_hole": "0.15 in" if weep else "0 in"},
        "discharge": discharge,
        "controller": {"sensing": draw.choice(["nothing", "feedback", "current"])},
        "sizing": {
            "evidence": [
                {"kind": "rise test", "rise": "6 in", "in": f"{minutes:.5f} min", "from": "4 in", "weather": "wettest"}
            ],
            "motor": {"body_diameter": "7 in"},
            "piping": {"material": draw.choice(["PVC schedule 40", "unknown", "cellular-core DWV"])},
            "basin": {"cover": draw.choice(["bolted", "loose", "none"]), "held_down": draw.random() < 0.5},
            "outfall": {"to": draw.choice(["daylight", "storm drain", "sanitary sewer", "unknown"])},
        },
    }
