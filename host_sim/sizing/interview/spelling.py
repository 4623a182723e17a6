"""How people name the choices of the interview: one word that means one of them, or one that may mean several.

The whole answer is looked up, after the choices themselves and their beginnings;
what may mean several is refused with those that it may mean.
"""

import re

# question key, without its pump's number: {what is said: what is meant, or a tuple of what it may mean}
SAID = {
    "backup": {"battery backup": "battery pump", "backup pump": "battery pump", "dc pump": "battery pump",
               "12 v pump": "battery pump", "no": "none", "nothing": "none", "genset": "generator",
               "standby generator": "generator", "ups": "inverter", "yes": ("battery pump", "inverter", "generator")},
    "installed": {"all": "everything", "none": "nothing", "new": "nothing", "basin": "pit",
                  "pipe": "pit and pipe", "pumps": "pit, pipe and pumps"},
    "basin": {"plastic": ("solid basin", "basin with holes"), "fiberglass": ("solid basin", "basin with holes"),
              "perforated": "basin with holes", "holes": "basin with holes", "solid": "solid basin",
              "poured": "concrete", "block": "concrete", "tile": "concrete"},
    "shape": {"circular": "round", "circle": "round", "cylinder": "round", "rectangular": "square",
              "tapered": "bucket", "cone": "bucket"},
    "cover": {"open": "none", "no": "none", "screwed": "bolted", "sealed": "bolted"},
    "evidence": {"no": "nothing measured", "none": "nothing measured", "nothing": "nothing measured",
                 "rise": "rise test", "drawdown": "pump-down test", "draw-down": "pump-down test",
                 "counted starts": "log", "starts": "log", "roof": "drained area"},
    "falls_pump": {"1": "pump 1", "2": "pump 2", "the mains pump": "pump 1", "mains pump": "pump 1", "mains": "pump 1",
                   "the battery pump": "pump 2", "battery pump": "pump 2", "battery": "pump 2", "both pumps": "both",
                   "stronger": "the stronger", "one": ("pump 1", "pump 2"), "pump": ("pump 1", "pump 2")},
    "weather": {"wettest week": "wettest", "storm": "wettest", "rain": "wet"},
    "lines": {"one": "shared", "one pipe": "shared", "joined": "shared", "common": "shared", "own": "separate",
              "two": "separate", "its own": "separate", "each its own": "separate", "both": ("shared", "separate")},
    "material": {"pvc": ("PVC schedule 40", "PVC schedule 80", "cellular-core DWV"),
                 "dwv": ("cellular-core DWV", "ABS"),
                 "plastic": ("PVC schedule 40", "ABS", "polyethylene pressure"), "pe": "polyethylene pressure",
                 "hose": "corrugated drain", "flex": "corrugated drain"},
    "to": {"sewer": ("storm drain", "sanitary sewer"), "storm sewer": "storm drain",
           "street": ("storm drain", "daylight"),
           "yard": "daylight", "lawn": "daylight", "ditch": "daylight", "outside": "daylight", "drywell": "dry well"},
    "chemistry": {"lead": ("flooded", "AGM"), "lead acid": ("flooded", "AGM"), "lead-acid": ("flooded", "AGM"),
                  "wet": "flooded", "deep cycle": ("flooded", "AGM"), "gel": "AGM", "sealed": "AGM",
                  "lifepo4": "lithium", "li": "lithium"},
    "room": {"basement": ("heated", "unheated"), "warm": "heated", "cold": "unheated", "yes": "heated",
             "no": "unheated"},
    "sensor": {"ct": "current transformer", "transformer": "current transformer", "hall": "Hall sensor"},
    "float_kind": {"cord": "tethered", "cords": "tethered", "on cords": "tethered", "rod": "vertical",
                   "rods": "vertical", "on rods": "vertical", "pressure": "transmitter", "sensor": "transmitter",
                   "float": ("vertical", "tethered"), "floats": ("vertical", "tethered")},
}  # fmt: skip


def meant(key, text, choices):
    """Return the choice that a text names, or the text where it is not known.

    `key` is the question's.  Raises ValueError with what it may mean where that
    is more than one.
    """
    words = re.sub(r"[\s.]+", " ", text.lower()).strip()
    found = SAID.get(re.sub(r"_\d$", "", key), {}).get(words, text)
    if isinstance(found, tuple):
        raise ValueError(f'"{text}" may be {_or(found)}: which?')
    begins = [one for one in choices if one.lower().startswith(words)]
    if found == text and len(begins) > 1 and words not in [one.lower() for one in choices]:
        raise ValueError(f'"{text}" may be {_or(begins)}: which?')
    return found


def _or(words):
    return ", ".join(words[:-1]) + f" or {words[-1]}"
