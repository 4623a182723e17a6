"""I15 to I20: what the station promises whatever files, links and clock do to it, on nights drawn by seed.

Two stations stand in the same pit, one sound and one troubled, and are compared pass by pass.
"""

import random
import shutil

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.control.controller import Controller
from duplexsump.station import health, loop, store
from duplexsump.station import journal as j
from duplexsump.station import run as runner

from host_sim.board import readback
from tests import journal_format as form
from tests.station_rig import Board, run
from tests.unit.test_link_frames import ascii_frame, rtu

SEEDS = [0, *(pytest.param(seed, marks=pytest.mark.long) for seed in range(1, 6))]


class Twins:
    """Stations in folders of their own, under the same readings at the same instants."""

    def __init__(self, folder, seed, names):
        self.draw = random.Random(seed)
        self.boards = [Board(folder / name) for name in names]
        self.stations = [loop.Station(board, health.FULL) for board in self.boards]
        for station in self.stations:
            station.begin(0)
            station.connect()
        self.wet, self.rises = 0, True

    def change(self):
        """Let the water rise or fall past a float, or a reading turn, alike for all."""
        draw = self.draw
        if self.wet in (0, 15) or (self.wet > 2 and draw.random() < 0.4):
            self.rises = self.wet == 0
        self.wet = (self.wet << 1 | 1) & 15 if self.rises else self.wet >> 1
        place, value = draw.choice(((r.IN_MAINS, draw.randrange(2)), (r.IN_SELECTOR_1, draw.randrange(3)),
                                    (r.IN_SILENCE, draw.randrange(2)), (r.IN_THERMAL_2, draw.randrange(2)),
                                    (r.IN_MAINS, 1), (r.IN_SELECTOR_1, 0), (r.IN_THERMAL_2, 0)))  # fmt: skip
        for board in self.boards:
            board.raw[r.IN_CONTACTS] = 8 ^ self.wet
            board.raw[place] = value

    def night(self, passes, before=lambda: None):
        """Yield the outputs of all after each pass; now and then all are late by the same time."""
        for _ in range(passes):
            if self.draw.random() < 0.02:
                self.change()
            before()
            late_ms = self.draw.choice((0,) * 60 + (130, 700))
            for board, station in zip(self.boards, self.stations, strict=True):
                station.once()
                board.rest(100 + late_ms)
            yield [list(board.outputs) for board in self.boards]


@pytest.mark.parametrize("seed", SEEDS)
def test_i15_no_file_error_holds_a_pump_back_or_starts_one(tmp_path, seed, monkeypatch):
    whole, fault = open, random.Random(seed + 1)
    state = {"broken": False, "raised": 0}

    class File:
        def __init__(self, path, mode):
            if state["broken"] and "/failing/" in path and fault.random() < 0.5:
                state["raised"] += 1
                raise OSError(28)
            self.path, self.file = path, whole(path, mode)

        def __getattr__(self, name):
            if state["broken"] and "/failing/" in self.path and name in ("write", "flush", "close", "readinto", "seek"):
                state["raised"] += 1
                raise OSError(fault.choice((5, 28)))
            return getattr(self.file, name)

    monkeypatch.setattr(j, "open", File, raising=False)

    twins = Twins(tmp_path, seed, ("sound", "failing"))

    def trouble():
        if fault.random() < 0.01:
            state["broken"] = not state["broken"]

    ran = 0
    for sound, failing in twins.night(2500, trouble):
        assert sound[:2] == failing[:2], f"seed {seed}"
        ran += sound[0] | sound[1]
    assert ran > 100 and state["raised"] > 10 and twins.stations[1].recorder.faults > 3
    assert all(board.made_safe == 0 for board in twins.boards)


def test_i15_the_outputs_are_written_before_anything_is_recorded(tmp_path):
    twins = Twins(tmp_path, 1, ("pit",))
    (board,), (station,) = twins.boards, twins.stations
    seen = []
    step = station.recorder.step
    station.recorder.step = lambda *words: (seen.append(board.outputs == station.controller.out), step(*words))
    for _ in twins.night(600):
        pass
    assert len(seen) > 200 and all(seen)


PLACES = (
    ("duplexsump.control.controller.Controller.step", "control"), ("duplexsump.control.bands.Bands.convert", "bands"),
    ("duplexsump.station.recorder.Recorder.step", "recorder"), ("duplexsump.station.framing.AsciiPort.serve", "link"),
    ("tests.station_rig.Board.read", "readings"), ("tests.station_rig.Board.write", "outputs"),
    ("duplexsump.station.loop.Station._judge", "health"),
)  # fmt: skip


@pytest.mark.parametrize(("place", "name"), PLACES, ids=[name for _, name in PLACES])
@pytest.mark.parametrize("error", [ValueError, MemoryError, OSError, KeyboardInterrupt, RecursionError])
def test_i16_whatever_breaks_off_a_pass_the_outputs_are_safe_first_and_a_reset_follows(
    tmp_path, monkeypatch, place, name, error
):
    calls = []

    class Watched(Board):
        count = 0

        def rest(self, ms):
            super().rest(ms)
            self.count += 1
            if self.count == 40:
                monkeypatch.setattr(place, broken)

        def __getattribute__(self, name):
            if calls and name in ("safe", "feed_watchdog", "reset", "rest", "write", "keep"):
                calls.append(name)
            return super().__getattribute__(name)

    def broken(*_):
        calls.append("broken")
        raise error("planted")

    with pytest.raises(SystemExit, match="reset"):
        runner.run(Watched(tmp_path / "pit"))
    told = calls[calls.index("broken") + 1 :]
    assert told[0] == "safe" and told[-1] == "reset"
    assert not {"feed_watchdog", "rest", "write"} & set(told)


@pytest.mark.parametrize("seed", SEEDS)
def test_i17_the_settings_in_force_are_a_set_that_the_rules_accept(tmp_path, seed):
    draw = random.Random(seed)
    for number in range(60):
        folder = tmp_path / str(number)
        folder.mkdir()
        accepted = {}
        for slot in "ab":
            values = list(s.defaults())
            for _ in range(draw.randrange(4)):
                place = draw.randrange(s.N_SETTINGS)
                values[place] = draw.choice((s.TABLE[place][s.LEAST], s.TABLE[place][s.MOST], -1, values[place] + 100))
            sequence = draw.randrange(1, 9)
            data = bytearray(store.text_of(sequence, values))
            if draw.random() < 0.4:
                data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
            elif not s.check(values):
                accepted[slot] = (sequence, values)
            if draw.random() < 0.9:
                (folder / f"settings.{slot}").write_bytes(data)
            else:
                accepted.pop(slot, None)
        station = loop.Station(Board(folder))
        station.begin(0)
        in_force = station.controller.settings
        assert s.check(in_force) == []
        newest = max(accepted.values(), key=lambda one: one[0], default=(0, s.defaults()))
        assert in_force in [values for sequence, values in accepted.values() if sequence == newest[0]] or (
            not accepted and in_force == s.defaults()), f"seed {seed}, {number}"  # fmt: skip


def on_flash(board):
    """Return (the outputs packed, the inputs) that the journal on flash leaves, by its description alone."""
    packed, inputs = 0, [0] * r.N_INPUTS
    path = sorted((board.folder / "journal").glob("*.seg"))[-1]
    for batch in form.batches(path.read_bytes()):
        for record in batch:
            if record[0] == "step":
                packed = record[3]
                for place, value in record[4].items():
                    inputs[place] = value
    return packed, inputs


@pytest.mark.parametrize("seed", SEEDS)
def test_i18_edges_are_on_flash_at_once_inputs_within_a_second_and_the_whole_replays(tmp_path, seed):
    twins = Twins(tmp_path, seed, ("pit",))
    (board,), (station,) = twins.boards, twins.stations
    pumps, edges, since_ms, size = 0, 0, None, -1
    for _ in twins.night(3000):
        now = station.controller.out[0] | station.controller.out[1] << 1
        if station.recorder.journal.size != size:
            packed, inputs = on_flash(board)
            size = station.recorder.journal.size
        if now != pumps:
            edges += 1
            assert packed & 3 == now, f"seed {seed}"
        pumps = now
        same = inputs == station.controller.last or inputs[1:] == station.controller.last[1:]
        since_ms = None if same else since_ms if since_ms is not None else board.time_ms
        assert since_ms is None or board.time_ms - since_ms & 0x3FFFFFFF <= 1000 + 800, f"seed {seed}"
    assert edges > 4
    station.recorder.close(station.controller.now)
    pieces = [readback.read_segment(path.read_bytes()) for path in sorted((board.folder / "journal").glob("*.seg"))]
    result = readback.replay(pieces)
    assert result.differences == [] and result.records > 50


@pytest.mark.parametrize("seed", SEEDS)
def test_i19_whenever_the_power_goes_the_next_life_knows_what_was_on_flash(tmp_path, seed):
    twins = Twins(tmp_path, seed, ("pit",))
    (board,), (station,) = twins.boards, twins.stations
    cuts = 0
    for number, _ in enumerate(twins.night(3000)):
        if twins.draw.random() < 0.01:
            cuts += 1
            copy = tmp_path / f"cut{number}"
            shutil.copytree(board.folder, copy)
            kept, _ = loop.Station(Board(copy)).recorder.recall(station.controller.retained_places())
            next_life = Controller(list(station.controller.settings))
            next_life.power_up(0, kept)
            before, after = station.controller.pumps, next_life.pumps
            assert [pump.starts for pump in after] == [pump.starts for pump in before], f"seed {seed}"
            shutil.rmtree(copy)
    assert cuts > 5 and sum(pump.starts for pump in station.controller.pumps) > 1


READS = [bytes([function]) + at.to_bytes(2, "big") + count.to_bytes(2, "big")
         for function in (1, 2, 3, 4) for at in (0, 1, 70, 200) for count in (1, 8, 30)]  # fmt: skip


@pytest.mark.parametrize("seed", SEEDS)
def test_i20_neither_reading_nor_noise_on_a_link_changes_an_output(tmp_path, seed):
    twins = Twins(tmp_path, seed, ("quiet", "busy"))
    noise, board = random.Random(seed + 1), twins.boards[1]
    sent = 0

    def talk():
        nonlocal sent
        kind = noise.random()
        if kind < 0.1:
            board.usb.sent.extend(ascii_frame(noise.choice(READS)))
        elif kind < 0.2:
            board.rs485.sent.extend(rtu(noise.choice(READS)))
        elif kind < 0.3:
            wire = noise.choice((board.usb, board.rs485))
            wire.sent.extend(noise.randbytes(noise.randrange(1, 40)))
        sent += kind < 0.3

    for quiet, busy in twins.night(3000, talk):
        assert quiet == busy, f"seed {seed}"
    assert sent > 500 and len(board.usb.answered) > 500 and len(board.rs485.answered) > 100
    assert twins.stations[1].bad_frames() > 10
    run(board, twins.stations[1], 100)
