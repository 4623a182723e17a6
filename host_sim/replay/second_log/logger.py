"""What a logger keeps of a night: rows, resolution, noise, channels."""

from dataclasses import dataclass

import numpy as np

from host_sim.replay.reading import rows_by_name, table_log
from host_sim.replay.reading.mapping import read as mapping_of
from host_sim.replay.second_log.pit import STEP_S

ROWS_S = (1, 5, 10, 30, 60, 300)
STEPS_MM = (1, 5, 10)
NOISES_MM = (0, 3, 10)
CHANNELS = ("level", "level and run", "run only", "contacts", "events")
WITH_LEVEL = ("level", "level and run", "events")  # those for which resolution and noise mean something


@dataclass(frozen=True)
class Logger:
    """A logger: seconds between rows, resolution and noise (standard deviation) in mm, one of CHANNELS."""

    every_s: int = 1
    step_mm: int = 1
    noise_mm: int = 0
    channels: str = "level"

    def __str__(self):
        """Return the setting in a few words."""
        return f"{self.every_s} s, {self.step_mm} mm, {self.noise_mm} mm, {self.channels}"


def _events(table):
    # As a home-automation export: one reading a row, written only where it differs from the last of its name.
    found = {"t": [], "name": [], "value": []}
    last = {}
    for i, time in enumerate(table["t"]):
        for name in table:
            if name != "t" and last.get(name) != table[name][i]:
                last[name] = table[name][i]
                for key, cell in zip(("t", "name", "value"), (time, name, last[name]), strict=True):
                    found[key].append(cell)
    return found


def log_of(night, logger):
    """Return the Log that the replay reads of a night.  Raises InputError where it refuses."""
    rng = np.random.default_rng([night.seed, logger.every_s, logger.step_mm, logger.noise_mm])
    first = int(rng.integers(0, max(1, int(logger.every_s / STEP_S))))
    rows = np.arange(first, len(night.level), int(logger.every_s / STEP_S))
    table = {"t": [float(x) for x in rows * STEP_S]}
    given = {"time": {"column": "t", "format": "seconds"}}
    if logger.channels in WITH_LEVEL:
        level = night.level[rows] * 1000.0 + rng.normal(0.0, 1.0, len(rows)) * logger.noise_mm
        table["h"] = [float(x) for x in np.round(level / logger.step_mm) * logger.step_mm]
        given["level"] = {"column": "h", "unit": "mm"}
    if logger.channels in ("level and run", "run only", "events"):
        for p in (0, 1) if night.controller != "float switch" else (0,):
            table[f"p{p + 1}"] = [str(int(x)) for x in night.on[p, rows]]
            given[f"pump{p + 1}"] = {"column": f"p{p + 1}"}
    if logger.channels == "contacts":
        given["contacts"] = {}
        for name in ("off", "lead", "lag", "high"):
            table[name] = [str(int(x)) for x in night.floats[name][rows]]
            given["contacts"][name] = {"column": name}
    if logger.channels == "events":
        table, given["file"] = _events(table), {"names": "name", "values": "value"}
    mapping = mapping_of(given)
    rows, issues = len(table["t"]), []
    if logger.channels == "events":
        table, rows = rows_by_name.spread(table, mapping, issues, "second log")
    log = table_log.make("second log", table, mapping, issues, rows)
    table_log.require_water(log, mapping)
    return log
