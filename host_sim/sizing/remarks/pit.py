"""Remarks about the pit: room, code minimum, cycling, what gets in, what runs back."""

from math import ceil, sqrt

from host_sim.sizing.limits import at_limit, limit
from host_sim.sizing.limits import row as limit_row
from host_sim.sizing.model import fixed_duty
from host_sim.sizing.remarks.change import cost, deeper, much_deeper, one, other_pump, spread, wider
from host_sim.sizing.remarks.remark import CONCRETE, HAND, SETTING, Cure, Remark
from host_sim.sizing.say import text_of

SECTION, CYCLING = "pit", "cycling"


def _no_room(result, say):
    room = result.room
    if room.across_m >= room.needed_m - 1e-4:
        return None
    bodies = " and ".join(say(plate.body_m, "length") for plate in result.inputs.plates)
    return (
        f"two pumps ({bodies}) and {result.inputs.floats.kind} floats need a pit {say(room.needed_m, 'length')} wide; "
        f"this one is {say(room.across_m, 'length')} at the bottom"
    )


def _make_room(result, say):
    return [
        wider(result, result.room.needed_m, say),
        one("vertical floats instead of tethered ones", {"sizing.floats": {"kind": "vertical", "travel": "1 in"}},
            HAND),
    ]  # fmt: skip


def _code(result, say):
    across, depth = result.inputs.diameter_m, result.inputs.pit.floor_m
    small = []
    if across < limit("pit_diameter") - 1e-4:
        small.append(f"{say(across, 'length')} wide, minimum {say(limit('pit_diameter'), 'length')}")
    if depth < limit("pit_depth") - 1e-4:
        small.append(f"{say(depth, 'length')} deep, minimum {say(limit('pit_depth'), 'length')}")
    if not small:
        return None
    return f"below the code minimum ({'; '.join(small)}: International Plumbing Code 1113.1.2); the local code decides"


def _to_code(result, say):
    family = []
    for width in wider(result, limit("pit_diameter"), say)[:1] if result.inputs.diameter_m < limit(
        "pit_diameter"
    ) - 1e-4 else [Cure("", {})]:  # fmt: skip
        edits, text = dict(width.edits), width.text
        if result.inputs.pit.floor_m < limit("pit_depth") - 1e-4:
            need = limit("pit_depth")
            for cure in deeper(result, say):
                depth = result.inputs.pit.floor_m + 0.1524 * (1 + len(family))
                edits = {**cure.edits, **width.edits}
                family.append(Cure(f"{cure.text}{', ' + text if text else ''}", edits, cost(result, "pit")))
                if depth >= need:
                    break
        else:
            family.append(Cure(text, edits, cost(result, "pit")))
    return [family]


def _starts(result, say):
    allowed = min(plate.starts_per_hour for plate in result.inputs.plates)
    starts = result.starts["design"]
    if starts <= allowed:
        return None
    turns = result.cycling
    return (
        f"{say(turns.band_m3, 'volume')} between off and lead give {starts:.1f} starts per hour of each motor at "
        f"{say(result.worst['design'], 'flow')} (cycle time "
        f"{say(turns.time_s(result.worst['design']), 'seconds')}); "
        f"{_allowed(starts, allowed, say)}"
    )


def _allowed(starts, allowed, say):
    if not at_limit(starts, allowed):
        return f"limit {allowed:g}"
    source = limit_row("tolerance").source
    return f"at the limit of {allowed:g}, within {say(limit('tolerance'), 'share')} ({source})"


def _starts_at_limit(case):
    def test(result):
        return at_limit(result.starts[case], min(plate.starts_per_hour for plate in result.inputs.plates))

    return test


def _fewer_starts(result, say):
    families = [_ask_maker(result, result.starts["design"]), _alternate(result), spread(result, say)]
    allowed = min(plate.starts_per_hour for plate in result.inputs.plates)
    ratio = result.starts["design"] / allowed
    # Starts go with one over the area, so that is where the search begins.
    families.append(wider(result, result.inputs.diameter_m * sqrt(ratio) * 0.97, say))
    families += [deeper(result, say), much_deeper(result, say), _smaller(result, say)]
    return families


MOST_ASKED = 30.0  # starts per hour that a maker's sheet may be hoped to allow; our own choice


def _ask_maker(result, starts):
    # Where the limit was assumed, the maker's own may be higher; looking costs nothing.
    assumed = {item.key for item in result.inputs.assumptions}
    sizing, edits = result.inputs.data.get("sizing", {}), {}
    for key, whats in (("motor", ("starts per hour of pump 1",)), ("motor1", ("starts per hour of pump 1",)),
                       ("motor2", ("starts per hour of pump 2",))):  # fmt: skip
        taken = f"sizing.{key}.starts_per_hour" in assumed or assumed & set(whats)
        if taken and (key in sizing or (key == "motor" and "motor1" not in sizing)):
            edits[f"sizing.{key}.starts_per_hour"] = float(ceil(starts))
    if not edits or starts > MOST_ASKED:
        return []
    text = f"look up how many starts per hour the maker allows (the limit was assumed): {ceil(starts)} would be enough"
    return one(text, edits, SETTING, True)


def _smaller(result, say):
    # A smaller pump must still carry the design inflow by itself.
    need = result.design.inflow_m3s / result.reserve.one_m3s if result.reserve.one_m3s > 0.0 else 1.0
    steps = [x / 10.0 for x in range(9, 1, -1) if x / 10.0 > 1.05 * need]
    return other_pump(result, steps, say)


def _alternate(result):
    # A battery pump beside a mains pump is the backup: taking turns would empty its battery before the storm.
    if not fixed_duty(result) or len({pump.supply == "battery" for pump in result.inputs.pumps}) > 1:
        return []
    text = 'set the setting "duty" to alternate: the pumps take turns, and each makes every other start'
    return one(text, {"settings.duty": 0}, SETTING)


def _starts_alone(result, say):
    allowed = min(plate.starts_per_hour for plate in result.inputs.plates)
    starts = result.starts["alone design"]
    if starts <= allowed or _starts(result, say) is not None:
        return None
    return (
        f"with one pump out of service the other makes {starts:.1f} starts per hour; "
        f"{_allowed(starts, allowed, say)}; repair or replace the failed pump within days"
    )


def _fewer_alone(result, say):
    allowed = min(plate.starts_per_hour for plate in result.inputs.plates)
    ratio = result.starts["alone design"] / allowed
    return [
        _ask_maker(result, result.starts["alone design"]),
        spread(result, say),
        wider(result, result.inputs.diameter_m * sqrt(ratio) * 0.97, say),
        deeper(result, say),
        much_deeper(result, say),
        _smaller(result, say),
    ]


def _fixed(result, say):
    equal = result.inputs.pumps[0].supply == result.inputs.pumps[1].supply
    if not fixed_duty(result) or not equal:
        return None
    return (
        "one pump always leads although both are alike: it wears out first, and the other one is hardly ever exercised"
    )


def _short_run(result, say):
    need = max(plate.least_run_s for plate in result.inputs.plates)
    runs = [result.cycling.run_empty_s(n) for n in (0, 1)]
    if min(runs) >= need:
        return None
    return (
        f"with little inflow a run lasts {say(min(runs), 'seconds')}; the motor needs {say(need, 'seconds')} to shed "
        "the heat of its start"
    )


def _longer_run(result, say):
    need = max(plate.least_run_s for plate in result.inputs.plates)
    ratio = need / min(result.cycling.run_empty_s(n) for n in (0, 1))
    return [
        spread(result, say),
        wider(result, result.inputs.diameter_m * sqrt(ratio) * 0.97, say),
        deeper(result, say),
        much_deeper(result, say),
        _smaller(result, say),
    ]


def _short_rest(result, say):
    need = max(plate.least_rest_s for plate in result.inputs.plates)
    rest = result.cycling.shortest_fill_s(result.design.inflow_m3s)
    if rest >= need:
        return None
    return (
        f"at the design inflow the pit refills in {say(rest, 'seconds')}: with one pump out of service the other rests "
        f"less than the {say(need, 'seconds')} it needs"
    )


def _longer_rest(result, say):
    need = max(plate.least_rest_s for plate in result.inputs.plates)
    ratio = need / max(1.0, result.cycling.shortest_fill_s(result.design.inflow_m3s))
    return [spread(result, say), wider(result, result.inputs.diameter_m * sqrt(ratio) * 0.97, say), deeper(result, say),
            much_deeper(result, say)]  # fmt: skip


def _holes(result, say):
    passes = result.room.entrance_m3s
    if passes is None or passes >= result.design.inflow_m3s:
        return None
    return (
        f"the holes pass {say(passes, 'flow')} under {say(limit('entrance_head'), 'length')} of head, less than "
        f"the design inflow of {say(result.design.inflow_m3s, 'flow')}: the water table stays high around the basin"
    )


def _more_holes(result, say):
    count = result.room.holes_needed
    hole = result.inputs.data.get("sizing", {}).get("basin", {}).get("hole", "0.5 in")
    return [one(f"{count} holes of {hole} below the lead contact, behind fabric", {"sizing.basin.holes": count})]


def _no_check(result, say):
    missing = [str(n + 1) for n in (0, 1) if not result.inputs.piping.check[n]]
    if not missing:
        return None
    share = result.room.drain_back_share
    return (
        f"no check valve on pump {' and '.join(missing)}: after every stop "
        f"{say(result.room.drain_back_m3, 'volume')} "
        f"drain back, {say(share, 'share')} of the band, and on a shared line the idle pump is driven backwards "
        "(International Plumbing Code 1113.1.4, from memory: a check valve and a full-open valve)"
    )


def _riser_fitting(result, test, name):
    edits = {}
    for key in ("riser", "riser1", "riser2"):
        if key in result.inputs.data["discharge"]:
            n = 1 if key == "riser2" else 0
            if not test[n] or (key == "riser" and not test[1]):
                edits[f"discharge.{key}.fittings.{name}"] = 1
    return edits


def _fit_check(result, say):
    return [
        one(
            "a check valve in each riser, within reach above the pit",
            _riser_fitting(result, result.inputs.piping.check, "swing_check"),
        )
    ]


def _no_valve(result, say):
    missing = [str(n + 1) for n in (0, 1) if not result.inputs.piping.valve[n]]
    if not missing:
        return None
    return f"no full-open valve above the check valve of pump {' and '.join(missing)}: it cannot be pulled in a flood"


def _fit_valve(result, say):
    return [
        one(
            "a full-bore ball valve above each check valve",
            _riser_fitting(result, result.inputs.piping.valve, "ball_valve"),
        )
    ]


def _drains_back(result, say):
    if not all(result.inputs.piping.check) or result.room.drain_back_share <= limit("drain_back"):
        return None
    return (
        f"{say(result.room.drain_back_m3, 'volume')} drain back through the weep hole after each stop, "
        f"{say(result.room.drain_back_share, 'share')} of the band"
    )


def _less_back(result, say):
    return [spread(result, say), wider(result, result.inputs.diameter_m * 1.2, say), deeper(result, say)]


def _floats_up(result, say):
    room = result.room
    if result.inputs.basin.held_down or room.uplift_kg <= 0.0 or room.held_kg >= limit("uplift") * room.uplift_kg:
        return None
    return (
        f"groundwater {say(result.inputs.basin.water_table_m, 'distance')} above its bottom lifts the "
        "pumped-down basin "
        f"with {say(room.uplift_kg, 'mass')}; basin and pumps weigh {say(room.held_kg, 'mass')}"
    )


def _hold_down(result, say):
    need = ceil(limit("uplift") * result.room.uplift_kg - result.room.held_kg + result.inputs.basin.weight_kg + 1.0)
    return [
        one("cast the basin's rim into the floor slab", {"sizing.basin.held_down": True}, CONCRETE),
        one(
            f"ballast: {say(need, 'mass')} of basin and concrete, weighed under water (concrete loses about 40 % of "
            "its weight there)",
            {"sizing.basin.weight": text_of(need, "mass")},
            CONCRETE,
        ),
    ]


def _cover(result, say):
    if result.inputs.basin.cover == "bolted":
        return None
    word = "is not bolted" if result.inputs.basin.cover == "loose" else "is missing"
    return f"the cover {word}: a child can drown in an open pit, and moisture and soil gas come up through it"


def _bolt(result, say):
    return [one("a bolted cover with grommets for pipes and cords", {"sizing.basin.cover": "bolted"})]


REMARKS = (
    Remark("no_room", SECTION, True, "pumps and floats do not fit", _no_room, _make_room, True),
    Remark("below_code_minimum", SECTION, True, "pit below the code minimum", _code, _to_code),
    Remark(
        "pit_too_small",
        CYCLING,
        True,
        "too many starts: the pit is too small",
        _starts,
        _fewer_starts,
        True,
        _starts_at_limit("design"),
        "starts per hour at the limit",
    ),
    Remark(
        "starts_alone",
        CYCLING,
        False,
        "too many starts with one pump out",
        _starts_alone,
        _fewer_alone,
        True,
        _starts_at_limit("alone design"),
        "starts per hour with one pump out at the limit",
    ),
    Remark(
        "always_the_same_lead", CYCLING, False, "equal pumps do not alternate", _fixed, lambda r, say: [_alternate(r)]
    ),
    Remark("short_run", CYCLING, False, "runs too short for the motor", _short_run, _longer_run, True),
    Remark("short_rest", CYCLING, False, "rests too short for the motor", _short_rest, _longer_rest),
    Remark("holes_too_small", SECTION, False, "basin holes too small", _holes, _more_holes),
    Remark("no_check_valve", SECTION, True, "no check valve", _no_check, _fit_check),
    Remark("no_full_open_valve", SECTION, False, "no full-open valve", _no_valve, _fit_valve),
    Remark("drains_back", SECTION, False, "much water drains back", _drains_back, _less_back),
    Remark("basin_floats", SECTION, False, "basin can float", _floats_up, _hold_down, True),
    Remark("open_pit", SECTION, False, "no bolted cover", _cover, _bolt),
)
