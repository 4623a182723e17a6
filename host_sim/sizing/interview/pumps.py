"""The questions about each pump: its supply, its plate, its curve, where it stands.  Each pump has its own answers."""

import re

from host_sim import units
from host_sim.sizing import example_curve
from host_sim.sizing.interview import pipe
from host_sim.sizing.interview.curve import (
    BATTERY_SHARE,
    assumed_shutoff,
    for_lift,
    highest_known_m,
    measured,
    read_curve,
    through,
)
from host_sim.sizing.interview.question import Question, among, inches, si
from host_sim.sizing.limits import FOOT, INCH
from host_sim.sizing.sensors import KINDS as SENSORS
from host_sim.sizing.sensors import LIVE, TRANSFORMER, live, reads, usual

ROOM_M = 2.0 * INCH  # that must be left between what a pump needs under water and the floor
HOW = ("points of the curve", "shut-off and one point", "bucket and watch")
KINDS = dict(zip(HOW, ("curve", "shut-off and one point", "bucket and watch"), strict=True))
BACKUPS = ("none", "battery pump", "inverter", "generator")
NO_FLOW = "by the two points of least flow, a parabola about no flow"
PUMP_HEAD = "flow of this pump, starts per hour, reserve"

# fmt: off
SUPPLY = (
    Question("backup", "What runs a pump when the mains is out?",
             "The storm that floods basements also takes out the mains.  With a battery pump, pump 1 is the mains pump "
             "and pump 2 the battery pump.", "choice", "battery pump", "none",
             "assumed none", "whether a power failure floods the floor", "backup", BACKUPS),
    Question("same", "Are both pumps the same model?", "Each pump's own plate counts.", "yes", "yes", "yes",
             "pump 2 is taken to be like pump 1", "whether pump 2 alone carries the inflow", "pump 2 like pump 1",
             when=lambda a: a.get("backup") != "battery pump"),
)
# fmt: on


def direct(n, a):
    """Whether pump n (1 or 2) runs on direct current."""
    return n == 2 and a.get("backup") == "battery pump"


LEAST_MAINS_V, MOST_BATTERY_V = 90.0, 60.0  # of a motor on the mains, and of one on a battery; our own choice


def _goes_with_supply(n):
    def check(value, a):
        volts = units.read(value, "voltage")
        if direct(n, a) and volts > MOST_BATTERY_V:
            raise ValueError(
                f"{value} is a mains pump's voltage, and pump 2 is the battery pump (12, 24, 36 or 48 V).  Read the "
                "battery pump's plate; where you gave the plates the other way round, go back to pump 1"
            )
        if not direct(n, a) and volts < LEAST_MAINS_V:
            pair = a.get("backup") == "battery pump"
            raise ValueError(
                f"{value} is a battery pump's voltage, and pump {n} runs on the mains (115 or 230 V).  "
                + ("The battery pump is pump 2: read the mains pump's plate, or go back" if pair
                   else 'For a battery pump go back, and answer "battery pump" where the mains is out')
            )  # fmt: skip

    return check


def _below(n, what):
    def check(value, a):
        depth_m = units.read(a.get("depth", "24 in"), "length")
        if units.read(value, "length") > depth_m - ROOM_M - INCH:
            raise ValueError(
                f"{value} leaves no room in a pit {a.get('depth', '24 in')} deep: {what} must lie well below the floor"
            )

    return check


def _narrowest(n, a):
    # The pipe that pump n stands on; of two alike, the narrower of their lines.
    sizes = [a.get("pipe", "1.5 in")] if n == 1 or a.get("lines") != "separate" else []
    if a.get("lines") == "separate" and (n == 2 or a.get("same", False)):
        sizes.append(a.get("pipe_2", "1.5 in"))
    return min(sizes, key=lambda size: units.read(size, "length"))


def _fits_pipe(n):
    def check(value, a):
        size = _narrowest(n, a)
        if units.read(value, "length") > units.read(size, "length") + 1e-6:
            raise ValueError(
                f"{value} is more than the pipe of {size}: a discharge pipe is no smaller than the pump's outlet.  "
                "Read the outlet again, or go back to the pipe"
            )

    return check


def _outlet(n):
    def default(a):
        size = _narrowest(n, a)
        return size if units.read(size, "length") < 1.5 * INCH else "1.5 in"

    return default


def _covered(n):
    return lambda a: inches(units.read(a.get(f"intake_{n}", "3 in"), "length") + INCH)


def _above_inlet(n):
    check_room = _below(n, "the water it needs")

    def check(value, a):
        check_room(value, a)
        least = units.read(a.get(f"intake_{n}", "3 in"), "length")
        if units.read(value, "length") < least - 1e-6:
            raise ValueError(f"{value} is below the pump's inlet at {a.get(f'intake_{n}', '3 in')}: give that or more")

    return check


def _reaches(n):
    def check(value, a):
        rows = read_curve(value)
        _lifts(n, units.read(rows[0][1], "distance"), a)
        known_m, lift_m = highest_known_m(value), _lift_m(n, a)
        if known_m <= lift_m:
            raise ValueError(
                f"the points end at {known_m / FOOT:.1f} ft, and the water must go {lift_m / FOOT:.1f} ft up from the "
                'pump\'s inlet: add the shut-off head (maximum head) of the plate or box, at "0 gpm"'
            )

    return check


def _lift_m(n, a):
    return units.read(a["lift"], "distance") - (si(a, f"intake_{n}", "length") or 0.0)


def _lifts(n, shutoff_m, a):
    lift_m = _lift_m(n, a)
    if shutoff_m <= lift_m:
        raise ValueError(
            f"a shut-off head of {shutoff_m / FOOT:.1f} ft does not reach {lift_m / FOOT:.1f} ft up from the pump's "
            "inlet: no water would move.  Read the plate again, or go back to the pipe's highest point"
        )


def _shutoff(n):
    def check(value, a):
        if value != "unknown":
            _lifts(n, units.read(value, "distance"), a)

    return check


def _point_head(n):
    def check(value, a):
        if si(a, f"shutoff_{n}", "distance") is not None:
            through(si(a, f"shutoff_{n}", "distance"), 1e-3, units.read(value, "distance"))

    return check


def _measured(n, a, shutoff_m):
    flow = units.read(a[f"bucket_{n}"], "volume") / units.read(a[f"bucket_time_{n}"], "time")
    return measured(flow, n - 1, pipe.discharge(a), units.read(a["depth"], "length"), shutoff_m)


def _goes_with_bucket(n):
    def check(value, a):
        _shutoff(n)(value, a)
        if value == "unknown":
            return
        try:
            _measured(n, a, units.read(value, "distance"))
        except ValueError as error:
            raise ValueError(
                f"{error} that your pipe takes at the measured flow: read the plate again, go back to pipe or bucket, "
                'or say "unknown"'
            ) from error

    return check


def _half(n):
    return lambda a: f"{0.5 * (si(a, f'shutoff_{n}', 'distance') or 18 * FOOT) / FOOT:.3g} ft"


def _high(a):
    return f"{1.5 * units.read(a.get('lift', '12 ft'), 'distance') / FOOT:.3g} ft"


def _asked(n, *how):
    def when(a):
        if n == 2 and a.get("same", False):
            return False
        return not how or a.get(f"curve_how_{n}") in how

    return when


def _weak(n):
    return lambda a: for_lift(a, BATTERY_SHARE if direct(n, a) else 1.0)


def _amps(n):
    return lambda a: "25 A" if direct(n, a) else "10 A"


def _plate_amps(n):
    return lambda a: "18 A" if direct(n, a) else "8 A"


def _volts(n):
    return lambda a: "12 V" if direct(n, a) else "115 V"


def _how(text):
    # As people call them: "three points", "a bucket".
    word = text.lower().strip()
    if word in HOW:
        return word
    if "bucket" in word:
        return HOW[2]
    if "shut" in word:
        return HOW[1]
    return HOW[0] if "point" in word or "curve" in word else text


def buckets(text):
    """Return water caught as people count it: "6 buckets", "1 bucket" of 5 gal as gallons; any other text as it is.

    A bucket is 5 gal (common practice, no source).
    """
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(?:5[- ]?gal(?:lon)?\s+)?(?:buckets?|pails?)\s*", text.lower())
    return f"{5.0 * float(found[1]):g} gal" if found else text


def _plate(n):
    # fmt: off
    p = f"pump {n}"
    return (
        Question(f"intake_{n}", f"How high is the inlet of {p} above the bottom of the pit?", "Off must be above it.",
                 "length", "3 in", "3 in", "on its legs, with a brick under it", "how low off may be",
                 f"inlet height of {p}", when=_asked(n), least="0.1 in", most="5 ft", check=_below(n, "the inlet")),
        Question(f"covered_{n}", f"Up to what height must the motor of {p} stay under water?",
                 "In the manual; a motor out of water overheats.", "length", "5 in", _covered(n),
                 "an inch above the inlet, so that it draws no air", "how low off may be", f"cover of {p}",
                 when=_asked(n), least="0.1 in", most="6 ft", check=_above_inlet(n)),
        Question(f"body_{n}", f"How wide is the body of {p}?", "Two pumps and the floats must fit.", "length", "7 in",
                 "8 in", "a wide pump", "whether pumps and floats fit", f"body of {p}", when=_asked(n), least="2 in",
                 most="3 ft"),
        Question(f"amps_{n}", f"What is the rated current on the plate of {p}?",
                 "Overload, dry-run and locked-rotor protection go by it; also cable, fuse and sensor.", "current",
                 _plate_amps(n), _amps(n), "a large one",
                 "overload and dry-run protection, sensor range, cable and fuse",
                 f"rated current of {p}", when=_asked(n), least="0.5 A", most="60 A"),
        Question(f"volts_{n}", f"What is the voltage on the plate of {p}?", "Amps alone say nothing about the power.",
                 "voltage", _volts(n), _volts(n), "the usual one", "generator, inverter and battery size",
                 f"voltage of {p}", when=_asked(n), least="6 V", most="480 V", check=_goes_with_supply(n)),
        Question(f"starts_hour_{n}", f"How many starts per hour does the maker of {p} allow?", "In the manual, if "
                 "anywhere.", "number", "15", "10", "low end of common practice (10 to 15)",
                 "how large the pit must be", f"starts per hour of {p}", when=_asked(n), least="1", most="60"),
        Question(f"curve_how_{n}", f"What do you have of the curve of {p}?", "Three points of the plate's curve are "
                 "best; a bucket at the outlet and a watch tell as much.", "choice", HOW[1], HOW[0],
                 "then a curve is assumed", PUMP_HEAD, f"source of the curve of {p}", HOW, when=_asked(n), spelt=_how),
        Question(f"curve_{n}", f"What is the curve of {p}: flow at each head?",
                 "Flow and head, with a comma between points; the one at 0 gpm is the shut-off head.  Three "
                 "points do without it: then what the pump holds at no flow is assumed.", "curve",
                 example_curve.WORDS, _weak(n), "an invented, weak pump", PUMP_HEAD, f"curve of {p}",
                 when=_asked(n, HOW[0]), check=_reaches(n)),
        Question(f"shutoff_{n}", f"What is the shut-off head (maximum head) of {p}?", "On the plate or the box; at "
                 "that head no water moves.", "distance", "22 ft", _high, "half as much again as the lift", PUMP_HEAD,
                 f"shut-off head of {p}", when=_asked(n, HOW[1]), least="1 ft", most="500 ft", check=_shutoff(n)),
        Question(f"point_head_{n}", f"At what other head do you know the flow of {p}?", "The plate often tells it at "
                 "10 ft.", "distance", "10 ft", _half(n), "half the shut-off head", PUMP_HEAD,
                 f"head of the known point of {p}", when=_asked(n, HOW[1]), least="0 ft", most="500 ft",
                 check=_point_head(n)),
        Question(f"point_flow_{n}", f"And what is the flow of {p} at that head?", "In gallons per minute, or per "
                 "hour.", "flow", "35 gpm", "20 gpm", "a small pump", PUMP_HEAD, f"flow of the known point of {p}",
                 when=_asked(n, HOW[1]), least="1 gpm", most="1000 gpm"),
        Question(f"bucket_{n}", f"Only {p} running, bucket at the outlet: how much water did it catch?",
                 "Count whole buckets; five or more make a good figure.", "volume", "5 gal", "5 gal", "one bucket",
                 PUMP_HEAD, f"water caught from {p}", when=_asked(n, HOW[2]), least="0.5 gal", most="1000 gal",
                 spelt=buckets),
        Question(f"bucket_time_{n}", f"How long did that take, with {p}?", "By the watch.", "time", "10 s",
                 "15 s", "a slow pump", PUMP_HEAD,
                 f"time of the bucket test of {p}", when=_asked(n, HOW[2]), least="1 s", most="1 h"),
    )
    # fmt: on


def _on_the_pipe(n):
    # What is held against the pipe, and so asked after it.
    # fmt: off
    p = f"pump {n}"
    return (
        Question(f"outlet_{n}", f"What size is the outlet of {p}?", "The pipe must be no smaller.", "length", "1.5 in",
                 _outlet(n), "the usual one", "which pipe may be used", f"outlet of {p}", when=_asked(n),
                 least="0.5 in", most="6 in", check=_fits_pipe(n)),
        Question(f"plate_head_{n}", f"What shut-off head (maximum head) does the plate of {p} give?",
                 "On the plate or the box.", "distance", "22 ft", "unknown",
                 "then 1.3 times the head at the measured flow", PUMP_HEAD, f"shut-off head of {p}",
                 when=_asked(n, HOW[2]), least="1 ft", most="500 ft", words=("unknown",),
                 check=_goes_with_bucket(n)),
    )
    # fmt: on


QUESTIONS = (*SUPPLY, *_plate(1), *_plate(2))
ON_THE_PIPE = (*_on_the_pipe(1), *_on_the_pipe(2))


def _fits_current(n):
    def check(value, a):
        if not reads(value, direct(n, a)):
            raise ValueError(f"a {TRANSFORMER} cannot read the direct current of pump {n}: Hall sensor or shunt")
        if live(value, direct(n, a)):
            raise ValueError(LIVE.format(n=n))

    return check


# fmt: off
SENSING = (
    Question("sensing", "Does the controller sense each pump's motor current?",
             "It detects dry run, clog and locked rotor at once.", "yes", "yes", "no", "assumed not fitted",
             "whether a pump that moves no water is noticed", "current sensing"),
    *(Question(f"sensor_{n}", f"What senses the current of pump {n}?", "A transformer reads alternating current only; "
               "a battery pump takes a Hall sensor or a shunt.  Never a shunt on the mains.", "choice",
               "current transformer",
               lambda a, n=n: usual(direct(n, a)), "what fits the supply", "the parts list",
               f"current sensor of pump {n}", SENSORS, when=among("sensing", True), check=_fits_current(n))
      for n in (1, 2)),
)
# fmt: on


def _curve(n, a):
    how = a[f"curve_how_{n}"]
    if how == HOW[0]:
        return read_curve(a[f"curve_{n}"])
    if how == HOW[1]:
        point = units.read(a[f"point_flow_{n}"], "flow"), units.read(a[f"point_head_{n}"], "distance")
        return through(units.read(a[f"shutoff_{n}"], "distance"), *point)
    return _measured(n, a, si(a, f"plate_head_{n}", "distance"))


def edits(a, known):
    """Return the edits of the site document for answers; `known(key)`: whether an answer was given, not assumed."""
    found = {}
    numbers = (1,) if a.get("same", False) else (1, 2)
    for n in numbers:
        key = "pump" if len(numbers) == 1 else f"pump{n}"
        motor = "sizing.motor" if len(numbers) == 1 else f"sizing.motor{n}"
        found[key] = {
            "curve": _curve(n, a),
            "intake": a[f"intake_{n}"],
            "rated_current": a[f"amps_{n}"],
            "volts": a[f"volts_{n}"],
        }
        if direct(n, a):
            found[key].update({"supply": "battery", "power_factor": 1.0})
        if a["weep"]:
            found[key]["weep_hole"] = "0.1875 in"
        found[motor] = {
            "outlet": a[f"outlet_{n}"],
            "body_diameter": a[f"body_{n}"],
            "covered_to": a[f"covered_{n}"],
            "starts_per_hour": a[f"starts_hour_{n}"],
            "curve_from": KINDS[a[f"curve_how_{n}"]] if _told(n, a, known) else "assumed",
        }
    if a["backup"] == "inverter":
        found["pump2.supply"] = "either"
    found["controller.sensing"] = "current" if a["sensing"] else "nothing"
    if a["sensing"]:
        for n in (1, 2):
            if known(f"sensor_{n}"):
                found[f"sizing.motor{n}.sensor"] = a[f"sensor_{n}"]
    return found


def assumed(a, known):
    """Return what a curve that was given leaves open, as tables of sizing.assumed."""
    found = []
    for n in (1, 2):
        if a.get(f"curve_how_{n}") != HOW[0] or not known(f"curve_{n}"):
            continue
        taken = assumed_shutoff(a[f"curve_{n}"])
        if taken is not None:
            found.append({"what": f"shut-off head of pump {n}", "taken": taken, "why": NO_FLOW,
                          "changes": "the pressure that pipe and valves must hold"})  # fmt: skip
    return found


def given_after_all(key, a, known):
    """Whether an answer that was not known was given by the next: the points of a curve, typed after "don't know"."""
    place = key.removeprefix("curve_how_")
    return place in ("1", "2") and _told(int(place), a, known)


def _told(n, a, known):
    keys = {HOW[0]: ("curve",), HOW[1]: ("shutoff", "point_head", "point_flow"), HOW[2]: ("bucket", "bucket_time")}
    return all(known(f"{key}_{n}") for key in keys[a[f"curve_how_{n}"]])
