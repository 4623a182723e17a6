"""M5, the last resort at real pins: a stand-in for `machine`, and its loop driven step by step."""

import sys
import types
from typing import ClassVar

import pytest
from duplexsump.station import minimal as m

OFF, HAND_MADE = 16, 9


class Pin:
    IN, OUT, PULL_UP = "in", "out", "pull-up"

    def __init__(self, number, way, pull=None, value=1):
        self.number, self.way, self.pull, self.level = number, way, pull, value

    def value(self, level=None):
        if level is not None:
            self.level = level
        return self.level


class Watchdog:
    made: ClassVar[list] = []

    def __init__(self, timeout):
        self.timeout, self.fed = timeout, 0
        self.made.append(self)

    def feed(self):
        self.fed += 1


class Timer:
    ONE_SHOT = "once"

    def __init__(self, number):
        self.number = number

    def init(self, mode, period, callback):
        self.mode, self.period, self.callback = mode, period, callback


class Rtc:
    data: ClassVar[bytes] = b""

    def memory(self, data=None):
        if data is not None:
            type(self).data = data
        return self.data


@pytest.fixture(params=["rp2", "esp32"])
def board(request, monkeypatch):
    machine = types.SimpleNamespace(Pin=Pin, WDT=Watchdog, Timer=Timer, RTC=Rtc, mem32={m.SCRATCH_0: 0xFFFFFFFF},
                                    resets=[])  # fmt: skip
    machine.reset = lambda: machine.resets.append(1)
    monkeypatch.setitem(sys.modules, "machine", machine)
    monkeypatch.setattr(m.sys, "platform", request.param)
    monkeypatch.setattr(Rtc, "data", b"")
    monkeypatch.setattr(Watchdog, "made", [])
    monkeypatch.setattr(m, "_made", [])
    return m.pins()


def test_the_pins_are_those_of_the_platform_every_output_off_and_every_contact_pulled_up(board):
    outputs, contacts = m.PINS[m.sys.platform]
    assert [pin.number for pin in board.outputs] == list(outputs)
    assert [pin.number for pin in board.contacts] == list(contacts)
    assert {(pin.way, pin.level) for pin in board.outputs} == {(Pin.OUT, 0)}
    assert {(pin.way, pin.pull) for pin in board.contacts} == {(Pin.IN, Pin.PULL_UP)}
    for pin in board.outputs:
        pin.level = 1
    assert m.pins() is board, "the same, and dropped again"
    assert {pin.level for pin in board.outputs} == {0}


def test_a_contact_to_ground_is_a_bit_and_an_open_thermal_contact_is_hot(board):
    assert board.read() == 3 * m.HOT
    for place, pin in enumerate(board.contacts):
        pin.level = 0
        assert board.read() == 3 * m.HOT ^ 1 << place, place
        pin.level = 1


def test_each_output_has_its_bit_and_the_relay_is_never_on(board):
    for out in range(16):
        board.write(out)
        assert [pin.level for pin in board.outputs] == [out & 1, out >> 1 & 1, out >> 2 & 1, out >> 3 & 1, 0]
    board.safe()
    assert [pin.level for pin in board.outputs] == [0] * 5


def test_the_first_feed_starts_the_watchdog_and_every_one_feeds_it(board):
    assert Watchdog.made == []
    for _ in range(3):
        board.feed_watchdog()
    (dog,) = Watchdog.made
    assert (dog.timeout, dog.fed) == (8000, 3)


def test_the_word_is_kept_where_no_reset_reaches_and_a_foreign_one_is_none(board):
    assert board.kept() == m.MAGIC
    board.keep(m.MAGIC | 0x302)
    assert board.kept() == m.MAGIC | 0x302
    place = board.machine.mem32[m.SCRATCH_0] if m.sys.platform == "rp2" else int.from_bytes(Rtc.data, "little")
    assert place == m.MAGIC | 0x302
    board.keep(0x1D3C0001)
    assert board.kept() == m.MAGIC
    if m.sys.platform == "esp32":
        Rtc.data = (m.MAGIC | 1).to_bytes(5, "little")
        assert board.kept() == m.MAGIC


@pytest.mark.parametrize(("mark", "word"), [(m.ASKED, m.MAGIC | 1), (m.MAINTENANCE, m.MAGIC | 2),
                                            (m.FAULT, m.MAGIC | 0x503)])  # fmt: skip
def test_a_reset_leaves_its_mark_first_and_only_a_fault_keeps_the_count(board, mark, word):
    board.keep(m.MAGIC | 0x502)
    board.reset(mark)
    assert board.machine.resets == [1] and board.kept() == word


def test_a_reset_by_the_timer_comes_once(board):
    board.reset_after(600000)
    timer = board.timer
    assert (timer.mode, timer.period) == (Timer.ONE_SHOT, 600000)
    assert timer.number == (0 if m.sys.platform == "esp32" else -1)
    timer.callback(timer)
    assert board.machine.resets == [1]


def test_time_is_a_ring_of_30_bits_and_passes_in_rests(board, monkeypatch):
    rests = []
    fake = types.SimpleNamespace(ticks_ms=lambda: 0x40000005, sleep_ms=rests.append)
    monkeypatch.setattr(m, "time", fake)
    assert board.now_ms() == 5
    board.rest(70)
    assert rests == [70]


class Bench:
    """A board whose contacts follow a script, one row a pass; it ends the run when the script is over."""

    def __init__(self, script):
        self.script, self.passes = list(script), 0
        self.told, self.rests, self.fed, self.marks, self.dropped = [], [], 0, [], 0

    def now_ms(self):
        return 100 * self.passes

    def read(self):
        bits = self.script[min(self.passes, len(self.script) - 1)]
        if bits is None:
            self.script[self.passes] = self.script[self.passes - 1]
            raise KeyboardInterrupt
        return bits

    def write(self, out):
        self.told.append(out)

    def feed_watchdog(self):
        self.fed += 1

    def rest(self, ms):
        self.rests.append(ms)
        self.passes += 1
        if self.passes >= len(self.script):
            raise SystemExit

    def safe(self):
        self.dropped += 1

    def reset(self, mark):
        self.marks.append(mark)
        raise SystemExit


DRY, WET = m.MAINS | 8, m.MAINS | 2 | 1  # high is normally closed


def run(monkeypatch, script, capsys=None):
    keys = []
    monkeypatch.setitem(sys.modules, "micropython", types.SimpleNamespace(kbd_intr=keys.append))
    bench = Bench(script)
    with pytest.raises(SystemExit):
        m.run(bench, "tried")
    assert keys == [3], "Ctrl-C asks for maintenance"
    return bench


def test_the_loop_reads_writes_feeds_and_rests_each_pass(monkeypatch, capsys):
    bench = run(monkeypatch, [7 | m.MAINS] * 120)
    assert capsys.readouterr().out == "floats only: tried\n"
    assert (bench.fed, len(bench.told), set(bench.rests)) == (120, 120, {100})
    assert bench.told[0] == m.ALARM, "the horn at once"
    assert bench.told[99] == m.ALARM and bench.told[100] & 3, "a pump after the hold"


def test_ctrl_c_is_maintenance_with_the_floats_dry_and_nothing_with_one_wet(monkeypatch):
    bench = run(monkeypatch, [DRY, DRY, None, DRY, DRY])
    assert (bench.marks, bench.dropped) == ([m.MAINTENANCE], 1)
    for wet in (WET, m.MAINS | 8 | 4, m.MAINS):  # lead; lag; high, which opens
        bench = run(monkeypatch, [wet, wet, None, wet, wet])
        assert (bench.marks, bench.dropped, bench.fed) == ([], 0, 5)
    bench = run(monkeypatch, [DRY | 1, DRY | 1, None, DRY | 1])
    assert bench.marks == [m.MAINTENANCE], "`off` wet is no demand"


# The rule itself, where its bounds lie.


def rule(**values):
    made = m.FloatsOnly(0, **values)
    made.hold_ms = 0
    return made


def step(made, ms, bits, ticks=1):
    """Step in ticks of `ms`; return the pumps."""
    for _ in range(ticks):
        made.step(made.now_ms + ms, bits | m.MAINS if not bits & 1024 else bits & 1023)
    return made.out & 3


def test_the_rests_end_to_the_tick(monkeypatch):
    for bits, rest_ms in ((8 | 3, m.REST_LAG_MS), (8 | 7, m.REST_LAG_MS), (7, m.REST_FLOOD_MS)):
        made = rule()
        ticks = rest_ms // 100
        assert step(made, 100, bits, ticks - 1) == 0, bits
        assert step(made, 100, bits) != 0, bits


def test_with_a_pump_running_lead_alone_does_not_shorten_the_others_rest():
    made = rule()
    made.idle_ms = [m.REST_MS, 0]
    assert step(made, 100, 8 | 7) == 1
    # Both are asked for; the second has its rest with lag wet, and the long one once lag is dry.
    assert step(made, 100, 8 | 3, 300) == 1
    assert step(made, 100, 8 | 3, 297) == 1
    made = rule()
    made.idle_ms = [m.REST_MS, 0]
    step(made, 100, 8 | 7)
    step(made, 100, 8 | 3, 598)
    assert step(made, 100, 8 | 3) == 3, "after the long rest"


def test_the_spacing_lies_between_two_starts_in_a_flood():
    made = rule()
    made.idle_ms = [m.REST_MS, m.REST_MS]
    assert step(made, 100, 7) == 1
    assert step(made, 100, 7, 29) == 1
    assert step(made, 100, 7) == 3


def test_lead_asks_for_one_pump_and_off_dry_stops_it():
    made = rule()
    made.idle_ms = [m.REST_MS, m.REST_MS]
    assert step(made, 100, 8 | 1) == 0, "`off` alone starts nothing"
    assert step(made, 100, 8 | 3) == 1
    assert step(made, 100, 8 | 3, 100) == 1, "and one only"
    assert step(made, 100, 8 | 1, 10) == 1
    assert step(made, 100, 8) == 0


def test_a_barred_pump_hands_over_and_the_other_way_round():
    for barred, other in ((m.SELECT_OFF, 2), (m.HOT, 2)):
        made = rule()
        made.idle_ms = [m.REST_MS, m.REST_MS]
        assert step(made, 100, 8 | 3 | barred) == other
        assert step(made, 3000, 8 | 3 | 2 * barred) == 1


def test_pumps_on_the_mains_wait_for_it_but_not_with_high_wet():
    made = rule()
    made.idle_ms = [m.REST_MS, m.REST_MS]
    assert step(made, 100, 1024 | 8 | 7, 5) == 0
    assert step(made, 100, 1024 | 7) == 1
    made = rule(on_mains=1)
    made.idle_ms = [m.REST_MS, m.REST_MS]
    assert step(made, 100, 1024 | 8 | 3) == 2, "the one on the battery"


@pytest.mark.parametrize("blind_ms", [20000, 120000, 500000])
def test_an_off_that_hangs_wet_keeps_a_pump_for_one_blind_run(blind_ms):
    made = rule(blind_run_ms=blind_ms)
    made.idle_ms = [m.REST_MS, m.REST_MS]
    assert step(made, 100, 8 | 3) == 1
    longest = min(blind_ms, 120000) // 100
    assert step(made, 100, 8 | 1, longest - 1) == 1
    assert step(made, 100, 8 | 1) == 0


def slot(folder, name, text):
    import binascii

    body = text.encode()
    (folder / f"settings.{name}").write_bytes(body + b"sum %08x\n" % binascii.crc32(body))


GOOD = "settings {}\nnormally_closed 8\nfitted {}\nsupply_1 {}\nsupply_2 {}\nblind_run {}\n"


def test_the_newest_sound_slot_says_what_is_fitted(tmp_path):
    assert m.known(str(tmp_path)) == (8, 15, 3, 35000)
    slot(tmp_path, "a", GOOD.format(7, 10, 0, 1, 40000))
    assert m.known(str(tmp_path)) == (8, 10, 1, 40000)
    slot(tmp_path, "b", GOOD.format(6, 15, 1, 0, 50000))
    assert m.known(str(tmp_path)) == (8, 10, 1, 40000), "the older one"
    slot(tmp_path, "b", GOOD.format(8, 15, 1, 0, 50000))
    assert m.known(str(tmp_path)) == (8, 15, 2, 50000)
    slot(tmp_path, "b", GOOD.format(9, 7, 0, 0, 50000))
    assert m.known(str(tmp_path)) == (8, 10, 1, 40000), "without high it is none"
    slot(tmp_path, "b", GOOD.format(9, 13, 0, 0, 50000))
    assert m.known(str(tmp_path)) == (8, 10, 1, 40000), "nor without lead"


@pytest.mark.parametrize("data", [b"", b"sum 00000000\n", b"settings 99\nsum 12345678\n", b"\xff" * 100, b"sum zz\n"])
def test_a_slot_that_is_none_is_passed_over(tmp_path, data):
    slot(tmp_path, "a", GOOD.format(7, 10, 0, 1, 40000))
    (tmp_path / "settings.b").write_bytes(data)
    assert m.known(str(tmp_path)) == (8, 10, 1, 40000)


def test_of_two_slots_alike_the_first_holds_and_a_slot_of_number_0_is_one(tmp_path):
    slot(tmp_path, "b", GOOD.format(0, 15, 1, 0, 50000))
    assert m.known(str(tmp_path)) == (8, 15, 2, 50000)
    slot(tmp_path, "a", GOOD.format(0, 10, 1, 1, 40000))
    assert m.known(str(tmp_path)) == (8, 10, 0, 40000)


# Outputs that are on at 0 V: relay modules mostly are.


def copy_of(folder, name, text):
    import binascii

    body = text.encode()
    (folder / f"hardware.{name}").write_bytes(body + b"sum %08x\n" % binascii.crc32(body))


def test_which_outputs_are_on_at_0_v_is_read_from_the_first_sound_copy(tmp_path):
    assert m.on_at_zero(str(tmp_path)) == 0
    copy_of(tmp_path, "c", "low 5\n")
    assert m.on_at_zero(str(tmp_path)) == 5
    copy_of(tmp_path, "b", "low 31\nexpander 1\n")
    assert m.on_at_zero(str(tmp_path)) == 31
    (tmp_path / "hardware.a").write_bytes(b"low 7\nsum 00000000\n")
    assert m.on_at_zero(str(tmp_path)) == 31, "a damaged copy is passed over"
    copy_of(tmp_path, "a", "low 3\n")
    assert m.on_at_zero(str(tmp_path)) == 3


def test_a_seal_alone_and_a_file_without_one_say_nothing(tmp_path):
    copy_of(tmp_path, "a", "")
    (tmp_path / "hardware.b").write_bytes(b"low 3\n")
    (tmp_path / "hardware.c").write_bytes(b"00000000")
    assert m.on_at_zero(str(tmp_path)) == 0
    with pytest.raises(ValueError, match="no sound slot"):
        m._parse(b"low 3\n")
    assert m._parse(b"sum 00000000\n") == {}, "an empty text, soundly sealed"


@pytest.mark.parametrize("low", range(32))
def test_outputs_that_are_on_at_0_v_are_off_from_the_first_and_written_the_other_way_round(board, monkeypatch, low):
    monkeypatch.setattr(m, "_made", [])
    monkeypatch.setattr(m, "on_at_zero", lambda: low)
    made = m.pins()
    fresh = m.WiredPins(*m.PINS[m.sys.platform], low)
    off = [low >> i & 1 for i in range(5)]
    assert [pin.level for pin in fresh.outputs] == off, "as they are made"
    for out in (0, 1, 2, 3, m.ALARM, 15):
        made.write(out)
        assert [pin.level for pin in made.outputs] == [(out >> i & 1) ^ off[i] for i in range(5)]
    made.safe()
    assert [pin.level for pin in made.outputs] == off


def test_a_word_of_another_length_is_none(board, monkeypatch):
    monkeypatch.setattr(m, "MAGIC", 0)
    monkeypatch.setattr(Rtc, "data", b"\1")
    if m.sys.platform == "esp32":
        assert board.kept() == 0


@pytest.mark.parametrize("word", [m.MAGIC, m.MAGIC | 0x300, m.MAGIC | 0x304])
def test_a_fault_keeps_every_other_bit_of_the_word(word):
    assert m.marked(word | 1, m.FAULT) == word | 3
    assert m.marked(word | 1, m.ASKED) == m.MAGIC | 1
