"""What is free of the heap after a collection is known, and told in the journal when it shrinks."""

from duplexsump.control.records import IN_CONTACTS

from host_sim.board import readback
from tests.station_rig import Heap, run, start


def shrink(board, station, free):
    """Have `free` bytes left, and something that calls for a collection."""
    Heap.free = free
    station.recorder.litter = True
    run(board, station, 1000)


def events(folder):
    pieces = [readback.read_segment(path.read_bytes()) for path in sorted((folder / "journal").glob("*.seg"))]
    return [event[1:] for piece in pieces for event in piece.events if event[1] == "heap shrinks"]


def test_a_heap_that_shrinks_is_told_at_every_eighth_and_one_that_breathes_is_not(tmp_path, monkeypatch):
    monkeypatch.setattr(Heap, "free", 80_000)
    board, station = start(tmp_path / "pit")
    assert station.heap_free == 0, "nothing is known before the first quiet instant"
    run(board, station, 2000)
    assert station.heap_free == 80_000
    for free in (75_000, 80_000, 70_000, 90_000):
        shrink(board, station, free)
        assert station.heap_free == free
    assert events(tmp_path / "pit") == [] and station.reason == ""
    for free in (69_999, 65_000, 61_249, 61_249, 20_000):
        shrink(board, station, free)
    told = [("heap shrinks", 69_999, "of 80000"), ("heap shrinks", 61_249, "of 69999"),
            ("heap shrinks", 20_000, "of 61249")]  # fmt: skip
    assert events(tmp_path / "pit") == told
    assert station.reason == "the heap shrinks"


def test_a_reason_that_was_told_before_stays(tmp_path, monkeypatch):
    monkeypatch.setattr(Heap, "free", 80_000)
    board, station = start(tmp_path / "pit")
    station.reason = "ValueError: planted"
    run(board, station, 2000)
    shrink(board, station, 10_000)
    assert station.reason == "ValueError: planted"


def test_nothing_is_collected_while_a_pump_runs(tmp_path):
    board, station = start(tmp_path / "pit")
    run(board, station, 15000)
    board.raw[IN_CONTACTS] = 7
    run(board, station, 5000)
    assert station.controller.out[0] or station.controller.out[1]
    before = Heap.collections
    station.recorder.litter = True
    run(board, station, 2000)
    assert Heap.collections == before and station.recorder.litter
