"""The replay as a library, its tables and exports, and the notebook that shows both."""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import host_sim.replay
from host_sim.cli.app import app
from host_sim.errors import InputError
from host_sim.replay import api, night
from host_sim.replay.inputs import beside
from host_sim.replay.reading import export, mapping
from tests.replay_nights import demo, flood_night, logged
from tests.replay_nights import night as simulate

pq = pytest.importorskip("pyarrow.parquet")


@pytest.fixture(scope="module")
def flood(tmp_path_factory):
    """Give (path of the flood night's log with its mapping beside it, its Log)."""
    path = tmp_path_factory.mktemp("api") / "flood.csv"
    _, _, log = flood_night()
    export.write(log, path)
    beside(path).write_text(mapping.as_toml(export.mapping_of(log, "csv")))
    return path, log


@pytest.mark.long
def test_read_account_what_if_say_what_the_command_says(flood):
    path, log = flood
    read = api.read(path, "demo")
    assert np.array_equal(read.time_s, log.time_s)
    found = api.account(read, "demo", "single")
    assert found.findings[0].kind == "late start" and not found.floor_dry
    outcomes = api.what_if(found, ["repaired"])
    assert [one.change for one in outcomes] == ["as it was", "repaired"] and outcomes[1].dry
    assert len(api.what_if(found, ["pump=150%"])) == 2  # not on top of those before


@pytest.mark.long
def test_tables_hold_what_the_dataclasses_hold(flood):
    path, _ = flood
    found = api.account(api.read(path, "demo"), "demo", "single")
    api.what_if(found, ["repaired"])
    tables = api.tables(found)
    assert {name: table.num_rows for name, table in tables.items()} == {
        "rows": len(found.log.time_s), "inflow": len(found.flow.time_s), "findings": len(found.findings),
        "runs": len(found.runs), "outcomes": 2}  # fmt: skip
    frame = tables["inflow"].to_pandas()
    assert np.array_equal(frame.flow_m3s, found.flow.flow_m3s)
    assert tables["findings"]["confidence"].to_pylist() == [one.confidence for one in found.findings]
    assert tables["outcomes"]["floor_dry"].to_pylist() == [False, True]


def test_a_journal_replays_and_is_accounted_for_by_the_same_functions(tmp_path):
    simulate(demo(0.5)).journal.write(tmp_path / "journal.jsonl")
    assert api.replay(tmp_path / "journal.jsonl").passed
    found = api.account(api.read(tmp_path / "journal.jsonl", "demo"), "demo", "duplex")
    assert found.log.every_change and found.recorded.starts[1] > 0


def test_what_cannot_be_used_is_an_input_error(tmp_path, flood):
    (tmp_path / "log.csv").write_text("t,h\n0,1\n")  # and no mapping beside it
    for name in ("absent.csv", "log.csv"):
        with pytest.raises(InputError, match="cannot be read"):
            api.read(tmp_path / name, "demo")


@pytest.mark.long
def test_the_export_carries_rows_findings_and_the_whole_account(tmp_path, flood):
    path, log = flood
    made = tmp_path / "night.parquet"
    done = CliRunner().invoke(app, ["replay", str(path), "--site", "demo", "--no-what-if", "--export", str(made),
                                    "--out", str(tmp_path / "out")])  # fmt: skip
    assert done.exit_code == 0, done.output
    table = pq.read_table(made)
    assert table.num_rows == len(log.time_s)
    assert np.allclose(table["level_m"].to_numpy(), log.level_m, equal_nan=True)
    low, high = (table[f"inflow_{name}_m3s"].to_numpy() for name in ("low", "high"))
    assert (low <= high).all() and table["time"][0].as_py() == log.begins.replace(tzinfo=None)
    told = json.loads(table.schema.metadata[b"account"])
    assert told["findings"][0]["kind"] == "late start"


@pytest.mark.parametrize(("name", "content", "said"), [
    ("night.xlsx", None, "ends in .parquet or .csv"),
    ("night.csv", "mine\n", "no replay of ours wrote it"),
    ("night.parquet", "mine\n", "no replay of ours wrote it"),
])  # fmt: skip
def test_an_export_that_cannot_be_written_is_refused_before_anything_runs(tmp_path, flood, name, content, said):
    if content is not None:
        (tmp_path / name).write_text(content)
    done = CliRunner().invoke(app, ["replay", str(flood[0]), "--site", "demo", "--export", str(tmp_path / name),
                                    "--out", str(tmp_path / "out")])  # fmt: skip
    assert isinstance(done.exception, InputError) and said in str(done.exception)
    assert not (tmp_path / "out").exists()


def test_an_export_as_csv_is_read_back_and_written_anew(tmp_path):
    site = demo(0.5)
    log = logged(simulate(site), pumps=True)
    found = night.explain(log, site, "duplex", judged=False)
    for _ in range(2):
        api.export(found, tmp_path / "night.csv")
    how = mapping.read({"time": {"column": "time_s", "format": "seconds"}, "level": {"column": "level_m", "unit": "m"},
                        "pump1": {"column": "pump_1"}})  # fmt: skip
    again = api.read(tmp_path / "night.csv", site, how)
    assert np.allclose(again.level_m, log.level_m, equal_nan=True) and np.array_equal(again.pumps[0], log.pumps[0])


EXECUTE = """
import sys, nbclient, nbformat
book = nbformat.read(sys.argv[1], as_version=4)
nbformat.validate(book)
nbclient.NotebookClient(book, timeout=None, startup_timeout=600).execute()
nbformat.write(book, sys.argv[2])
"""


@pytest.mark.long
def test_the_notebook_runs_from_top_to_bottom(tmp_path):
    nbformat = pytest.importorskip("nbformat")
    pytest.importorskip("nbclient")
    pytest.importorskip("ipykernel")
    home = Path(host_sim.replay.__file__).parent
    root = home.parents[1]
    # In a process of its own: a kernel wants its sockets to itself.
    done = subprocess.run(
        [sys.executable, "-c", EXECUTE, home / "a_logged_night.ipynb", tmp_path / "done.ipynb"], cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": f"{root}{os.pathsep}{root / 'firmware/lib'}"}, capture_output=True, text=True,
        check=False)  # fmt: skip
    assert done.returncode == 0, done.stderr
    book = nbformat.read(tmp_path / "done.ipynb", as_version=4)
    told = "\n".join(output.get("text", "") for cell in book.cells for output in cell.get("outputs", []))
    for part in ("It cannot tell", "no pump started", "the faults repaired", "Identical"):
        assert part in told, told
    assert any("image/png" in output.get("data", {}) for cell in book.cells for output in cell.get("outputs", []))
