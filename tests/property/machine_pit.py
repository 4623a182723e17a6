"""Random nights in the closed pit: one faulty float, one good pump, any inflow that it can carry."""

from duplexsump.control import records as r

from tests.pit import GPM, RATE, Pit
from tests.rig import NO_CURRENT, WITH_CURRENT, WITH_FEEDBACK, Rig

HOUR = 3600
OTHER_PUMP = ("good", "good", "off", "dead", "jammed", "airlock")


def some_night(chooser):
    """Return a random night as a dictionary that says everything about it."""
    pick, number = chooser.pick, chooser.number
    good = pick((1, 2))
    sensing = pick((NO_CURRENT, WITH_FEEDBACK, WITH_CURRENT, WITH_CURRENT))
    return {
        "sensing": sensing,
        "inflow_gpm": number(2, 300) / 10,  # a pump carries 34.6
        "second_gpm": number(2, 300) / 10,
        "turn_s": number(5, 50) * 60,
        "level_mm": number(0, 440),
        "float": pick(("off", "lead", "lag", "high")),
        "how": pick(("wet", "dry")),
        "from_s": number(0, 3000),
        "lasts_s": pick((30, 300, 1200, 100_000)),
        "good": good,
        "other": pick(OTHER_PUMP),
        "other_from_s": number(0, 3000),
        "duty": pick((0, 0, 1, 2)),
    }


def play_night(night, hours=1.5, watchers=()):
    """Play a night; return (rig, pit)."""
    inflow = [(0, night["inflow_gpm"] * GPM), (night["turn_s"], night["second_gpm"] * GPM)]
    pit = Pit(inflow, level_mm=night["level_mm"])
    assert max(night["inflow_gpm"], night["second_gpm"]) * GPM < RATE
    name, how = night["float"], night["how"]
    pit.at(night["from_s"], lambda pit: pit.float_fault.__setitem__(name, how))
    pit.at(night["from_s"] + night["lasts_s"], lambda pit: pit.float_fault.pop(name, None))
    rig = Rig(plant=pit, boot=False, sensing=night["sensing"], duty=night["duty"], starts_per_hour=60)
    other = 1 - (night["good"] - 1)
    if night["other"] == "off":
        rig.at(night["other_from_s"], lambda rig: rig.held.__setitem__(r.IN_SELECTOR_1 + other, r.SELECT_OFF))
    elif night["other"] != "good":
        pit.at(night["other_from_s"], lambda pit: pit.pump_fault.__setitem__(other, night["other"]))
    for watcher in watchers:
        watcher(rig)
    rig.power_up()
    rig.run(hours * HOUR)
    return rig, pit
