"""M4, J4, M5 and what files do to them: settings slots, what survives a reset, the boot record."""

import binascii
import random

import pytest
from duplexsump.control import settings as s
from duplexsump.control.controller import RETAINED
from duplexsump.station import checksum, health, store
from duplexsump.station import journal as j
from duplexsump.station.loop import Station
from duplexsump.station.recorder import Recorder

from host_sim.board import readback
from tests.station_rig import Board, run, start


def with_debounce(values, ms):
    changed = list(values)
    changed[s.DEBOUNCE_MS] = ms
    return changed


def slots(folder):
    return store.Store(str(folder))


def test_settings_come_back_from_the_newer_of_two_slots(tmp_path):
    first = slots(tmp_path)
    for ms in (1100, 1200, 1300):
        first.save(with_debounce(first.values, ms))
    again = slots(tmp_path)
    assert again.load()[s.DEBOUNCE_MS] == 1300
    assert (again.slot, again.sequence, again.notes) == (0, 3, [])
    assert sorted(path.name for path in tmp_path.iterdir()) == ["settings.a", "settings.b"]


@pytest.mark.parametrize("damage", [b"", b"rubbish", "one bit"], ids=["empty", "rubbish", "one bit"])
def test_a_corrupt_slot_falls_back_to_the_set_before_and_is_told(tmp_path, damage):
    first = slots(tmp_path)
    first.save(with_debounce(first.values, 1100))
    first.save(with_debounce(first.values, 1200))
    path = tmp_path / "settings.b"
    data = bytearray(path.read_bytes())
    data[40] ^= 1
    path.write_bytes(bytes(data) if damage == "one bit" else damage)
    again = slots(tmp_path)
    assert again.load()[s.DEBOUNCE_MS] == 1100
    assert again.notes == ["settings slot b: damaged, its checksum does not hold"]


def test_every_single_damaged_byte_of_a_slot_is_noticed(tmp_path):
    text = store.text_of(7, s.defaults())
    assert store.parse(text) == (7, s.defaults(), [])
    for place in range(len(text)):
        spoilt = bytearray(text)
        spoilt[place] ^= 4
        with pytest.raises(ValueError, match=r"damaged|not a settings slot"):
            store.parse(bytes(spoilt))


def test_a_refused_set_changes_nothing_and_names_why(tmp_path):
    first = slots(tmp_path)
    first.save(with_debounce(first.values, 1100))
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    with pytest.raises(ValueError, match="debounce = 50: a whole number from 200 to 5000 ms"):
        first.save(with_debounce(first.values, 50))
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before
    assert first.values[s.DEBOUNCE_MS] == 1100


def test_settings_of_another_firmware_are_read_by_name(tmp_path):
    body = b"settings 3\ndebounce 1500\ncolour_of_the_lid 7\n"
    (tmp_path / "settings.a").write_bytes(body + b"sum %08x\n" % binascii.crc32(body))
    again = slots(tmp_path)
    assert again.load()[s.DEBOUNCE_MS] == 1500
    assert again.values[s.MIN_OFF_MS] == s.defaults()[s.MIN_OFF_MS]
    assert again.notes == ["settings slot a: colour_of_the_lid is no setting of this firmware"]


def segments(folder):
    return [readback.read_segment(path.read_bytes()) for path in sorted((folder / "journal").glob("*.seg"))]


def test_a_corrupt_slot_is_recorded_in_the_journal(tmp_path):
    folder = tmp_path / "pit"
    folder.mkdir()
    (folder / "settings.a").write_bytes(b"rubbish")
    start(folder)
    events = [event[1:] for segment in segments(folder) for event in segment.events]
    assert ("settings slot", -1, "settings slot a: damaged, its checksum does not hold") in events


def fill_and_pump(board, station):
    """Let the water rise to lead, so that a pump runs, and fall again."""
    run(board, station, 15000)
    for contacts in (1, 3):
        board.raw[0] = 8 ^ contacts
        run(board, station, 3000)
    assert station.controller.out[0] or station.controller.out[1]
    for contacts in (1, 0):
        board.raw[0] = 8 ^ contacts
        run(board, station, 6000)


def test_j4_starts_run_time_and_lead_turn_survive_a_reset(tmp_path):
    board, station = start(tmp_path / "pit")
    fill_and_pump(board, station)
    before = station.controller.retain()
    assert station.controller.pumps[0].starts + station.controller.pumps[1].starts == 1
    again, after = start(tmp_path / "pit")
    names = [name for name, _, _ in RETAINED]
    assert [n for n, a, b in zip(names, before, after.controller.retain(), strict=True) if a != b] == []
    assert again.fed == 0


def test_j2_late_steps_are_recorded_and_replayed_with_their_instants(tmp_path, monkeypatch):
    monkeypatch.setattr(j, "SEGMENT_BYTES", 1800)
    board, station = start(tmp_path / "pit")
    draw = random.Random(3)
    for _ in range(300):
        board.raw[0] = 8 ^ draw.choice((0, 1, 1, 3, 3, 7))
        run(board, station, draw.choice((300, 1500, 6000)))
        board.time_ms = (board.time_ms + draw.choice((0, 150, 400, 900))) & 0x3FFFFFFF
    station.recorder.close(board.time_ms)
    found = segments(tmp_path / "pit")
    late = [step.late_ms for segment in found for step in segment.steps if step.late_ms]
    assert len(late) > 20
    assert len(found) > 1
    result = readback.replay(found)
    assert result.differences == []
    assert result.records > 200
    assert result.snapshots > 0


def test_j1_an_output_edge_is_on_flash_in_the_pass_that_makes_it(tmp_path):
    board, station = start(tmp_path / "pit")
    run(board, station, 25000)
    board.raw[0] = 8 ^ 3
    waited = 0
    while not board.outputs[0] and not board.outputs[1]:
        run(board, station, 5)
        waited += 5
        assert waited < 5000
    last = segments(tmp_path / "pit")[-1].steps[-1]
    assert last.packed & 3 == board.outputs[0] + 2 * board.outputs[1]


def test_j1_an_input_alone_is_on_flash_within_a_second(tmp_path):
    board, station = start(tmp_path / "pit")
    run(board, station, 15000)
    count = len(segments(tmp_path / "pit")[-1].steps)
    board.raw[0] = 8 ^ 1
    run(board, station, 1100)
    assert len(segments(tmp_path / "pit")[-1].steps) > count


def test_a_file_system_that_fails_stops_no_pump(tmp_path, monkeypatch):
    board, station = start(tmp_path / "pit")

    def broken(*_):
        raise OSError(28, "no space")

    monkeypatch.setattr(j.Journal, "flush", broken)
    monkeypatch.setattr(j.Journal, "open", broken)
    fill_and_pump(board, station)
    assert station.recorder.failing
    assert station.recorder.faults > 3
    assert station.controller.pumps[0].starts + station.controller.pumps[1].starts == 1
    assert board.made_safe == 0


def begin(folder, cause):
    record = health.Health(str(folder), cause)
    return record, record.begin()


def test_m5_three_watchdog_resets_in_ten_minutes_start_with_control_only(tmp_path):
    modes = [begin(tmp_path, health.WATCHDOG)[1] for _ in range(4)]
    assert modes == [health.FULL, health.FULL, health.CONTROL_ONLY, health.MINIMAL]


def test_m5_resets_further_apart_are_not_counted(tmp_path):
    for _ in range(6):
        record, mode = begin(tmp_path, health.WATCHDOG)
        assert mode == health.FULL
        for minute in range(1, 6):
            record.minutes(minute)
    # 5 min each: never three within ten.


def test_m5_a_power_up_begins_anew(tmp_path):
    for _ in range(3):
        begin(tmp_path, health.WATCHDOG)
    assert begin(tmp_path, health.POWER_ON)[1] == health.FULL
    assert begin(tmp_path, health.WATCHDOG)[1] == health.FULL


def test_an_ordinary_life_writes_no_boot_record(tmp_path):
    record, _ = begin(tmp_path, health.POWER_ON)
    for minute in range(60):
        record.minutes(minute)
    assert list(tmp_path.iterdir()) == []
    assert Board.RESET_CAUSE == health.POWER_ON


@pytest.mark.parametrize(("free", "wanted"), [(0, True), (j.RESERVE_BLOCKS - 1, True), (j.RESERVE_BLOCKS, False)])
def test_room_is_scarce_by_the_blocks_that_are_free_however_many_there_are(tmp_path, monkeypatch, free, wanted):
    # block size, fragment size, blocks, free blocks, free blocks for everybody, then files
    for blocks in (j.RESERVE_BLOCKS - 1, 352, 4096):
        figures = (4096, 4096, blocks, free, free, 0, 0, 0, 0, 255)
        monkeypatch.setattr(j.os, "statvfs", lambda folder, figures=figures: figures)
        assert j.Journal(str(tmp_path), 1).scarce() is wanted


def test_j4_what_another_firmware_kept_is_refused_and_that_is_told(tmp_path):
    _, station = start(tmp_path / "pit")
    station.controller.pumps[0].starts = 41
    station.recorder.close(station.controller.now)
    places = station.controller.retained_places()
    own = Recorder(str(tmp_path / "pit" / "journal"), station.checksum)
    kept, notes = own.recall(places)
    assert (len(kept), notes) == (len(places), [])
    other = Recorder(str(tmp_path / "pit" / "journal"), station.checksum ^ 1)
    kept, notes = other.recall(places)
    assert kept is None
    assert [(code, value) for code, value, _ in notes] == [(j.FIRMWARE, station.checksum)]
    assert "begin anew" in notes[0][2]
    assert other.journal.life == own.journal.life == 1, "lives are numbered on"


def test_a_file_that_is_not_as_it_was_installed_is_told_by_name_and_once(tmp_path):
    installed = tmp_path / "installed"
    (installed / "station").mkdir(parents=True)
    for name in ("a.py", "b.py", "station/minimal.py"):
        (installed / name).write_text(f"# {name}\n")
    (installed / "manifest").write_text(checksum.manifest_of(str(installed)))
    manifest = checksum.Manifest(str(installed))
    assert (manifest.body.count("\n"), manifest.damaged(), manifest.note) == (3, [], "")
    board = Board(tmp_path / "pit")
    station = Station(board, health.FULL, manifest)
    station.begin(0)
    run(board, station, 61000)
    assert (station.damaged, station.reason) == ([], "")
    (installed / "b.py").write_text("# B.py\n")
    run(board, station, 10 * 61000)
    assert station.damaged == ["/b.py"]
    assert station.reason == "damaged on flash: /b.py"
    station.recorder.close(station.controller.now)
    record = b"".join(path.read_bytes() for path in sorted((tmp_path / "pit" / "journal").iterdir()))
    assert record.count(b"/b.py") == 1
    # A day is enough for every file many times over: one a minute.
    assert manifest.body.count("\n") < 24 * 60


def test_every_kind_of_damage_is_named_and_only_what_the_station_needs_stops_it(tmp_path):
    for name in ("a.py", "b.mpy", "minimal.py", "c.py"):
        (tmp_path / name).write_bytes(b"x = 1\n" * 200)
    (tmp_path / "manifest").write_text(checksum.manifest_of(str(tmp_path)))
    (tmp_path / "a.py").unlink()
    (tmp_path / "b.mpy").write_bytes((tmp_path / "b.mpy").read_bytes()[:-1])
    data = bytearray((tmp_path / "c.py").read_bytes())
    data[700] ^= 16
    (tmp_path / "c.py").write_bytes(data)
    assert checksum.Manifest(str(tmp_path)).damaged() == ["/a.py", "/b.mpy", "/c.py"]
    assert checksum.needed(["/station/minimal.py", "//main.py", "/control/gate.mpy"]) == ["/control/gate.mpy"]


@pytest.mark.parametrize("text", ["", "12345678 /a.py\n", "12345678 /a.py\nsum 00000000\n", "\xff" * 9000])
def test_a_manifest_that_does_not_hold_condemns_nothing(tmp_path, text):
    (tmp_path / "manifest").write_bytes(text.encode("latin-1"))
    found = checksum.Manifest(str(tmp_path))
    assert (found.body, found.damaged(), found.next()) == ("", [], "")
    assert "manifest is damaged" in found.note
    assert "no manifest" in checksum.Manifest(str(tmp_path / "none")).note


def slot_of(body):
    """Return a slot with a seal that holds, whatever it says."""
    return body + b"sum %08x\n" % binascii.crc32(body)


@pytest.mark.parametrize(("a", "b", "newer"), [(5, 3, 0), (3, 5, 1), (4, 4, 0), (0, None, 0), (None, 0, 1), (0, 1, 1)])
def test_the_higher_number_holds_and_of_two_alike_the_first(tmp_path, a, b, newer):
    for name, number, ms in (("a", a, 1100), ("b", b, 1200)):
        if number is not None:
            (tmp_path / f"settings.{name}").write_bytes(store.text_of(number, with_debounce(s.defaults(), ms)))
    found = slots(tmp_path)
    found.load()
    assert (found.slot, found.sequence, found.notes) == (newer, (a, b)[newer], [])
    assert found.values[s.DEBOUNCE_MS] == (1100, 1200)[newer]


def test_without_a_slot_the_defaults_hold_and_that_is_told(tmp_path):
    found = slots(tmp_path)
    assert found.load() == s.defaults()
    assert (found.slot, found.notes) == (store.DEFAULTS, ["no sound settings slot: the defaults hold"])


def test_a_sealed_set_that_the_rules_refuse_is_left_and_the_first_reason_told(tmp_path):
    values = with_debounce(s.defaults(), 9)
    values[s.MIN_OFF_MS] = -1
    reasons = s.check(values)
    assert len(reasons) > 1
    (tmp_path / "settings.a").write_bytes(store.text_of(3, values))
    found = slots(tmp_path)
    assert found.load() == s.defaults()
    assert found.notes == [f"settings slot a: {reasons[0]}", "no sound settings slot: the defaults hold"]


@pytest.mark.parametrize("head", [b"settings", b"settings 3 4", b"setting 3", b"sets 3", b"", b"3", b"a b"])
def test_a_sealed_file_with_another_head_is_no_slot(head):
    with pytest.raises(ValueError, match=r"^not a settings slot$"):
        store.parse(slot_of(head + b"\ndebounce 1000\n"))


def test_a_seal_over_nothing_is_sound_and_no_slot():
    with pytest.raises(ValueError, match=r"^not a settings slot$"):
        store.parse(slot_of(b""))


@pytest.mark.parametrize("data", [b"", b"x", b"settings 3\n", b"00000000\n", b"s", b"sum", b"sum 0"])
def test_what_bears_no_seal_is_damaged(data):
    with pytest.raises(ValueError, match=r"^damaged, its checksum does not hold$"):
        store.parse(data)
