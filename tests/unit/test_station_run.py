"""M3, M5, M6: every way out of the loop leaves the outputs safe and ends in a reset that says what it was for."""

import pytest
from duplexsump import marks
from duplexsump.control.controller import Controller
from duplexsump.control.records import LEAD, OFF
from duplexsump.station import health, link
from duplexsump.station import run as runner
from duplexsump.station.loop import Station

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
    # What ends the test is an exception in the loop; it leads to a reset.
    with pytest.raises(SystemExit, match="reset"):
        runner.run(board)
    return board


def test_m3_an_exception_while_it_starts_resets_at_once(tmp_path, monkeypatch):
    def no_room(self, board, mode=health.FULL, manifest=None):
        raise MemoryError("memory allocation failed, allocating 2816 bytes")

    monkeypatch.setattr(runner.Station, "__init__", no_room)
    board = Limited(tmp_path / "pit", 20)
    with pytest.raises(SystemExit, match="reset"):
        runner.run(board)
    assert (board.count, board.outputs[:6], board.word & 3) == (0, [0] * 6, marks.FAULT)


def test_m3_an_exception_makes_safe_records_the_reason_and_resets_at_once(tmp_path, monkeypatch):
    def spoilt(self, now_ms, inputs, limited=False):
        raise ValueError("spoilt")

    def spoil(board):
        monkeypatch.setattr("duplexsump.control.controller.Controller.step", spoilt)
        board.spoilt_ms, board.fed_at_spoil = board.time_ms, board.fed

    board = Limited(tmp_path / "pit", 400, {100: spoil})
    with pytest.raises(SystemExit, match="reset"):
        runner.run(board)
    # The next step is 100 ms away at the most; nothing rests after it.
    assert 0 <= board.time_ms - board.spoilt_ms & 0x3FFFFFFF <= 100
    assert board.fed - board.fed_at_spoil <= 20
    assert board.made_safe >= 1
    assert board.outputs[:6] == [0] * 6
    record = health.Health(str(board.folder), marks.cause(board.word, True))
    record.begin()
    assert (record.reason, record.cause) == ("ValueError: spoilt", health.WATCHDOG)


def test_m5_floats_only_is_left_to_the_last_resort(tmp_path):
    board = Limited(tmp_path / "pit", 10, cause=health.WATCHDOG)
    (tmp_path / "pit" / "boots").write_text("0 0 0")
    assert runner.run(board) == "4 watchdog resets within 10 min"
    assert (board.count, board.fed) == (0, 0)


@pytest.mark.parametrize("mark", [marks.ASKED, marks.MAINTENANCE])
@pytest.mark.parametrize("chip_says_watchdog", [False, True])
def test_m5_a_requested_reset_never_counts_whatever_the_chip_calls_it(tmp_path, mark, chip_says_watchdog):
    (tmp_path / "pit").mkdir()
    word = marks.MAGIC
    for _ in range(9):
        word = marks.marked(word, mark)
        record = health.Health(str(tmp_path / "pit"), marks.cause(word, chip_says_watchdog))
        assert (record.begin(), record.cause, record.ages) == (health.FULL, health.ASKED, [])
        word &= ~3


def test_m5_resets_by_exception_and_by_watchdog_count_together(tmp_path):
    (tmp_path / "pit").mkdir()
    modes = []
    for word in (marks.marked(marks.MAGIC, marks.FAULT), marks.MAGIC, marks.MAGIC | marks.FAULT, marks.MAGIC):
        modes.append(health.Health(str(tmp_path / "pit"), marks.cause(word, True)).begin())
    assert modes == [health.FULL, health.FULL, health.CONTROL_ONLY, health.MINIMAL]
    assert marks.cause(marks.sound(0), False) == health.POWER_ON


def test_m5_a_request_ends_the_count_of_early_ends_and_so_does_the_first_minute(tmp_path):
    word = marks.MAGIC + 0x300
    assert marks.marked(word, marks.FAULT) == word | marks.FAULT
    assert marks.marked(word, marks.ASKED) == marks.MAGIC | marks.ASKED
    record = health.Health(str(tmp_path), health.POWER_ON)
    record.begin()
    assert [record.minutes(minute) for minute in (0, 0, 1, 1, 2, 3)] == [False, False, True, False, False, False]


def test_m5_without_journal_and_link_the_relay_stays_dropped(tmp_path):
    folder = tmp_path / "pit"
    folder.mkdir()
    (folder / "boots").write_text("0 0")

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


def test_m6_maintenance_makes_safe_leaves_its_mark_and_resets(tmp_path):
    board = Limited(tmp_path / "pit", 5000)
    station = Station(board)
    station.begin(0)
    station.connect()
    station.wish = link.WISH_MAINTENANCE
    with pytest.raises(SystemExit, match="reset"):
        runner._leave(board, station)
    assert board.word & 3 == marks.MAINTENANCE
    assert board.outputs[:6] == [0] * 6


def test_the_first_pass_writes_the_outputs_before_it_records(tmp_path, monkeypatch):
    order = []
    board = Board(tmp_path / "pit")
    write = board.write
    monkeypatch.setattr(board, "write", lambda out: (order.append("outputs"), write(out)))
    monkeypatch.setattr("duplexsump.station.recorder.Recorder.step", lambda *a: order.append("records"))
    Station(board).begin(0)
    assert order == ["outputs", "records"]


@pytest.fixture
def made(monkeypatch):
    """The Stations that a test's run makes, in a list."""
    found = []
    whole = Station.begin

    def begin(self, cause, reason=""):
        found.append(self)
        return whole(self, cause, reason)

    monkeypatch.setattr(runner.Station, "begin", begin)
    return found


def test_the_link_is_opened_in_full_operation_alone(tmp_path, made):
    board = go(Limited(tmp_path / "pit", 3))
    assert len(made[0].links) == 2 and board.line == (19200, 0)
    folder = tmp_path / "other"
    folder.mkdir()
    (folder / "boots").write_text("0 0")
    board = go(Limited(folder, 3, cause=health.WATCHDOG))
    assert made[1].mode == health.CONTROL_ONLY and not made[1].links and not hasattr(board, "line")


@pytest.mark.parametrize("cause", [health.POWER_ON, health.WATCHDOG, health.ASKED])
def test_a4_after_a_reset_the_controller_does_not_take_itself_for_one_that_was_without_power(tmp_path, made, cause):
    go(Limited(tmp_path / "pit", 3))
    assert made[0].controller.dark == 1
    seen = []
    whole = Controller.power_up

    def power_up(controller, now_ms, retained=None):
        seen.append(retained[0])
        whole(controller, now_ms, retained)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Controller, "power_up", power_up)
        go(Limited(tmp_path / "pit", 3, cause=cause))
    assert seen == [1 if cause == health.POWER_ON else 0]


def test_m5_lives_that_ended_early_are_forgotten_after_the_first_minute_and_not_before(tmp_path):
    early = marks.MAGIC + 0x300
    words = []
    board = Limited(tmp_path / "pit", 100000)
    board.word = early

    def look(board):
        words.append(board.word)

    rest, began_ms = board.rest, board.time_ms

    def rested(ms):
        rest(100 if ms > 5 else ms)
        passed_ms = board.time_ms - began_ms & 0x3FFFFFFF
        if passed_ms < 59000 or passed_ms > 61000:
            look(board)
        if passed_ms > 62000:
            raise OverError

    board.rest = rested
    go(board)
    assert words[0] == early and words[-1] == marks.MAGIC
    assert words.index(marks.MAGIC) == len(words) - words[::-1].index(early), "once, and for good"


def test_settings_that_are_wished_for_are_put_in_force_once(tmp_path, made, monkeypatch):
    renewed = []
    monkeypatch.setattr(runner.Station, "renew", lambda self: renewed.append(self))

    def wish(board):
        made[0].wish = link.WISH_RENEW

    go(Limited(tmp_path / "pit", 30, {10: wish}))
    assert renewed == [made[0]] and made[0].wish == 0


def test_files_that_are_not_as_installed_are_told_to_the_station(tmp_path, made):
    board = Limited(tmp_path / "pit", 3)
    with pytest.raises(SystemExit, match="reset"):
        runner.run(board, None, ["/station/spare.py", "/boards/other.py"])
    assert made[0].damaged == ["/station/spare.py", "/boards/other.py"]


@pytest.mark.parametrize(("wish", "mark"), [(link.WISH_MAINTENANCE, marks.MAINTENANCE), (link.WISH_RESET, marks.ASKED)])
def test_m6_a_reset_that_was_asked_for_lets_the_reply_leave_and_closes_the_journal(
    tmp_path, made, monkeypatch, wish, mark
):
    board = Limited(tmp_path / "pit", 400)
    closed, left = [], []

    def reset(mark=marks.ASKED):
        left.append(mark)  # a board's reset does not return: what comes later is the test's own
        raise SystemExit("reset")

    board.reset = reset
    monkeypatch.setattr("duplexsump.station.recorder.Recorder.close", lambda self, now: closed.append(board.time_ms))

    def leave(board):
        made[0].wish = wish
        board.asked_count = board.count

    def ask(board):
        board.usb.sent.extend(b":010400000001FA\r\n")  # served while the reset is waited for

    board.at = {50: leave, 53: ask}
    with pytest.raises(SystemExit, match="reset"):
        runner.run(board)
    assert left[0] == mark
    assert board.outputs[:6] == [0] * 6
    assert bytes(board.usb.answered).startswith(b":010402")
    assert len(closed) == 1
    # From the close on half a second, in rests of 5 ms.
    assert board.time_ms - closed[0] & 0x3FFFFFFF == 500
    assert board.count - board.asked_count == 100


def test_m3_outputs_are_safe_before_the_reason_is_written_down(tmp_path, monkeypatch):
    board = Limited(tmp_path / "pit", 200)
    seen = []

    def record(self, reason):
        seen.append((board.made_safe, list(board.outputs[:6])))

    def spoil(board):
        board.outputs[0] = 1
        board.before = board.made_safe
        raise ValueError("spoilt")

    monkeypatch.setattr(health.Health, "record", record)
    board.at = {20: spoil}
    with pytest.raises(SystemExit, match="reset"):
        runner.run(board)
    assert seen == [(board.before + 1, [0] * 6)]


def test_m5_outputs_are_safe_where_the_last_resort_takes_over(tmp_path):
    board = Limited(tmp_path / "pit", 10, cause=health.WATCHDOG)
    (tmp_path / "pit" / "boots").write_text("0 0 0")
    assert runner.run(board).startswith("4 watchdog resets")
    assert board.made_safe == 1


def test_a_board_that_does_not_reset_is_told_to_whoever_ran_it(tmp_path):
    board = Limited(tmp_path / "pit", 5)
    board.reset = lambda mark=marks.ASKED: None
    assert runner.run(board) == "no reset follows"


def test_m6_the_wait_for_the_last_reply_is_over_after_half_a_second_and_not_before(tmp_path):
    board = Limited(tmp_path / "pit", 5000)
    station = Station(board)
    station.begin(0)
    station.connect()
    station.wish = link.WISH_RESET
    rests = []

    def rest(ms):
        rests.append(ms)
        board.time_ms = board.time_ms + 499 & 0x3FFFFFFF

    board.rest = rest
    with pytest.raises(SystemExit, match="reset"):
        runner._leave(board, station)
    assert rests == [5, 5], "one millisecond was left"
