"""J1, J4, M3: what is recorded when, what a life finds of the one before, and a flash that fails stops nothing."""

import os
from pathlib import Path

import pytest
from duplexsump.control.alarm_table import COUNT
from duplexsump.control.records import IN_BATTERY, IN_CURRENT_1, IN_CURRENT_2, IN_LEVEL, N_INPUTS
from duplexsump.station import journal as j
from duplexsump.station import recorder as rec

from tests import journal_format as form
from tests.unit import test_station_journal as parts

PLACES = [0, 2]


class Pit:
    """What a recorder asks of the station, set by hand."""

    def __init__(self):
        self.controller = parts.Controller()
        self.controller.alarms = type("Alarms", (), {"state": [0] * COUNT})()
        self.controller.uptime_min = 0
        self.controller.kept = [9, LARGEST]
        self.raw = [0] * N_INPUTS
        self.inputs = [0] * N_INPUTS
        self.wall_s = 50

    def wall_now_s(self):
        return self.wall_s


LARGEST = parts.LARGEST


def tick(recorder, pit, ms=100, first=False, late_ms=0):
    """Have the step recorded that is taken so much later."""
    pit.controller.now += ms
    recorder.step(pit, late_ms, first)


def begun(folder, retained=None, cause=0):
    """Return (Recorder, Pit) of a life whose first step is recorded."""
    recorder, pit = rec.Recorder(str(folder), 7), Pit()
    recorder.recall(PLACES)
    recorder.begin(pit.controller, pit.controller.now, pit.wall_now_s(), retained, cause)
    tick(recorder, pit, 0, True)
    return recorder, pit


def segment(folder, number):
    """Return the records of a segment in order, whatever batch they stand in."""
    data = (Path(folder) / f"{number:08d}.seg").read_bytes()
    return [record for found in form.batches(data) for record in found]


def kinds(folder, number, *wanted):
    return [record for record in segment(folder, number) if record[0] in wanted]


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "pit" / "journal").mkdir(parents=True)
    return tmp_path / "pit" / "journal"


@pytest.fixture
def flash(monkeypatch):
    """A flash whose next so many writes fail: set `fail`; `error` is what they fail with."""

    class Flash:
        fail = 0
        error = 28
        tried = 0

        def __init__(self, path, mode):
            self.file = whole(path, mode)

        def write(self, data):
            Flash.tried += 1
            if Flash.fail:
                Flash.fail -= 1
                raise OSError(Flash.error, "planted")
            return self.file.write(data)

        def flush(self):
            self.file.flush()

        def close(self):
            self.file.close()

        @property
        def closed(self):
            return self.file.closed

    whole = open
    monkeypatch.setattr(j, "open", Flash, raising=False)
    return Flash


# The minute's least, mean and most.


def filled(minute, *readings, out=(0, 0)):
    """Add readings, each (current 1, current 2, level, battery), and close the minute: (news, its 12 values)."""
    for reading in readings:
        raw = [LARGEST] * N_INPUTS
        for place, value in zip((IN_CURRENT_1, IN_CURRENT_2, IN_LEVEL, IN_BATTERY), reading, strict=True):
            raw[place] = value
        minute.add(raw, list(out))
    return minute.close(), list(minute.values)


def test_a_minute_holds_least_mean_and_most_of_the_four_analog_channels():
    minute = rec.Minute()
    assert filled(minute, (0, 0, 0, 0))[0] == 0, "a life that begins with nothing to tell"
    news, values = filled(minute, (5, -3, 700, 12800), (4, 8, 100, 12801), (9, -9, 400, 12802))
    assert values == [4, 6, 9, -9, -2, 8, 100, 400, 700, 12800, 12801, 12802] and news
    # The next begins anew.
    _, values = filled(minute, (6, 1, 300, 12000), (8, 3, 300, 12000))
    assert values == [6, 7, 8, 1, 2, 3, 300, 300, 300, 12000, 12000, 12000]


def test_a_minute_of_wild_readings_stays_a_small_integer():
    most = 1_000_000
    _, values = filled(rec.Minute(), *[(most + 1, LARGEST, most, most - 1)] * 600)
    assert values == [most] * 9 + [most - 1] * 3
    assert 600 * most < 2**30, "ten readings a second"


@pytest.mark.parametrize("channel", range(4))
@pytest.mark.parametrize(("before", "change", "news"), [
    (0, 10, 0), (0, 11, 1), (3200, 110, 0), (3200, 111, 1), (3200, -110, 0), (3200, -111, 1), (-3200, -111, 1),
    (31, 11, 1), (32, 11, 0),
])  # fmt: skip
def test_a_minute_says_something_new_from_a_thirty_second_part_on(channel, before, change, news):
    minute = rec.Minute()
    filled(minute, [before if i == channel else 0 for i in range(4)])
    assert filled(minute, [before + change if i == channel else 0 for i in range(4)])[0] == news


def test_a_slow_drift_is_told_against_what_was_told_last():
    minute = rec.Minute()
    filled(minute, (0, 0, 0, 0), (0, 0, 6400, 0))  # the mean counts, not the most
    told = [filled(minute, (0, 0, 3200 + 40 * k, 0))[0] for k in range(1, 8)]
    assert told == [0, 0, 1, 0, 0, 1, 0]


@pytest.mark.parametrize("out", [(1, 0), (0, 1), (1, 1)])
def test_a_minute_in_which_a_pump_ran_is_always_told_and_the_next_is_not(out):
    minute = rec.Minute()
    minute.add([0] * N_INPUTS, list(out))
    assert filled(minute, (0, 0, 0, 0))[0] == 1
    assert filled(minute, (0, 0, 0, 0))[0] == 0


# What a life finds of the one before.


def leave(folder, number, life=3, checksum=7, snapshot=(10, 11, 12), records=b""):
    data = form.batch(form.opening(number_=number, life=life, checksum=checksum, snapshot=snapshot))
    path = folder / f"{number:08d}.seg"
    path.write_bytes(data + (form.batch(records) if records else b""))
    return path


def test_j4_the_last_segment_says_what_survived_and_numbers_the_life(folder):
    leave(folder, 1, 1, snapshot=(1, 1, 1))
    leave(folder, 2, 3, records=form.retained({1: -4}))
    recorder = rec.Recorder(str(folder), 7)
    assert recorder.recall(PLACES) == ([10, -4], [])
    assert recorder.journal.life == 3 and recorder.journal.number == 2


def test_j4_damaged_segments_are_named_and_the_newest_sound_one_of_the_last_four_counts(folder):
    for number in range(1, 4):
        leave(folder, number, life=number)
    for number in (4, 5, 6):
        (folder / f"{number:08d}.seg").write_bytes(b"torn")
    recorder = rec.Recorder(str(folder), 7)
    kept, notes = recorder.recall(PLACES)
    assert (kept, recorder.journal.life) == ([10, 12], 3)
    assert notes == [(j.DAMAGED, number, "no sound batch") for number in (6, 5, 4)]
    (folder / "00000007.seg").write_bytes(b"torn")
    recorder = rec.Recorder(str(folder), 7)
    assert recorder.recall(PLACES)[0] is None and recorder.journal.life == 0, "a start does not search for ever"


def test_j4_a_segment_longer_than_any_is_left_unread(folder):
    path = leave(folder, 1)
    with path.open("ab") as file:
        file.write(bytes(j.LONGEST_SEGMENT - path.stat().st_size))
    assert rec.Recorder(str(folder), 7).recall(PLACES) == ([10, 12], [])
    with path.open("ab") as file:
        file.write(b"x")
    assert rec.Recorder(str(folder), 7).recall(PLACES) == (None, [(j.DAMAGED, 1, "longer than a segment may be")])


def test_j4_what_another_firmware_kept_is_refused_by_name(folder):
    leave(folder, 1, life=1)
    leave(folder, 2, life=5, checksum=8)
    recorder = rec.Recorder(str(folder), 7)
    words = "segment 2 is of another firmware: lockouts, latched alarms and counters begin anew"
    assert recorder.recall(PLACES) == (None, [(j.FIRMWARE, 8, words)])
    assert recorder.journal.life == 5, "lives are numbered on"


def test_a_board_that_nothing_was_deployed_to_gets_its_folders(tmp_path):
    folder = tmp_path / "pit" / "journal"
    recorder = rec.Recorder(str(folder), 7)
    assert recorder.recall(PLACES) == (None, []) and folder.is_dir()
    recorder = rec.Recorder(str(tmp_path / "none" / "deep" / "journal"), 7)
    assert recorder.recall(PLACES) == (None, []), "where they cannot be made there is no journal, and no error"


def test_m5_without_a_journal_nothing_is_read_written_or_told(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    recorder, pit = rec.Recorder(None, 7), Pit()
    assert recorder.recall(PLACES) == (None, [])
    recorder.begin(pit.controller, 1000, 0, None, 0)
    recorder.event(1000, 1)
    for _ in range(1300):
        pit.inputs[0] ^= 1
        tick(recorder, pit, first=True)
    recorder.close(pit.controller.now)
    assert list(tmp_path.iterdir()) == [] and not recorder.failing and recorder.faults == 0
    assert not rec.Recorder(None, 7).litter


# The beginning of a life.


@pytest.mark.parametrize("cause", [0, 2])
def test_j1_a_power_up_is_on_flash_in_the_first_pass_with_its_cause(folder, cause):
    recorder, _ = begun(folder, [4, 5], cause)
    (opened, event, step) = segment(folder, 1)
    assert opened[3:7] == (1, 7, 50, 1000) and opened[8] == [4, 5]
    assert event == ("event", j.POWER_UP, cause, "") and step[0] == "step"
    assert recorder.litter and not recorder.failing and recorder.journal.life == 1


def test_new_settings_begin_a_life_that_was_no_power_up(folder):
    begun(folder, None, -1)
    assert [record[0] for record in segment(folder, 1)] == ["open", "step"]
    assert segment(folder, 1)[0][8] == [], "nothing survived"
    again, _ = begun(folder)
    assert again.journal.number == 2 and again.journal.life == 2


def test_a_life_that_begins_without_room_says_nothing_late(folder, flash):
    flash.fail = 4
    recorder, pit = begun(folder)
    assert recorder.failing and recorder.journal.file is None and recorder.faults == 4
    recorder.event(pit.controller.now, 5, 1, "lost")
    tick(recorder, pit, rec.TRY_AGAIN_MS)
    assert not recorder.failing
    recorder.flush(pit.controller.now)
    opened, *others = segment(folder, 1)
    assert opened[8] is None, "the life goes on"
    assert [record for record in others if record[0] == "event"] == [("event", j.STORAGE, 4, "[Errno 28] planted")]


# What is on flash when.


def test_j1_an_input_alone_waits_a_second_at_the_most(folder):
    recorder, pit = begun(folder)
    tick(recorder, pit)
    pit.inputs[0] = 1
    tick(recorder, pit)
    for _ in range(8):
        tick(recorder, pit)
        assert len(kinds(folder, 1, "step")) == 1
    tick(recorder, pit)
    assert len(kinds(folder, 1, "step")) == 2


@pytest.mark.parametrize("what", ["output", "alarm", "alarm back"])
def test_j1_an_edge_of_an_output_or_an_alarm_is_on_flash_in_its_pass_with_what_survives(folder, what):
    recorder, pit = begun(folder)
    pit.controller.alarms.state[COUNT - 1] = 2
    tick(recorder, pit)
    flushes = recorder.journal.flushes
    tick(recorder, pit)
    assert recorder.journal.flushes == flushes and not recorder.journal.waiting(), "told once"
    pit.inputs[0] = 1
    pit.controller.kept = [9, 77]
    if what == "output":
        pit.controller.out[0] = 1
    else:
        pit.controller.alarms.state[0 if what == "alarm" else COUNT - 1] ^= 2
    tick(recorder, pit)
    assert segment(folder, 1)[-2:] == [("step", 3, 0, pit.controller.out[0], {0: 1}), ("retained", {1: 77})]


def test_j1_a_late_step_is_recorded_as_late(folder):
    recorder, pit = begun(folder)
    tick(recorder, pit, late_ms=300)
    recorder.flush(pit.controller.now)
    assert segment(folder, 1)[-1] == ("step", 1, 3, 0, {})


def test_j4_in_quiet_hours_what_survives_is_recorded_once_an_hour(folder):
    recorder, pit = begun(folder)
    told = []
    for minute in range(1, 200):
        pit.controller.uptime_min = minute
        pit.controller.kept = [9, minute]
        before = recorder.journal.records
        tick(recorder, pit)
        if recorder.journal.records != before:
            told.append(minute)
            assert not recorder.journal.due(pit.controller.now), "nothing that is in a hurry"
            recorder.flush(pit.controller.now)
    assert told == [60, 120, 180]
    recorder.begin(pit.controller, pit.controller.now, 0, [1], -1)
    pit.controller.uptime_min, pit.controller.kept = 60, [9, 1000]
    tick(recorder, pit)
    assert recorder.journal.waiting(), "a new life counts from its own beginning"


def test_a_minute_is_recorded_sixty_seconds_after_the_one_before(folder):
    recorder, pit = begun(folder)
    pit.raw[IN_LEVEL] = 5000
    for _ in range(599):
        tick(recorder, pit)
    assert recorder.journal.records == 2
    tick(recorder, pit)
    assert recorder.journal.records == 3
    pit.raw[IN_LEVEL] = 9000
    for _ in range(599):
        tick(recorder, pit)
    assert recorder.journal.records == 3
    tick(recorder, pit)
    recorder.flush(pit.controller.now)
    found = kinds(folder, 1, "minute")
    assert [record[1][6:9] for record in found] == [[0, 4991, 5000], [9000] * 3]
    for _ in range(600):
        tick(recorder, pit)
    recorder.flush(pit.controller.now)
    assert len(kinds(folder, 1, "minute")) == 2, "it says nothing new"


def test_an_event_is_on_flash_at_once(folder):
    recorder, pit = begun(folder)
    recorder.litter = False
    recorder.event(pit.controller.now, j.CLOCK_SET, -7, "by hand")
    assert segment(folder, 1)[-1] == ("event", j.CLOCK_SET, -7, "by hand")
    recorder.event(pit.controller.now, j.SETTINGS)
    assert segment(folder, 1)[-1] == ("event", j.SETTINGS, 0, "") and recorder.litter


@pytest.mark.parametrize("pump", [0, 1])
def test_a_full_segment_is_closed_while_no_pump_runs_and_nothing_waits(folder, pump):
    recorder, pit = begun(folder)
    recorder.litter = False
    recorder.journal.size = j.SEGMENT_BYTES
    pit.controller.out[pump] = 1
    tick(recorder, pit)
    assert recorder.journal.number == 1
    pit.controller.out[pump] = 0
    recorder.journal.out = 0
    pit.inputs[0] = 1
    tick(recorder, pit)
    assert recorder.journal.waiting() and recorder.journal.number == 1
    tick(recorder, pit, 1000)
    assert recorder.journal.number == 2 and recorder.litter
    assert segment(folder, 2)[0][5:9] == (50, pit.controller.now, [600, -1], None)
    tick(recorder, pit, 1000)
    assert recorder.journal.number == 2


# A flash that fails.


def grown(folder, count=6):
    """A recorder that has as many segments, its last the open one."""
    recorder, pit = begun(folder)
    for _ in range(count - 1):
        recorder.journal.open(pit.controller, pit.controller.now, 0)
    return recorder, pit


@pytest.mark.parametrize("fails", [1, 2, 3, 4])
def test_m3_a_full_flash_gives_up_old_segments_one_by_one_and_then_waits_a_minute(folder, flash, fails):
    recorder, pit = grown(folder)
    recorder.litter = False
    pit.controller.out[0] = 1
    flash.fail, flash.error = fails, 28
    tick(recorder, pit)
    assert (recorder.faults, recorder.journal.dropped) == (fails, fails)
    assert [path.name for path in sorted(folder.iterdir())][0] == f"{fails + 1:08d}.seg"
    assert recorder.failing is (fails == 4) and recorder.litter
    if fails < 4:
        tick(recorder, pit)
        recorder.flush(pit.controller.now)
        records = segment(folder, 6)
        assert records[-2] == ("step", 0, 0, 1, {}) or records[-2][0] == "step"
        assert records[-1] == ("event", j.STORAGE, fails, "[Errno 28] planted")
        tick(recorder, pit)
        assert not recorder.journal.waiting(), "told once"
    else:
        assert recorder.journal.file is None and not recorder.journal.waiting()


def test_m3_after_a_minute_it_is_tried_again_and_what_was_missed_stands_in_the_new_segment(folder, flash):
    recorder, pit = grown(folder)
    flash.fail = 4
    pit.controller.out[0] = 1
    tick(recorder, pit)
    given_up_ms = pit.controller.now
    assert recorder.failing
    flash.tried = 0
    while pit.controller.now < given_up_ms + rec.TRY_AGAIN_MS - 100:
        pit.inputs[0] ^= 1
        tick(recorder, pit)
    assert flash.tried == 0 and recorder.failing
    pit.controller.out[0] = 0
    pit.controller.last = list(pit.inputs)
    recorder.litter = False
    tick(recorder, pit)
    assert not recorder.failing and recorder.journal.number == 7 and flash.tried > 0
    assert recorder.litter, "an opening takes several kB of the heap"
    recorder.flush(pit.controller.now)
    assert segment(folder, 7)[0][6] == pit.controller.now and segment(folder, 7)[0][8] is None
    assert [record for record in segment(folder, 7) if record[0] == "step"] == []


def test_m3_flash_that_stays_broken_is_tried_four_times_a_minute_and_stops_nothing(folder, flash):
    recorder, pit = grown(folder)
    flash.fail, flash.error = 10**6, 5
    for _ in range(1801):
        pit.controller.out[0] ^= 1
        tick(recorder, pit)
    # Once when the first edge is flushed, then after each of three minutes.
    assert recorder.failing and recorder.faults == 4 * 4
    flash.fail = 0
    tick(recorder, pit, rec.TRY_AGAIN_MS)
    assert not recorder.failing
    recorder.flush(pit.controller.now)
    assert kinds(folder, recorder.journal.number, "event") == [("event", j.STORAGE, 16, "[Errno 5] planted")]


def test_m3_a_folder_that_is_gone_stops_nothing(folder, flash):
    recorder, pit = begun(folder)
    for path in folder.iterdir():
        path.unlink()
    folder.rmdir()
    flash.fail = 4
    pit.controller.out[0] = 1
    tick(recorder, pit)
    assert recorder.failing and recorder.faults == 4


def test_a_sound_life_tells_of_no_storage_fault(folder):
    recorder, pit = begun(folder)
    for _ in range(20):
        pit.inputs[0] ^= 1
        tick(recorder, pit)
    recorder.flush(pit.controller.now)
    assert [record[1] for record in kinds(folder, 1, "event")] == [j.POWER_UP] and recorder.faults == 0


def test_a_reset_that_was_asked_for_leaves_everything_on_flash(folder, flash):
    recorder, pit = begun(folder)
    pit.inputs[0] = 1
    tick(recorder, pit)
    file = recorder.journal.file
    recorder.close(pit.controller.now)
    assert file.closed and recorder.journal.file is None and recorder.faults == 0
    assert segment(folder, 1)[-1] == ("step", 1, 0, 0, {0: 1})


def test_a_file_that_cannot_be_closed_is_counted_and_stops_no_reset(folder, monkeypatch):
    recorder, pit = begun(folder)

    def stuck():
        raise OSError(5)

    monkeypatch.setattr(recorder.journal, "close", stuck)
    recorder.close(pit.controller.now)
    assert recorder.faults == 1
    assert os.listdir(folder) == ["00000001.seg"]
