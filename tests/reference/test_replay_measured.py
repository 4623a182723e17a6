"""A water table that somebody measured goes through the reader, drives an invented pit, and is found again.

Source: hourly pressures of an observation well and of the air beside it, July 2020 to February 2022,
from the PyPI package gensor 0.4.1 (MIT licence), its folder testdata/.  Nobody has a public log of a sump
pit, so the pit, its height against the well and the conductance of its ground are invented.
"""

import tomllib
from datetime import timedelta
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
import tomli_w

from host_sim.plant import water_table
from host_sim.replay import inflow, segments
from host_sim.replay.reading import mapping, table_log
from host_sim.run.closed_loop import run
from host_sim.site.load import packaged, read_site
from tests.replay_nights import logged

GENSOR = find_spec("gensor")  # found and not imported: only its files are wanted, and its import takes seconds
if GENSOR is None:
    pytest.skip("gensor (the measured water table) is not installed", allow_module_level=True)
FOLDER = Path(GENSOR.origin).parent / "testdata"


def well_mapping():
    """Return the mapping of a well's file: pressure in centimetres of water."""
    return mapping.read({
        "file": {"encoding": "latin-1"},
        "time": {"column": "Date/time", "format": "%Y/%m/%d %H:%M:%S", "zone": "UTC"},
        "level": {"column": "Pressure[cmH2O]", "unit": "cm"},
    })  # fmt: skip


@pytest.fixture(scope="module")
def well():
    """Give the Log of well b as its logger wrote it."""
    return table_log.read(FOLDER / water_table.WELLS["b"], well_mapping())


def test_the_reader_meets_every_row_of_the_measured_file(well):
    lines = (FOLDER / water_table.WELLS["b"]).read_text(encoding="latin-1").splitlines()
    assert well.rows_read == len(well.time_s) == len(lines) - 2  # a header, and a closing line that is no row
    assert [f.kind for f in well.issues if f.kind == "incomplete line"] == ["incomplete line"]
    assert well.spacing_s == 3600.0
    assert well.begins.year == 2020


def test_the_readers_water_column_is_that_of_the_water_table_route(well):
    columns, _ = water_table.water_columns("b")
    at = {when.replace(tzinfo=None): column for when, column in columns}
    air = water_table._pressures(FOLDER / water_table.AIR)
    compared = 0
    for second, pressure in zip(well.time_s, well.level_m, strict=True):
        when = (well.begins + timedelta(seconds=float(second))).replace(tzinfo=None)
        if when in at and not np.isnan(pressure):
            assert pressure - air[when] / 100.0 == pytest.approx(at[when], abs=1e-9)
            compared += 1
    assert compared > 13000


@pytest.mark.long
@pytest.mark.parametrize("outlet", ["9 ft", "11 ft"])  # at 11 ft noise may split a draw-down in two straight pieces
def test_the_inflow_that_the_measured_table_made_is_found_again(well, tmp_path, outlet):
    columns, _ = water_table.water_columns("a")
    rows = ["time,level", *(f"{when.isoformat()},{column:.4f}" for when, column in columns)]
    (tmp_path / "table.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    plan = tomllib.loads(packaged("water_table").read_text(encoding="utf-8"))
    plan["groundwater"]["series"] = {"source": "file", "file": "table.csv", "begins": "2021-01-28T00:00",
                                     "zero": "1.8 m"}  # fmt: skip
    plan["scenario"] = {"lasts": "12 h", "seed": 3}
    plan["discharge"]["outlet"] = outlet
    plan.pop("action")
    site = read_site(tomli_w.dumps(plan), tmp_path, "measured")
    trace = run(site)
    log = logged(trace, every_s=5.0)
    rates = inflow.Rates(site)
    found = inflow.reconstruct(log, segments.segments(log, site, rates.nominal()), site, rates)
    truth = np.interp(found.time_s, trace.time_s, trace.inflow_m3s)
    # The inflow saw-tooths with the pit's own level (linear recharge), so every fill is a curve.
    error = np.abs(found.flow_m3s - truth) / truth.mean()
    assert np.median(error) < 0.08
    assert found.volume_m3() == pytest.approx(trace.totals.inflow_m3, rel=0.03)
