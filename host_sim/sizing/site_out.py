"""The sized site: the same document with contacts, settings, inflow and scenario filled in, as `night` takes it."""

from host_sim.sizing import contacts
from host_sim.sizing.document import edited, look, to_toml
from host_sim.sizing.limits import GPM

HEADING = """Sized by sumpbench size.  sizing.written lists the keys that it calculated, and calculates
again when this file is sized again.  Take a key off that list to keep a value of your own.
Local codes and licensed trades decide."""
RISING_H, PEAK_H, WHOLE_H = 2, 4, 8


def sized(result, inflow_m3s=None, hours=None):
    """Return the sized document of a Result.

    The inflow rises to the design inflow in 2 h, stays for 4 h and falls,
    unless the site brings its own inflow and scenario; with `inflow_m3s` and
    `hours` it is constant instead, for a check of the promise.
    """
    data = result.inputs.data
    edits = {
        "contacts": contacts.tables(result.contacts, result.inputs.closed, result.inputs.floats.kind),
        "settings": contacts.site_settings_table(result.settings),
        "controller.sensing": result.inputs.sensing,
    }
    if "name" not in data:
        edits["name"] = result.inputs.name
    if "floor_area" not in data["pit"]:
        edits["pit.floor_area"] = "600 ft2"
    for key in ("pump", "pump1", "pump2"):
        if key in data and "rated_current" not in data[key] and key == "pump":
            edits["pump.rated_current"] = "10 A"
    if inflow_m3s is not None:
        edits.update(_constant(result, inflow_m3s, hours))
    elif not data.get("inflow") and "groundwater" not in data:
        edits["inflow"] = [_flood(result.design.inflow_m3s)]
        edits["scenario"] = {
            "begins": "20:00",
            "lasts": f"{WHOLE_H} h",
            "seed": 1,
            **(data["scenario"] if isinstance(data.get("scenario"), dict) else {}),
        }
    elif "scenario" not in data:
        edits["scenario"] = {"begins": "20:00", "lasts": f"{WHOLE_H} h", "seed": 1}
    edits["sizing.written"] = _written(data, edits)
    return edited(data, edits)


def _written(data, edits):
    # What stands in the file only because sizing put it there.
    found = [key for key in edits if key not in ("settings", "contacts") and look(data, key) is None and edits[key]]
    if "contacts" not in data:
        found.append("contacts")
    given = data.get("settings", {})
    return found + [f"settings.{name}" for name in edits["settings"] if name not in given]


def _flood(design_m3s):
    def gpm(share):
        return f"{share * design_m3s / GPM:.3f} gpm"

    ends = RISING_H + PEAK_H
    rows = [["0 h", gpm(0.1)], [f"{RISING_H} h", gpm(1.0)], [f"{ends} h", gpm(1.0)], [f"{WHOLE_H} h", gpm(0.2)]]
    return {"kind": "hydrograph", "flows": rows}


def _constant(result, inflow_m3s, hours):
    start = f"{result.contacts[0].dry_m * 1000.0:.3f} mm"
    return {
        "inflow": [{"kind": "constant", "rate": f"{inflow_m3s / GPM:.9f} gpm"}],
        "groundwater": None,
        "scenario": {"begins": "00:00", "lasts": f"{hours:.6f} h", "seed": 1},
        "pit.start_level": start,
        "action": None,
        # Seeping back is already in the design inflow, so a check of the promise leaves it out.
        "discharge.seeps_back": None,
        "discharge.seeps_back_after": None,
        "waves": None,
    }


def text(result):
    """Return the sized site as TOML text."""
    return to_toml(sized(result), HEADING)
