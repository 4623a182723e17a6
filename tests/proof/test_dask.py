"""The campaign on a local cluster of two workers, of which one is killed in mid-run: nothing lost, nothing twice."""

import os
import signal
from unittest import mock

import pytest

from host_sim.errors import InputError
from host_sim.proof.campaign import campaign

dask = pytest.importorskip("dask", reason="the extra `campaign` brings dask")
distributed = pytest.importorskip("distributed", reason="the extra `campaign` brings dask.distributed")
NIGHTS = 12


@pytest.fixture(scope="module")
def cluster():
    paths = os.environ.get("PYTHONPATH", "")
    paths = {"PYTHONPATH": os.pathsep.join(["firmware/lib", ".", paths])}
    patience = {"distributed.comm.timeouts.connect": "600s"}  # a last resort, for a machine that is busy
    with mock.patch.dict(os.environ, paths), dask.config.set(patience):
        made = distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50)
        yield made
        made.close()


@pytest.mark.long
def test_one_of_two_workers_killed_in_mid_run_loses_nothing_and_doubles_nothing(cluster, tmp_path):
    shelf = campaign.Shelf(tmp_path, 1)
    killed = []

    def kill_one(done, total):
        if not killed:
            with distributed.Client(cluster.scheduler_address) as client:
                pids = client.run(os.getpid)
            killed.append(next(iter(pids.values())))
            assert len(pids) == 2
            os.kill(killed[0], signal.SIGKILL)

    with mock.patch.object(campaign, "CHUNK", 2):
        assert campaign.run(shelf, NIGHTS, 1, cluster.scheduler_address, kill_one)
    shelf.close()
    assert killed
    lines = (tmp_path / campaign.KEPT).read_text().splitlines()
    again = campaign.Shelf(tmp_path, 1)
    assert len(lines) == NIGHTS
    assert [r["number"] for r in again.wanted(NIGHTS)] == list(range(NIGHTS))
    assert not any("crashed" in r["broken"] for r in again.wanted(NIGHTS))
    # The same nights in this process give the same records, but for the time they took.
    here = campaign.one(1, 5)
    there = next(r for r in again.wanted(NIGHTS) if r["number"] == 5)
    same = [key for key in here if key not in ("wall_s", "lead_s", "floor_first_s", "first_alarm_s")]
    assert [repr(here[key]) for key in same] == [repr(there[key]) for key in same]


def test_a_scheduler_that_does_not_answer_is_told(tmp_path):
    shelf = campaign.Shelf(tmp_path, 1)
    with mock.patch.object(campaign, "ANSWER_S", 0.5), pytest.raises(InputError, match="does not answer"):
        campaign.run(shelf, 2, 1, "tcp://127.0.0.1:1", None)
    shelf.close()
