"""The expected values of the hose test: from the sizing (site file or sizing.json), else from the board's settings."""

import contextlib
import copy
import json
from dataclasses import dataclass, field
from pathlib import Path

from duplexsump.control import settings as s

from host_sim.errors import InputError
from host_sim.plant.discharge import Drive, Outlet
from host_sim.site.load import read_data
from host_sim.sizing import cycling, reading
from host_sim.sizing.command import load

BOTH = 2  # place of the two pumps together


@dataclass
class ExpectedValues:
    """Rates in m3/s of pump 1, pump 2 and both over one draw-down; volumes in m3; None where not given."""

    source: str
    name: str = ""
    rates_m3s: list = field(default_factory=lambda: [None, None, None])
    draw_m3: float | None = None  # from lead dry to off dry, falling
    fill_m3: float | None = None  # from off wet to lead wet, rising
    refill_m3: float | None = None  # from off dry to off wet, rising
    plate_a: list = field(default_factory=lambda: [None, None])
    plate_v: list = field(default_factory=lambda: [None, None])
    per_amp: list = field(default_factory=lambda: [1.0, 1.0])  # what the board's sensor reports for each ampere
    settings: list | None = None


def read(path, values):
    """Return the ExpectedValues of a site file, a sizing.json or a sizing's folder.

    `values` are the settings on the board, from which they are taken when `path`
    is None.  Raises InputError when the file cannot be used.
    """
    if path is None:
        return from_settings(values)
    path = Path(path)
    if path.is_dir():
        path = path / "sizing.json"
    if path.suffix != ".json":
        data = load(path)
        found = from_site(data, str(path))
        # As `settings push` has it: a whole site file carries the settings that follow from it.
        with contextlib.suppress(InputError):
            found.settings = list(read_data(data, path.parent, str(path)).settings)
        return found
    try:
        report = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(f"cannot be read: {error}", str(path)) from error
    if not isinstance(report, dict) or report.get("made_by") != "sumpbench size":
        raise InputError("is not a sizing.json that `sumpbench size` wrote: name one, or a site file", str(path))
    beside = path.with_name("site.toml")
    if not beside.exists():
        raise InputError("the site.toml that the sizing wrote is not beside it: keep both in one folder", str(path))
    found = from_site(load(beside), str(beside))
    found.settings = _settings(report, str(path))
    return found


def _settings(report, source):
    found, values = report.get("settings"), s.defaults()
    names = [row[s.NAME] for row in s.TABLE]
    if not isinstance(found, dict) or not all(isinstance(value, int) for value in found.values()):
        raise InputError("holds no table of settings: run `sumpbench size` again", source)
    for i, name in enumerate(names):
        values[i] = found.get(name, values[i])
    return values


def from_settings(values):
    """Return the values in a board's settings: one pump's rate and the band volume, both from the sizing."""
    found = ExpectedValues("the settings on the board (no sizing was given)")
    band, draw_ms = values[s.BAND_VOLUME_ML] / 1e6, values[s.PUMP_DOWN_LEAD_MS]
    if band > 0.0 and draw_ms > 0 and values[s.FITTED] & 1:
        found.draw_m3 = found.fill_m3 = band
        found.rates_m3s[0] = found.rates_m3s[1] = band * 1000.0 / draw_ms
    if values[s.SENSING] == s.SENSE_CURRENT:
        found.plate_a = [values[s.RATED_1_MA + n] / 1000.0 for n in (0, 1)]
    return found


def from_site(data, source):
    """Return the expected values of a site document.  Raises InputError with all of its errors.

    The contacts that a sizing wrote into it count: the floats were hung by them.
    """
    site = reading.read(_with_contacts(data), source)
    found = ExpectedValues(source, site.name)
    for n, pump in enumerate(site.pumps):
        found.plate_a[n], found.plate_v[n] = pump.motor.rated_a, pump.motor.volts
        found.per_amp[n] = pump.motor.sensor_scale
    contacts = site.contacts
    if len(contacts) == 4 and contacts[0] is not None and contacts[1] is not None:
        off, lead, volume = contacts[0], contacts[1], site.pit.volume_m3
        found.draw_m3 = volume(lead.dry_m) - volume(off.dry_m)
        found.fill_m3 = volume(lead.wet_m) - volume(off.wet_m)
        found.refill_m3 = volume(off.wet_m) - volume(off.dry_m)
        for place, turning in enumerate(((True, False), (False, True), (True, True))):
            regime = site.lines.regime(tuple(Drive(turning=on) for on in turning), Outlet())
            seconds = cycling.travel_s(regime, site.pit, volume(lead.dry_m), volume(off.dry_m), 0.0)
            found.rates_m3s[place] = found.draw_m3 / seconds
    return found


def _with_contacts(data):
    # A sizing lists them among what it calculates again.
    data = copy.deepcopy(data)
    sizing = data.get("sizing")
    if isinstance(sizing, dict) and isinstance(sizing.get("written"), list):
        sizing["written"] = [key for key in sizing["written"] if not str(key).startswith("contacts")]
    return data
