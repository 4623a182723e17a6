"""M3, M5, M6: every way out of the loop leaves the outputs safe, and only a healthy pass feeds the watchdog."""

import pytest
from duplexsump.control import settings as s
from duplexsump.control.records import HIGH, IN_MAINS, IN_SELECTOR_1, LAG, LEAD, OFF, SELECT_OFF
from duplexsump.station import health, link, store
from duplexsump.station import run as runner
from duplexsump.station.loop import Station
from duplexsump.station.minimal import FloatsOnly

from tests.station_rig import Board


class OverError(BaseException):
    """The test has seen enough."""


class Limited(Board):
    """A board that ends the test after so many rests, or does something at one of them."""

    def __init__(self, folder, rests, at=None, cause=0):
        super().__init__(folder)
        self.rests = rests
        self.at = at or {}
        self.RESET_CAUSE = cause
        self.count = 0

    def rest(self, ms):
        super().rest(ms)
        self.count += 1
        if self.count in self.at:
            self.at[self.count](self)
        if self.count >= self.rests:
            raise OverError


def go(board):
    with pytest.raises(OverError):
        runner.run(board)
    return board


def test_m3_an_exception_before_the_first_feed_starts_the_watchdog_all_the_same(tmp_path, monkeypatch):
    # The first feed starts it; a board that failed while it started would else lie dead until somebody comes.
    def no_room(self, board, mode=health.FULL):
        raise MemoryError("memory allocation failed, allocating 2816 bytes")

    monkeypatch.setattr(runner.Station, "__init__", no_room)
    board = go(Limited(tmp_path / "pit", 20))
    assert board.fed == 1
    assert board.outputs[:6] == [0] * 6


def test_m3_an_exception_drops_the_outputs_records_the_reason_and_feeds_no_more(tmp_path, monkeypatch):
    def spoilt(self, now_ms, inputs, limited=False):
        raise ValueError("spoilt")

    def spoil(board):
        monkeypatch.setattr("duplexsump.control.controller.Controller.step", spoilt)
        board.fed_at_spoil = board.fed

    board = Limited(tmp_path / "pit", 400, {100: spoil})
    go(board)
    # The pass in which it happened feeds no more, nor does anything after it.
    assert board.fed - board.fed_at_spoil <= 20
    assert board.made_safe >= 1
    assert board.outputs[:6] == [0] * 6
    record = health.Health(str(board.folder), health.WATCHDOG)
    record.begin()
    assert record.reason == "ValueError: spoilt"


@pytest.mark.parametrize("mode", ["control only", "floats only"])
def test_m5_without_journal_and_link_the_relay_stays_dropped(tmp_path, mode):
    folder = tmp_path / "pit"
    folder.mkdir()
    (folder / "boots").write_text("0 0" if mode == "control only" else "0 0 0")

    def wet(board):
        board.raw[0] = 8 ^ (OFF | LEAD)

    board = Limited(folder, 9000, {3000: wet}, health.WATCHDOG)
    go(board)
    assert not (folder / "journal").exists()
    pumps = [outputs[0] or outputs[1] for _, outputs in board.wrote]
    assert any(pumps), "it pumps all the same"
    assert not any(outputs[4] for _, outputs in board.wrote), "the alarm relay is never energised"
    board.usb.sent.extend(b":010400000001FA\r\n")
    assert board.fed > 100
    assert bytes(board.usb.answered) == b""


def test_m6_maintenance_makes_safe_sets_the_flag_and_resets(tmp_path):
    board = Limited(tmp_path / "pit", 5000)
    station = Station(board)
    station.begin(0)
    station.connect()
    station.wish = link.WISH_MAINTENANCE
    with pytest.raises(SystemExit, match="reset"):
        runner._leave(board, station)
    assert (tmp_path / "pit" / "maintenance").exists()
    assert board.outputs[:6] == [0] * 6


def test_the_first_pass_writes_the_outputs_before_it_records(tmp_path, monkeypatch):
    order = []
    board = Board(tmp_path / "pit")
    write = board.write
    monkeypatch.setattr(board, "write", lambda out: (order.append("outputs"), write(out)))
    monkeypatch.setattr("duplexsump.station.recorder.Recorder.step", lambda *a: order.append("records"))
    Station(board).begin(0)
    assert order == ["outputs", "records"]


def floats(**changes):
    values = s.defaults()
    for name, value in changes.items():
        values[s.index(name)] = value
    return FloatsOnly(values, 0)


def level(rule, wet, seconds, raw, now):
    for _ in range(int(seconds * 10)):
        raw[0] = 8 ^ wet
        out = rule.step(now, raw)
        now += 100
    return out, now


@pytest.fixture
def raw():
    record = [0] * 24
    record[IN_MAINS] = 1
    return record


def test_floats_only_pumps_between_lead_and_off(raw):
    rule = floats()
    out, now = level(rule, 0, 70, raw, 0)
    assert out[:2] == [0, 0]
    out, now = level(rule, OFF | LEAD, 1, raw, now)
    assert out[:2] == [1, 0]
    out, now = level(rule, OFF, 10, raw, now)
    assert out[:2] == [1, 0]
    out, now = level(rule, 0, 1, raw, now)
    assert out[:2] == [0, 0]


def test_floats_only_runs_both_and_sounds_with_high(raw):
    rule = floats()
    _, now = level(rule, 0, 70, raw, 0)
    out, now = level(rule, OFF | LEAD | LAG | HIGH, 5, raw, now)
    assert out[:4] == [1, 1, 1, 1]
    assert out[4] == 0


def test_floats_only_ends_on_a_stuck_off_after_a_blind_run(raw):
    rule = floats()
    _, now = level(rule, 0, 70, raw, 0)
    _, now = level(rule, OFF | LEAD, 1, raw, now)
    out, now = level(rule, OFF, 34, raw, now)
    assert out[:2] == [1, 0]
    out, now = level(rule, OFF, 3, raw, now)
    assert out[:2] == [0, 0]


def test_floats_only_leaves_a_pump_alone_whose_selector_is_off(raw):
    rule = floats()
    raw[IN_SELECTOR_1] = SELECT_OFF
    _, now = level(rule, 0, 70, raw, 0)
    out, now = level(rule, OFF | LEAD, 1, raw, now)
    assert out[:2] == [0, 1]
    assert store.SLOTS == ("a", "b")
