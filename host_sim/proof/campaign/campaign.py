"""Many nights: on all cores, resumable, one machine or many, nothing lost and nothing counted twice.

Records are kept as they come, in chunks: one JSON line a night in
`nights.jsonl`, written whole and flushed, so an interrupted campaign keeps what
is done.  A night is known by (seed, number); one that is there already is not
run again, and one that comes in twice is kept once.
"""

import contextlib
import gc
import json
import multiprocessing
import signal
from pathlib import Path

from host_sim.errors import InputError
from host_sim.proof.campaign import night_run

KEPT = "nights.jsonl"
CHUNK = 8  # nights handed out at a time
ANSWER_S = 60.0  # for which a scheduler is waited for


def one(seed, number):
    """Return the record of a night; a night that cannot be simulated is a record too, and a defect."""
    try:
        return night_run.run(seed, number)
    except Exception as error:
        return {"seed": seed, "number": number, "broken": f"crashed: {type(error).__name__}: {error}", "must": "",
                "kinds": "", "faults": "", "dry": False, "single_dry": False}  # fmt: skip


def chunk(task):
    """Return the records of some nights; `task` is (seed, numbers)."""
    seed, numbers = task
    with _collected_at_the_end():
        return [one(seed, number) for number in numbers]


@contextlib.contextmanager
def _collected_at_the_end():
    # What was there before is not looked at: cycles are sought among what these nights left, once.
    was_on = gc.isenabled()
    gc.freeze()
    gc.disable()
    try:
        yield
    finally:
        gc.collect()
        gc.unfreeze()
        if was_on:
            gc.enable()


class Shelf:
    """The records of a campaign in a folder.  Raises InputError for a folder or a file that cannot be used."""

    def __init__(self, folder, seed):
        self.path = Path(folder) / KEPT
        self.seed = seed
        self.records = {}
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._read()
            self.file = self.path.open("a", encoding="utf-8")
        except OSError as error:
            raise InputError(f"cannot be used for the campaign's records: {error}", str(folder)) from error

    def _read(self):
        # The last line may have been cut off by a kill: it is dropped, and that night is run again.
        if not self.path.exists():
            return
        text = self.path.read_text(encoding="utf-8")
        whole = text[: text.rfind("\n") + 1]
        for line in whole.splitlines():
            self._take(json.loads(line))
        if len(whole) != len(text):
            self.path.write_text(whole, encoding="utf-8")

    def _take(self, record):
        key = (record["seed"], record["number"])
        if key in self.records:
            return False
        self.records[key] = record
        return True

    def missing(self, nights):
        """Return the numbers below `nights` that are not there yet."""
        return [number for number in range(nights) if (self.seed, number) not in self.records]

    def add(self, records):
        """Keep records; each night once."""
        for record in records:
            if self._take(record):
                self.file.write(json.dumps(record) + "\n")
        self.file.flush()

    def wanted(self, nights):
        """Return the records of this seed below `nights`, in order."""
        return [self.records[key] for key in sorted(self.records) if key[0] == self.seed and key[1] < nights]

    def close(self):
        """Close the file."""
        self.file.close()


def tasks(seed, numbers):
    """Return the chunks of work."""
    return [(seed, numbers[i : i + CHUNK]) for i in range(0, len(numbers), CHUNK)]


def run(shelf, nights, workers, scheduler=None, progress=None):
    """Run what is missing.  Returns True, or False when it was interrupted; what was done is kept either way."""
    work = tasks(shelf.seed, shelf.missing(nights))
    results = _remote(work, scheduler) if scheduler else _local(work, workers)
    try:
        for records in results:
            shelf.add(records)
            if progress:
                progress(len(shelf.wanted(nights)), nights)
    except KeyboardInterrupt:
        return False
    finally:
        results.close()
    return True


def _local(work, workers):
    if workers == 1:
        yield from map(chunk, work)
        return
    pool = multiprocessing.get_context("spawn").Pool(workers, _deaf)
    try:
        yield from pool.imap_unordered(chunk, work)
    finally:
        pool.terminate()
        pool.join()


def _deaf():
    # Ctrl-C is for the parent, which keeps what is done and ends the pool.
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _remote(work, scheduler):
    # A worker that dies takes its chunks with it; the engine gives them to another.
    try:
        from dask.distributed import Client, as_completed
    except ImportError as error:
        raise InputError('--scheduler needs dask.distributed: pip install "sumpbench[campaign]"') from error
    try:
        client = Client(scheduler, timeout=ANSWER_S)
    except (OSError, ValueError) as error:
        raise InputError(f'scheduler "{scheduler}" does not answer: {error}') from error
    try:
        futures = client.map(chunk, work, pure=False, retries=3)
        for _future, records in as_completed(futures, with_results=True):
            yield records
    finally:
        client.close()


def write_parquet(records, path):
    """Write the records as one Parquet file.  Raises InputError where pyarrow is missing."""
    try:
        import pyarrow
        from pyarrow import parquet
    except ImportError as error:
        raise InputError('Parquet needs pyarrow: pip install "sumpbench[campaign]"') from error
    names = max(records, key=len).keys()
    columns = {name: [record.get(name) for record in records] for name in names}
    parquet.write_table(pyarrow.table(columns), path)
