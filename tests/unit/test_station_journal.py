"""J1, J2: a journal's segments byte for byte against their description, and which of them stay on flash."""

from pathlib import Path

import pytest
from duplexsump.control.records import N_INPUTS
from duplexsump.station import journal as j

from tests import journal_format as form

LARGEST = 2**30 - 1


class Controller:
    """What a journal asks of the control part, set by hand."""

    def __init__(self):
        self.now = 1000
        self.out = [0] * 9
        self.last = [5] * N_INPUTS
        self.settings = [600, -1]
        self.kept = [3, 4, 5]
        self.record = [9, -9, LARGEST]

    def retain(self):
        return list(self.kept)

    def snapshot(self):
        return list(self.record)


def written(folder, number):
    return form.batches((folder / f"{number:08d}.seg").read_bytes())


def names(folder):
    return sorted(path.name for path in folder.iterdir())


@pytest.fixture
def book(tmp_path):
    """A journal whose first segment is open in a life that goes on."""
    made = j.Journal(str(tmp_path), 7)
    made.survey()
    made.open(Controller(), 1000, 0)
    return made


def stepped(book, inputs, controller, late_ms=0, always=False):
    """Have a step recorded and flushed; return (what it said, its STEP)."""
    said = book.step(controller, inputs, late_ms, always)
    book.flush()
    last = written(Path(book.folder), book.number)[-1]
    return said, last[0]


# What a segment says.


@pytest.mark.parametrize("place", range(9))
def test_each_output_has_its_own_bit_and_lateness_none(place):
    out = [int(i == place) for i in range(9)]
    bits = {j.OUT_LATE: 0, j.OUT_CLOCK: 128}
    assert j.pack(out) == bits.get(place, 1 << place)


@pytest.mark.parametrize("retained", [None, [], [3, 4, -5]])
def test_a_segment_opens_with_all_that_a_replay_needs(tmp_path, retained):
    book = j.Journal(str(tmp_path), 0xFFFFFFFF)
    book.survey()
    book.life = 300
    book.open(Controller(), 123456, 1_700_000_000, retained)
    (opened,) = written(tmp_path, 1)
    assert opened == [("open", 3, 1, 300, 0xFFFFFFFF, 1_700_000_000, 123456, [600, -1], retained, [9, -9, LARGEST])]
    size = (tmp_path / "00000001.seg").stat().st_size
    assert (book.number, book.first, book.count, book.size, book.flushes, book.records) == (1, 1, 1, size, 1, 0)
    assert (book.last == [0] * N_INPUTS) is (retained is not None), "a life's first step is told against zeros"
    assert (book.last == [5] * N_INPUTS) is (retained is None)


def test_the_firmware_reads_what_another_writes(tmp_path):
    opened = form.opening(number_=4, life=2, checksum=0x89ABCDEF, wall_s=5, at_ms=77, settings=[1, -2], retained=[7, 8],
                          snapshot=range(200))  # fmt: skip
    records = (form.event(9, -3, "x" * 130) + form.step(100000, 3, 255, {0: 1, 24: -70000}) + form.minute(range(12))
               + form.step(1, 0, 2, {}) + form.step(3, 3, 3, {1: 2, 2: 900})
               + form.step(3, 3, 3, dict.fromkeys(range(25), 3))
               + form.retained({1: -6}) + form.event(0, 1, ""))  # fmt: skip
    data = form.batch(opened) + form.batch(records) + form.batch(form.retained({0: 11, 2: LARGEST}))
    assert j.recall(data, [190, 191, 193]) == (2, 0x89ABCDEF, [11, -6, LARGEST])
    assert j.recall(data[:-1], [190, 191, 193]) == (2, 0x89ABCDEF, [190, -6, 193]), "torn: as of the batch before"
    assert j.recall(form.batch(form.opening(at_ms=77, snapshot=[6])), [0]) == (1, 7, [6]), "of a life that goes on"
    assert j.recall(form.batch(opened + form.opening(number_=5, snapshot=[1]) + form.retained({0: 2})), [190]) == (
        2, 0x89ABCDEF, [2])  # fmt: skip


@pytest.mark.parametrize("length", [2, 3, 4])
def test_a_snapshot_too_short_for_what_was_kept_gives_nothing(length):
    data = form.batch(form.opening(snapshot=range(length)) + form.retained({0: 5}))
    assert j.recall(data, [0, 3]) == (1, 7, [5, 3] if length == 4 else [])


@pytest.mark.parametrize(("data", "reason"), [
    (b"", "no sound batch"), (b"\xd5\x01\x00\x00\x00\x00\x00\x01", "no sound batch"),
    (form.batch(form.event(0, 0, "") + form.opening()), "no OPEN record: not the beginning of a segment"),
    (form.batch(form.opening(version=2)), "journal of version 2, this firmware reads 3: use the release that wrote it"),
    (form.batch(form.opening(snapshot=[1]) + b"\x06"), "unknown record 6"),
    (form.batch(form.opening(snapshot=[1]) + b"\x00"), "unknown record 0"),
    (form.batch(form.opening(snapshot=[1]) + form.minute(range(12))[:-1]), "a record ends in the middle"),
])  # fmt: skip
def test_what_is_no_segment_is_refused_with_the_reason(data, reason):
    with pytest.raises(ValueError, match=f"^{reason}$"):
        j.recall(data, [0])


# Which steps are recorded.


def test_j2_a_step_is_recorded_with_just_the_inputs_that_differ(book):
    controller = Controller()
    inputs = list(controller.last)
    for place in range(N_INPUTS):
        inputs[place] = -place - 1
        controller.now += 300
        assert stepped(book, inputs, controller) == (False, ("step", 3, 0, 0, {place: -place - 1}))
        assert not book.step(controller, inputs, 0, False) and not book.waiting(), "and told once"
    assert book.records == N_INPUTS


def test_j2_a_step_without_news_is_recorded_if_it_was_late_or_the_first(book):
    controller = Controller()
    assert not book.step(controller, controller.last, 0, False) and not book.waiting()
    controller.now = 1200
    assert stepped(book, controller.last, controller, late_ms=700) == (False, ("step", 2, 7, 0, {}))
    controller.now = 1300
    assert stepped(book, controller.last, controller, always=True) == (False, ("step", 1, 0, 0, {}))


def test_j1_an_edge_of_an_output_is_told_and_a_level_is_not(book):
    controller = Controller()
    controller.out[1] = 1
    assert stepped(book, controller.last, controller) == (True, ("step", 0, 0, 2, {}))
    assert not book.step(controller, controller.last, 0, False) and not book.waiting()
    controller.out[1] = 0
    assert book.step(controller, controller.last, 0, False)


def test_j1_an_edge_is_one_against_the_segment_s_own_beginning(tmp_path):
    controller = Controller()
    controller.out[0] = 1
    book = j.Journal(str(tmp_path), 7)
    book.open(controller, 1000, 0)
    assert not book.step(controller, controller.last, 0, False) and not book.waiting()


def test_no_two_records_lie_further_apart_than_half_a_day(book):
    controller = Controller()
    controller.now = 1000 + j.QUIET_MS - 100
    assert not book.step(controller, controller.last, 0, False) and not book.waiting()
    controller.now += 100
    assert stepped(book, controller.last, controller) == (False, ("step", 432000, 0, 0, {}))
    assert j.QUIET_MS < 2**29, "ms: no instant is mistaken for one before it"


# What waits, and for how long.


def test_j1_what_waits_is_flushed_within_a_second_of_its_oldest_record(book):
    assert not book.waiting() and not book.due(1000 + j.HELD_MS)
    book.minute(2000, range(12))
    book.event(2500, 1)
    assert book.waiting() and not book.due(2899) and book.due(2900)
    flushes = book.flushes
    book.flush()
    assert not book.waiting() and not book.due(9000) and book.flushes == flushes + 1
    book.event(9000, 1)
    assert not book.due(9899) and book.due(9900)
    book.flush()
    book.flush()
    assert book.flushes == flushes + 2, "nothing waits, nothing is written"
    assert [len(found) for found in written(Path(book.folder), 1)] == [1, 2, 1]
    assert book.size == (Path(book.folder) / "00000001.seg").stat().st_size


def test_a_long_batch_is_due_at_once(book):
    book.event(0, 1)
    while book.batch.end < j.FULL:
        book.batch.byte(0)
    assert not book.due(0)
    book.batch.byte(0)
    assert book.due(0)


def test_the_fullest_pass_finds_room_in_one_batch(book):
    # Before it: the longest batch that may go on waiting.  In it: each kind of record at its longest.
    controller = Controller()
    controller.kept = [0] * 187
    book.open(controller, 1000, 0)
    while book.batch.end < j.FULL - 5:
        book.event(1000, 1, 0, "")
    assert not book.due(1000)
    controller.now = 1000 + j.QUIET_MS
    controller.out = [1] * 9
    book.step(controller, [-LARGEST] * N_INPUTS, 2**29 // 100 * 100, True)
    book.retain(controller.now, [-LARGEST] * 187)
    book.minute(controller.now, [1_000_000] * 12)
    book.event(controller.now, 200, -LARGEST, "x" * 300)
    before = book.records
    book.flush()
    last = written(Path(book.folder), 2)[-1]
    assert [record[0] for record in last[-4:]] == ["step", "retained", "minute", "event"]
    assert last[-3][1] == dict.fromkeys(range(187), -LARGEST) and last[-1][3] == "x" * 200
    assert len(last) == before


def test_the_longest_opening_finds_room(tmp_path):
    # 70 settings, 187 places that survive, 757 of a snapshot; every number in force is below 2**30.
    controller = Controller()
    controller.settings, controller.record = [-LARGEST] * 70, [LARGEST] * 757
    book = j.Journal(str(tmp_path), 2**32 - 1)
    book.life = book.number = LARGEST
    book.open(controller, LARGEST, 2**32 - 1, [-LARGEST] * 187)
    ((opened,),) = form.batches((tmp_path / f"{2**30}.seg").read_bytes())
    assert (opened[-3], opened[-2], opened[-1]) == ([-LARGEST] * 70, [-LARGEST] * 187, [LARGEST] * 757)


def test_events_that_find_no_room_are_left_out_and_the_rest_is_sound(book):
    for _ in range(20):
        book.event(1000, 5, 1, "x" * 200)
    book.flush()
    last = written(Path(book.folder), 1)[-1]
    assert len(last) == book.records == 9
    assert 7 + 8 * 206 <= j.ROOM - 200 < 7 + 9 * 206
    book.batch.end = j.ROOM - 200
    book.event(0, 1)
    assert book.batch.end > j.ROOM - 200
    end = book.batch.end
    book.event(0, 1)
    assert book.batch.end == end


def test_j4_what_is_kept_is_recorded_as_it_differs_and_only_then(book):
    book.retain(1000, [3, 4, 5])
    assert not book.waiting() and book.records == 0
    book.retain(1000, [3, 40, -5])
    book.retain(1000, [3, 40, -5])
    book.retain(1000, [2, 40, -5])
    book.flush()
    assert written(Path(book.folder), 1)[1:] == [[("retained", {1: 40, 2: -5}), ("retained", {0: 2})]]
    assert book.records == 2


# Files.


def test_segments_are_found_by_name_and_numbered_on(tmp_path):
    for name in ("00000012.seg", "00000003.seg", "x0000004.seg", "00000005.sex", "000000006.seg", "0000007.seg",
                 "00000008seg."):  # fmt: skip
        (tmp_path / name).write_bytes(b"")
    assert j.segments(str(tmp_path)) == [3, 12]
    assert j.path_of("/a", 3) == "/a/00000003.seg"
    book = j.Journal(str(tmp_path), 7)
    assert (book.number, book.first, book.count, book.size, book.flushes, book.life) == (0, 0, 0, 0, 0, 0)
    assert book.survey() == [3, 12]
    assert (book.number, book.first, book.count) == (12, 3, 2)
    book.open(Controller(), 0, 0)
    assert (book.number, book.first, book.count) == (13, 3, 3)
    file = book.file
    book.open(Controller(), 0, 0)
    assert file.closed and not book.file.closed
    assert written(tmp_path, 13)[0][0][2] == 13


def test_a_folder_without_segments_is_numbered_from_one(tmp_path):
    book = j.Journal(str(tmp_path), 7)
    assert (book.survey(), book.number, book.first, book.count) == ([], 0, 0, 0)


def test_forty_segments_are_kept_and_the_newest_of_them(tmp_path):
    book = j.Journal(str(tmp_path), 7)
    for number in range(1, 46):
        book.open(Controller(), 0, 0)
        assert (book.number, book.count, book.dropped) == (number, min(number, 40), max(0, number - 40))
        assert book.first == max(1, number - 39)
    assert names(tmp_path) == [f"{n:08d}.seg" for n in range(6, 46)]
    # 40 of 12 kB on a flash of 1.4 MB; none grows longer than twice that.
    assert j.MOST_SEGMENTS * j.LONGEST_SEGMENT < 1_000_000


def test_a_flash_with_little_room_keeps_fewer_but_never_none(tmp_path, monkeypatch):
    free = {"blocks": 8}
    monkeypatch.setattr(j.os, "statvfs", lambda folder: (4096, 4096, 352, free["blocks"]))
    book = j.Journal(str(tmp_path), 7)
    for _ in range(4):
        book.open(Controller(), 0, 0)
    assert (book.count, book.dropped) == (4, 0)
    free["blocks"] = 7
    book.open(Controller(), 0, 0)
    assert names(tmp_path) == ["00000004.seg", "00000005.seg"], "what was kept last is never given up"
    assert (book.count, book.dropped, book.first) == (2, 3, 4)


def test_the_open_segment_is_never_dropped(tmp_path):
    book = j.Journal(str(tmp_path), 7)
    book.open(Controller(), 0, 0)
    book.open(Controller(), 0, 0)
    book.drop()
    assert names(tmp_path) == ["00000002.seg"] and (book.first, book.count) == (2, 1)
    with pytest.raises(OSError, match="no segment is left to drop"):
        book.drop()
    assert names(tmp_path) == ["00000002.seg"] and (book.count, book.dropped) == (1, 1)
    for _ in range(2):
        book.open(Controller(), 0, 0)
    book.drop()
    assert (book.first, book.count) == (3, 2)


def test_a_segment_that_cannot_be_begun_leaves_nothing_behind(tmp_path, monkeypatch):
    book = j.Journal(str(tmp_path), 7)
    book.open(Controller(), 0, 0)

    class Full:
        def __init__(self, path, mode):
            assert mode == "wb"
            self.file = whole(path, mode)

        def write(self, data):
            self.file.write(data[:5])
            raise OSError(28)

        def close(self):
            self.file.close()
            raise OSError(28)

    whole = open
    monkeypatch.setattr(j, "open", Full, raising=False)
    with pytest.raises(OSError, match="28"):
        book.open(Controller(), 0, 0)
    assert names(tmp_path) == ["00000001.seg"]
    assert book.file is None and (book.number, book.count, book.first, book.flushes) == (1, 1, 1, 1)

    def refused(path, mode):
        raise OSError(30)

    monkeypatch.setattr(j, "open", refused, raising=False)
    with pytest.raises(OSError, match="30"):
        book.open(Controller(), 0, 0)
    monkeypatch.setattr(j, "open", whole, raising=False)
    book.open(Controller(), 0, 0)
    assert names(tmp_path) == ["00000001.seg", "00000002.seg"]


def test_a_segment_goes_on_after_an_error_where_it_stood(book):
    book.event(1000, 1, 1)
    book.flush()
    book.abandon()
    assert book.file is None
    book.event(1000, 1, 2)
    book.flush()
    file = book.file
    book.event(1000, 1, 3)
    book.flush()
    assert book.file is file, "opened once"
    book.close()
    book.close()
    assert file.closed and book.file is None
    assert [found[0][2] for found in written(Path(book.folder), 1)[1:]] == [1, 2, 3]


def test_what_is_flushed_is_in_the_file_when_flush_returns(book):
    path = Path(book.folder) / "00000001.seg"
    before = path.stat().st_size
    book.event(1000, 1)
    assert path.stat().st_size == before
    book.flush()
    assert path.stat().st_size == before + 7 + 4 == book.size


@pytest.mark.parametrize("more", [-1, 0])
def test_a_segment_is_closed_once_it_is_long_enough(book, more):
    book.size = j.SEGMENT_BYTES + more
    assert book.full() is (more == 0)
    # What may still come to a segment that waits for the pumps to stop, before no life reads it any more.
    assert j.SEGMENT_BYTES * 2 <= j.LONGEST_SEGMENT


def test_a_window_reads_from_where_it_is_asked_and_nothing_where_nothing_is(book):
    data = (Path(book.folder) / "00000001.seg").read_bytes()
    buffer = bytearray(10)
    assert book.window(1, 3, buffer) == 10 and bytes(buffer) == data[3:13]
    assert book.window(1, len(data) - 4, buffer) == 4 and bytes(buffer[:4]) == data[-4:]
    assert book.window(1, len(data), buffer) == 0
    assert book.window(2, 0, buffer) == 0


def test_a_window_leaves_no_file_open(book, monkeypatch):
    opened = []
    whole = open

    def watched(path, mode):
        opened.append(whole(path, mode))
        return opened[-1]

    monkeypatch.setattr(j, "open", watched, raising=False)
    book.window(1, 0, bytearray(4))
    with pytest.raises(TypeError):
        book.window(1, "x", bytearray(4))
    assert len(opened) == 2 and all(file.closed for file in opened)
