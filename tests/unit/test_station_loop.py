"""M3 to M5, J1, J4: a life of the station, its ticks and its passes, with clock, files and links set by hand."""

import pytest
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.station import health, store
from duplexsump.station import journal as j
from duplexsump.station import loop as lp

from tests import journal_format as form
from tests.station_rig import Board, Heap, run, start

HALF_MS = 50  # of a tick: what is left of it when there is time for anything but the control


def records(board, *kinds):
    """Return what the journal says, segment after segment, without the instants of its batches."""
    found = []
    for path in sorted((board.folder / "journal").glob("*.seg")):
        found += [record for batch in form.batches(path.read_bytes()) for record in batch]
    return [record for record in found if record[0] in kinds] if kinds else found


def made(folder, mode=health.FULL, manifest=None, cause=0, reason=""):
    board = Board(folder)
    station = lp.Station(board, mode, manifest)
    station.begin(cause, reason)
    return board, station


@pytest.fixture
def pit(tmp_path):
    return made(tmp_path / "pit")


class Files:
    """A manifest whose turn comes to `names` one by one, "" for a sound file."""

    def __init__(self, names=(), note="", sound=True):
        self.names, self.note, self.sound = list(names), note, sound
        self.read = 0

    def next(self):
        self.read += 1
        return self.names.pop(0) if self.names else ""


class Stepped:
    """Notes each step of the control part: (instant, inputs)."""

    def __init__(self, monkeypatch):
        self.steps = []
        whole = lp.Controller.step

        def step(controller, now_ms, inputs, limited=False):
            self.steps.append((now_ms, list(inputs)))
            return whole(controller, now_ms, inputs, limited)

        monkeypatch.setattr(lp.Controller, "step", step)


# Power-up.


def test_m4_the_stored_settings_are_in_force_from_the_first_step_and_fit_the_board(tmp_path):
    values = list(s.defaults())
    values[s.DEBOUNCE_MS], values[s.SENSOR_RANGE_1_MA], values[s.SENSOR_RANGE_2_MA] = 1500, 30000, 20000
    (tmp_path / "pit").mkdir()
    store.Store(str(tmp_path / "pit")).save(values)
    board, station = made(tmp_path / "pit")
    assert station.controller.settings == values and station.bands.settings == values
    assert board.ranges_ma == (30000, 20000) and board.transmitter == values[s.TRANSMITTER]
    assert records(board, "open")[0][7] == values


def test_nothing_is_asked_for_before_anybody_asked(tmp_path, monkeypatch):
    steps = Stepped(monkeypatch).steps
    whole = Board.read

    def two(board, raw):
        raw[r.IN_CONTACTS], raw[r.IN_MAINS] = 8, 1  # a board with no more pins than these

    monkeypatch.setattr(Board, "read", two)
    board, station = made(tmp_path / "pit")
    assert whole is not two
    instant, inputs = steps[0]
    assert instant == board.time_ms
    bare = [0] * r.N_INPUTS
    bare[r.IN_MAINS] = 1
    bare[r.IN_CURRENT_1] = bare[r.IN_CURRENT_2] = inputs[r.IN_CURRENT_1]
    bare[r.IN_BATTERY] = inputs[r.IN_BATTERY]
    assert inputs == bare and station.raw[2:7] == [0] * 5
    assert (station.wish, station.overruns, station.longest_pass_ms, station.passes, station.heap_free) == (0,) * 5
    assert (station.links, station.damaged, station.reason, station.wall_now_s()) == ([], [], "", 0)
    assert station.staging() == 0 and station.bad_frames() == 0


def test_a_life_begins_with_everything_that_is_to_be_told_of_it_in_order(tmp_path):
    folder = tmp_path / "pit"
    folder.mkdir()
    (folder / "settings.a").write_bytes(b"rubbish")
    (folder / "journal").mkdir()
    (folder / "journal" / "00000003.seg").write_bytes(b"torn")
    board = Board(folder)
    station = lp.Station(board, health.FULL, Files(note="no manifest", sound=False))
    for name in ("/a.mpy", "/b.mpy", "/a.mpy"):
        station.damage(name)
    collected = Heap.collections
    station.begin(2, "ValueError: planted")
    (folder / "journal" / "00000003.seg").unlink()
    told = [record[1:] for record in records(board, "event")]
    assert told == [
        (j.POWER_UP, 2, ""), (j.DAMAGED, 3, "no sound batch"),
        (j.SETTINGS_SLOT, store.DEFAULTS, "settings slot a: damaged, its checksum does not hold"),
        (j.SETTINGS_SLOT, store.DEFAULTS, "no sound settings slot: the defaults hold"),
        (j.DAMAGED_FILE, 0, "no manifest"), (j.DAMAGED_FILE, 2, "/a.mpy"), (j.DAMAGED_FILE, 2, "/b.mpy"),
        (j.EXCEPTION, 0, "ValueError: planted"),
    ]  # fmt: skip
    assert station.reason == "ValueError: planted", "the first reason is kept"
    assert Heap.collections == collected + 1, "what starting left is collected before the loop"


def test_a_sound_life_tells_nothing_but_its_settings_slot(tmp_path):
    (tmp_path / "pit").mkdir()
    store.Store(str(tmp_path / "pit")).save(list(s.defaults()))
    board, station = made(tmp_path / "pit", manifest=Files())
    assert [record[1:] for record in records(board, "event")] == [(j.POWER_UP, 0, "")] and station.reason == ""


def test_a_damaged_file_is_the_reason_where_there_is_no_other(tmp_path):
    board = Board(tmp_path / "pit")
    station = lp.Station(board, health.FULL, Files())
    station.damage("/a.mpy")
    station.damage("/b.mpy")
    station.begin(0)
    assert station.reason == "damaged on flash: /a.mpy" and station.damaged == ["/a.mpy", "/b.mpy"]


@pytest.mark.parametrize("sound", [True, False])
def test_only_files_that_were_just_found_sound_are_not_read_again(tmp_path, monkeypatch, sound):
    asked = []
    monkeypatch.setattr(lp, "firmware_checksum", lambda folder, whole: asked.append((folder, whole)) or 5)
    board, station = made(tmp_path / "pit", manifest=Files(sound=sound))
    made(tmp_path / "other")
    assert asked == [(board.firmware(), sound), (str(tmp_path / "other"), False)]
    assert station.checksum == records(board, "open")[0][4] == 5


def test_j4_what_survived_is_taken_up_and_stands_in_the_journal(tmp_path):
    board, station = made(tmp_path / "pit")
    station.controller.pumps[0].starts = 41
    kept = station.controller.retain()
    station.recorder.recall = lambda places: (kept, [])
    again = lp.Station(board)
    again.recorder.recall = station.recorder.recall
    again.begin(0)
    assert again.controller.pumps[0].starts == 41 and records(board, "open")[-1][8] == kept


def test_j4_what_does_not_fit_begins_a_life_without_a_past(tmp_path):
    board = Board(tmp_path / "pit")
    (tmp_path / "pit" / "journal").mkdir()
    station = lp.Station(board)
    station.recorder.recall = lambda places: ([1, 2, 3], [])
    station.begin(0)
    assert station.controller.powered and station.controller.now == board.time_ms
    assert records(board, "open")[0][8] == [] and board.outputs[r.OUT_RELAY] == 1


def test_j1_the_first_step_of_a_life_is_recorded_whatever_it_is(tmp_path, monkeypatch):
    board = Board(tmp_path / "pit")
    station = lp.Station(board)
    noted = []
    whole = station.recorder.step
    station.recorder.step = lambda *words: (noted.append(words[1:]), whole(*words))
    board.read = lambda raw: raw.__setitem__(slice(None), [0] * r.N_INPUTS)
    station.begin(0)
    assert records(board, "step")[0][:3] == ("step", 0, 0)
    run(board, station, 500)
    assert noted == [(0, True)] + [(0, False)] * (len(noted) - 1) and len(noted) > 4


# One tick.


def test_j2_how_late_a_step_was_is_recorded(pit):
    board, station = pit
    run(board, station, 12000)
    late = []
    station.recorder.step = lambda _station, late_ms, first: late.append((late_ms, first))
    board.raw[0] = 8 ^ 1  # the debounce makes a step due
    run(board, station, 200)
    board.time_ms = (board.time_ms + 3000) & 0x3FFFFFFF
    run(board, station, 100)
    assert max(late) > (1000, False) and all(ms % 100 == 0 for ms, _ in late)
    assert [ms for ms, _ in late[:2]] == [0, 0]


def test_the_relay_and_the_service_call_are_energised_in_full_operation_alone(tmp_path):
    board, station = made(tmp_path / "pit")
    run(board, station, 300)
    assert board.outputs[r.OUT_RELAY] == board.outputs[r.OUT_SERVICE] == 1
    board, station = made(tmp_path / "other", health.CONTROL_ONLY)
    run(board, station, 300)
    assert board.outputs[r.OUT_RELAY] == board.outputs[r.OUT_SERVICE] == 0
    assert not (tmp_path / "other" / "journal").exists()


def test_m2_a_command_acts_in_one_step_and_forces_until_they_are_withdrawn(pit, monkeypatch):
    board, station = pit
    steps = Stepped(monkeypatch).steps
    station.command, station.force_mask, station.force_value, station.force_refresh = 4, 1, 2, 3
    run(board, station, 300)
    seen = [[inputs[place] for place in (r.IN_COMMAND, r.IN_FORCE_MASK, r.IN_FORCE_VALUE, r.IN_FORCE_REFRESH)]
            for _, inputs in steps]  # fmt: skip
    assert seen == [[4, 1, 2, 3], [0, 1, 2, 3], [0, 1, 2, 3]]


def test_m3_storage_that_fails_is_an_input_beside_the_board_s_own_faults(pit, monkeypatch):
    board, station = pit
    steps = Stepped(monkeypatch).steps
    board.raw[r.IN_BOARD] = r.FAULT_EXPANDER
    run(board, station, 100)
    station.recorder.failing = True
    run(board, station, 100)
    station.recorder.failing = False
    run(board, station, 100)
    found = [inputs[r.IN_BOARD] for _, inputs in steps]
    assert found == [r.FAULT_EXPANDER, r.FAULT_EXPANDER | r.FAULT_STORAGE, r.FAULT_EXPANDER]


def test_the_bands_know_which_pump_runs(pit):
    _board, station = pit
    asked = []
    whole = station.bands.convert
    station.bands.convert = lambda raw, inputs, *pumps: (asked.append(pumps), whole(raw, inputs, *pumps))
    for out in ((0, 0), (1, 0), (0, 1)):
        station.controller.out[:2] = out
        station._inputs(station.inputs, station.controller.out)
    assert asked == [(0, 0), (1, 0), (0, 1)]


# One pass.


def test_the_grid_is_kept_and_a_missed_instant_left_out(pit, monkeypatch):
    board, station = pit
    began = board.time_ms
    steps = Stepped(monkeypatch).steps
    for late_ms in (0, 0, 99, 100, 101, 0, 250):
        board.time_ms = station.due_ms + late_ms & 0x3FFFFFFF
        station.once()
    grid = [(instant - began) & 0x3FFFFFFF for instant, _ in steps]
    assert grid == [0, 100, 200, 400, 600, 700, 1000]
    board.time_ms = station.due_ms - 1 & 0x3FFFFFFF
    assert station.once() == 1 and len(steps) == 7, "not yet due"
    board.time_ms = station.due_ms
    assert station.once() == board.PASS_MS and len(steps) == 8


@pytest.mark.parametrize(("took_ms", "left_ms"), [(0, 5), (94, 5), (95, 5), (96, 4), (99, 1), (100, 0), (180, 0)])
def test_a_pass_rests_until_the_next_tick_and_no_longer_than_the_board_may(pit, took_ms, left_ms):
    board, station = pit
    station.links = [Served(board, took_ms)]
    assert station.once() == left_ms


class Served:
    """A link whose service takes a time; notes when it was served."""

    bad = 3

    def __init__(self, board, took_ms):
        self.board, self.took_ms, self.served = board, took_ms, []

    def serve(self, now_ms):
        self.served.append(now_ms)
        self.board.time_ms = self.board.time_ms + self.took_ms & 0x3FFFFFFF


def test_m7_each_link_is_served_once_a_pass_and_their_bad_frames_are_added(pit):
    board, station = pit
    first, second = Served(board, 0), Served(board, 0)
    station.links = [first, second]
    began = board.time_ms
    station.once()
    assert first.served == second.served == [began] and station.bad_frames() == 6


def test_m3_the_longest_pass_is_known_and_one_over_half_a_second_counted(pit):
    board, station = pit
    found = []
    for took_ms in (0, 30, 500, 501, 20, 800):
        station.links = [Served(board, took_ms)]
        station.once()
        found.append((station.longest_pass_ms, station.overruns, station.passes))
    assert found == [(0, 0, 1), (30, 0, 2), (500, 0, 3), (501, 1, 4), (501, 1, 5), (800, 2, 6)]
    assert board.fed == 6, "a slow pass feeds the watchdog all the same"
    station.passes = 0xFFFFFFF
    station.once()
    assert station.passes == 0, "a small integer for ever"


def test_m3_a_pass_that_does_not_come_to_its_end_feeds_no_watchdog(pit):
    board, station = pit

    class Spoilt:
        def serve(self, now_ms):
            raise ValueError("spoilt")

    station.links = [Spoilt()]
    with pytest.raises(ValueError, match="spoilt"):
        station.once()
    assert board.fed == 0


def test_m3_on_a_clock_that_stands_still_the_watchdog_is_fed_a_thousand_passes_long(pit, tmp_path):
    board, station = pit
    station.once()  # takes the tick that is due
    for _ in range(1500):
        station.once()
    assert board.fed == 1 + 999
    board.time_ms = station.due_ms
    station.once()
    assert board.fed == 1001 and lp.STILL == 1000
    for _ in range(1500):
        station.once()
    assert board.fed == 1001 + 999
    # From the power-up on as well.
    board, station = made(tmp_path / "other")
    board.time_ms -= 1
    for _ in range(1500):
        station.once()
    assert board.fed == 999
    # Far more than the passes between two ticks: 100 ms in rests of 5.
    assert lp.STILL > 10 * 100 // board.PASS_MS


# Quiet instants.


@pytest.mark.parametrize(("left_ms", "quiet"), [(HALF_MS, False), (HALF_MS + 1, True)])
@pytest.mark.parametrize("out", [(0, 0), (1, 0), (0, 1), (1, 1)])
def test_garbage_is_collected_and_a_file_checked_only_while_no_pump_runs_and_the_next_tick_is_far(
    tmp_path, left_ms, quiet, out
):
    files = Files()
    board, station = made(tmp_path / "pit", manifest=files)
    board.time_ms = station.due_ms
    station.once()
    station.controller.out[:2] = out
    station.controller.uptime_min = 1
    station.recorder.litter = True
    board.time_ms = station.due_ms - left_ms & 0x3FFFFFFF
    before = Heap.collections
    station.once()
    wanted = quiet and out == (0, 0)
    assert (Heap.collections - before, files.read) == (int(wanted), int(wanted))


def quiet(board, station):
    """Make a pass at a quiet instant."""
    board.time_ms = station.due_ms - 90 & 0x3FFFFFFF
    station.once()


def settled(folder, files):
    board, station = made(folder, manifest=files)
    station.once()
    quiet(board, station)
    return board, station


def test_m3_one_file_a_minute_is_checked_each_told_once_by_name(tmp_path):
    files = Files(["", "/a.mpy", "/a.mpy", "", "/b.mpy"])
    board, station = settled(tmp_path / "pit", files)
    assert files.read == 0, "at power-up all of them have been"
    told = []
    for minute in range(1, 7):
        station.controller.uptime_min = minute
        quiet(board, station)
        quiet(board, station)
        quiet(board, station)
        assert files.read == minute
        told.append(list(station.damaged))
    assert told == [[], ["/a.mpy"], ["/a.mpy"], ["/a.mpy"], ["/a.mpy", "/b.mpy"], ["/a.mpy", "/b.mpy"]]
    assert [record[1:] for record in records(board, "event")][-2:] == [
        (j.DAMAGED_FILE, 1, "/a.mpy"), (j.DAMAGED_FILE, 2, "/b.mpy")]  # fmt: skip
    assert station.reason == "damaged on flash: /a.mpy"


def test_what_a_check_leaves_on_the_heap_is_collected_once(tmp_path):
    board, station = settled(tmp_path / "pit", Files())
    quiet(board, station)
    before = Heap.collections
    quiet(board, station)
    assert Heap.collections == before
    station.controller.uptime_min = 1
    quiet(board, station)
    quiet(board, station)
    quiet(board, station)
    assert Heap.collections == before + 1 and not station.recorder.litter


def test_without_a_manifest_no_file_is_checked(pit):
    board, station = pit
    station.controller.uptime_min = 1
    quiet(board, station)
    assert station.damaged == []


def test_m3_what_is_free_is_known_after_a_collection(pit, monkeypatch):
    board, station = pit
    collected = []
    monkeypatch.setattr(Heap, "collect", classmethod(lambda cls: collected.append(cls.free)))
    monkeypatch.setattr(Heap, "free", 70_000)
    board.time_ms = station.due_ms
    station.once()
    station.recorder.litter = True
    quiet(board, station)
    assert collected and station.heap_free == station.heap_told == 70_000


# The clock of the wall.


def test_the_time_of_day_runs_on_with_the_uptime_and_setting_it_is_told(pit):
    board, station = pit
    station.controller.uptime_min = 90
    assert station.wall_now_s() == 0, "not set"
    station.set_clock(1_700_000_000)
    assert station.wall_now_s() == 1_700_000_000
    station.controller.uptime_min = 100
    assert station.wall_now_s() == 1_700_000_600
    assert records(board, "event")[-1] == ("event", j.CLOCK_SET, 1_700_000_000, "")
    station.set_clock(0)
    station.controller.uptime_min = 101
    assert station.wall_now_s() == 0


# New settings.


def changed(station, ms=1500):
    values = list(station.store.values)
    values[s.DEBOUNCE_MS] = ms
    values[s.SENSOR_RANGE_1_MA] = 20000
    station.store.save(values)
    return values


def test_m4_new_settings_begin_a_life_that_keeps_what_survives_and_the_time_of_day(pit):
    board, station = pit
    run(board, station, 3000)
    station.controller.pumps[1].starts = 17
    station.controller.uptime_min = 90
    station.set_clock(1_700_000_000)
    station.controller.uptime_min = 95
    values = changed(station)
    before, due_ms = station.controller, station.due_ms
    collected = Heap.collections
    station.renew()
    assert Heap.collections == collected + 1
    assert station.controller is not before and station.controller.settings == values
    assert station.bands.settings == values and board.ranges_ma[0] == 20000 != s.defaults()[s.SENSOR_RANGE_1_MA]
    assert station.controller.pumps[1].starts == 17 and station.controller.uptime_min == 0
    assert station.wall_now_s() == 1_700_000_300
    station.controller.uptime_min = 2
    assert station.wall_now_s() == 1_700_000_420
    assert (station.controller.now, station.due_ms) == (due_ms, due_ms + 100 & 0x3FFFFFFF)
    opened = records(board, "open")[-1]
    assert (opened[3], opened[5], opened[6], opened[7]) == (2, 1_700_000_300, due_ms, values)
    assert [record[1:] for record in records(board, "event")][-2:] == [
        (j.CLOCK_SET, 1_700_000_000, ""), (j.SETTINGS, station.store.sequence, "")], "and no power-up"  # fmt: skip


def test_j1_new_settings_lose_no_record_of_the_life_before(pit):
    board, station = pit
    run(board, station, 3000)
    board.raw[0] = 8 ^ 1
    run(board, station, 100)
    assert station.recorder.journal.waiting()
    segment = station.recorder.journal.number
    changed(station)
    station.renew()
    data = (board.folder / "journal" / f"{segment:08d}.seg").read_bytes()
    assert form.batches(data)[-1][0] == ("step", 1, 0, form.batches(data)[-1][0][3], {0: 1}) or (
        form.batches(data)[-1][0][4] == {0: 1})  # fmt: skip
    assert all(record[0] != "step" or record[1] == 0 for record in form.batches(
        (board.folder / "journal" / f"{segment + 1:08d}.seg").read_bytes())[1])  # fmt: skip


def first_pump_s(board, station):
    """Let the station run until a pump does; return the seconds."""
    for waited_s in range(1, 90):
        run(board, station, 1000)
        if board.outputs[0] or board.outputs[1]:
            return waited_s
    raise AssertionError("no pump within 90 s")


def test_s4_after_new_settings_the_pumps_rest_as_after_a_power_up(pit):
    board, station = pit
    board.raw[0] = 8 ^ 3
    after_power_s = first_pump_s(board, station)
    run(board, station, 5000)
    station.renew()
    assert board.outputs[:2] == [0, 0]
    assert first_pump_s(board, station) == after_power_s > 10


# The links.


@pytest.mark.parametrize(("text", "framing"), [("", "RtuPort"), ("framing ascii\n", "AsciiPort")])
def test_m7_the_ports_are_opened_as_the_line_file_says(tmp_path, text, framing):
    folder = tmp_path / "pit"
    folder.mkdir()
    (folder / "line").write_text("unit 17\nbaud 9600\nparity none\nnonsense\n" + text)
    board, station = made(folder)
    station.connect()
    usb, rs485 = station.links
    assert (type(usb).__name__, type(rs485).__name__) == ("AsciiPort", framing) and board.line == (9600, 2)
    assert usb.unit == rs485.unit == 17
    assert [record[1:] for record in records(board, "event")][-1] == (
        j.SETTINGS_SLOT, 0, "line: nonsense is not understood, see station/line.py")  # fmt: skip


def test_settings_that_are_staged_are_counted_until_they_are_in_force(tmp_path):
    _board, station = start(tmp_path / "pit")
    station.model.staged[s.DEBOUNCE_MS] += 100
    assert station.staging() == 1
