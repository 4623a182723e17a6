"""The link's registers against the map's own words, worked out here a second time, on a station of plain attributes.

Reads and writes are drawn with a seed, at and around every border of the map; after each, everything that a
write may change is compared.
"""

import random
from types import SimpleNamespace

import pytest
from duplexsump.control import alarm_table, records
from duplexsump.control.settings import N_SETTINGS
from duplexsump.station import journal as j
from duplexsump.station import link
from duplexsump.station import modbus as m
from duplexsump.station import registers as r

SEED = 20261130
VALUES = (0x5342, 0x12345678, -5, -2, 0x7FFF, 0x1FFFFFFF, 255, 256, -32768, 65536, 1, 0x3FFFFFFF)
WORDS = tuple((f"w{k}", "", 1 + k % 2, "", lambda st, k=k: VALUES[k]) for k in range(len(VALUES)))
BITS = (("a", 4, "", lambda st: st.shown & 15), ("b", 1, "", lambda st: st.shown >> 4 & 1),
        ("c", 7, "", lambda st: st.shown >> 5 & 127))  # fmt: skip
PLACE = 3  # where an answer begins in the reply
COUNT = alarm_table.COUNT


@pytest.fixture(autouse=True)
def rows(monkeypatch):
    monkeypatch.setattr(r, "WORD_ROWS", WORDS)
    monkeypatch.setattr(r, "BIT_ROWS", BITS)


class Store:
    """Settings of which each differs; `error` is raised by the next save."""

    def __init__(self):
        self.values = [1000 + 7 * k for k in range(N_SETTINGS)]
        self.error = None
        self.saved = []

    def save(self, values):
        if self.error:
            raise self.error
        self.saved.append(list(values))


class Station:
    def __init__(self):
        self.store = Store()
        self.shown = 0b101100111010
        self.command = self.force_mask = self.force_value = self.wish = 0
        self.force_refresh = 0xFFFE
        self.reason = "ValueError: spo\u00e9lt"
        self.raw = [0] * records.N_INPUTS
        self.clocks, self.events, self.windows = [], [], []
        active = [not k % 3 for k in range(COUNT)]
        alarms = SimpleNamespace(state=[k % 6 for k in range(COUNT)], active=active, shelved=17)
        self.controller = SimpleNamespace(alarms=alarms, uptime_min=500, now=123456, contacts=SimpleNamespace(wet=0))
        book = SimpleNamespace(window=self.show)
        self.recorder = SimpleNamespace(event=lambda *row: self.events.append(row), journal=book)

    def show(self, segment, offset, buffer):
        self.windows.append((segment, offset))
        for k in range(len(buffer)):
            buffer[k] = (7 * k + segment + offset) & 255
        return 233

    def set_clock(self, seconds):
        self.clocks.append(seconds)

    def wall_now_s(self):
        return 0x12ABCDEF


def made():
    station = Station()
    return station, link.Model(station)


def read(model, function, at, count):
    """Return (refusal, the answer) of a read; what lies around the answer must stay."""
    bits = function in (m.READ_COILS, m.READ_BITS)
    size = (count + 7) // 8 if bits else 2 * count
    reply = bytearray(b"\xa5" * PLACE + (bytes(size) if bits else b"\x77" * size) + b"\xa5" * 9)
    refusal = (model.read_bits if bits else model.read_words)(function, at, count, reply, PLACE)
    assert reply[:PLACE] == b"\xa5" * PLACE and reply[PLACE + size :] == b"\xa5" * 9
    return refusal, bytes(reply[PLACE : PLACE + size])


def packed(bits):
    return bytes(sum(bit << k for k, bit in enumerate(bits[at : at + 8])) for at in range(0, len(bits), 8))


def big(value, words):
    return list((value & (1 << 16 * words) - 1).to_bytes(2 * words, "big"))


def test_every_coil_reads_what_is_forced_and_commands_read_nothing():
    station, model = made()
    draw = random.Random(SEED)
    station.command = 31
    for _ in range(300):
        station.force_mask, station.force_value = draw.randrange(512), draw.randrange(512)
        coils = [0] * r.N_COILS
        for k in range(9):
            coils[16 + k] = station.force_mask >> k & 1
            coils[32 + k] = station.force_value >> k & 1
        at = draw.randrange(r.N_COILS + 1)
        count = draw.choice((1, 2, 8, 9, 17, r.N_COILS - at, r.N_COILS - at + 1))
        if count < 1:
            continue
        refusal, answer = read(model, m.READ_COILS, at, count)
        if at + count > r.N_COILS:
            assert refusal == m.ADDRESS
        else:
            assert (refusal, answer) == (0, packed(coils[at : at + count])), (at, count)


def test_every_discrete_input_reads_its_row_or_its_alarm():
    station, model = made()
    draw = random.Random(SEED + 1)
    for _ in range(500):
        station.shown = draw.randrange(4096)
        state = station.controller.alarms.state = [draw.choice((0, 0, 1, 2, 5)) for _ in range(COUNT)]
        active = station.controller.alarms.active = [draw.randrange(2) for _ in range(COUNT)]
        bits = [station.shown >> k & 1 for k in range(12)] + [0] * 52
        bits += active + [0] * (112 - 64 - COUNT) + [int(one != 0) for one in state]
        assert len(bits) == r.N_BITS
        at = draw.choice((0, 4, 5, 11, 12, 63, 64, 111, 112, draw.randrange(r.N_BITS)))
        count = draw.choice((1, 2, 8, 9, 30, r.N_BITS - at, r.N_BITS - at + 1))
        refusal, answer = read(model, m.READ_BITS, at, count)
        if at + count > r.N_BITS:
            assert refusal == m.ADDRESS
        else:
            assert (refusal, answer) == (0, packed(bits[at : at + count])), (at, count)


def holding(station, model):
    """What the holding registers must read, a byte each."""
    found = []
    for value in model.staged:
        found += big(value, 2)
    found += [0] * 2 * (r.SHELVE_AT - r.N_SETTING_WORDS) + big(17, 1)
    found += [0] * 2 * (180 - 172) + big(0x12ABCDEF, 2) + [0] * 4
    found += big(model.window_segment, 2) + big(model.window_offset, 2) + [0] * 2 * 4
    assert len(found) == 2 * 192
    return bytes(found)


def test_every_holding_register_reads_what_the_map_says():
    station, model = made()
    model.window_segment, model.window_offset = 0x01020304, 0x3A3B3C3D
    model.staged[3], model.staged[69] = 0x0FEDCBA9, 0x00010002
    want = holding(station, model)
    for at in range(193):
        for count in (1, 2, 5, 192 - at, 193 - at):
            if not 1 <= count <= 125:
                continue
            refusal, answer = read(model, m.READ_HOLDING, at, count)
            if at + count > 192:
                assert refusal == m.ADDRESS
            else:
                assert (refusal, answer) == (0, want[2 * at : 2 * at + 2 * count]), (at, count)
    station.reason = "other"
    model.staged[3] = 5
    assert read(model, m.READ_HOLDING, 6, 2) == (0, bytes([0, 0, 0, 5])), "filled anew at every read"


def spaces(station, model):
    """[(first address, bytes)] of the input registers."""
    words = [byte for row, value in zip(WORDS, VALUES, strict=True) for byte in big(value, row[2])]
    states = [byte for one in station.controller.alarms.state for byte in (0, one)]
    text = [ord(letter) & 127 for letter in station.reason][: 2 * r.REASON_WORDS]
    reason = text + [0] * (2 * r.REASON_WORDS - len(text))
    return [(0, words), (r.ALARM_STATES_AT, states), (r.TEXT_AT, list(model.refusal)), (r.REASON_AT, reason)]


def test_every_input_register_reads_what_the_map_says_and_between_them_lies_nothing():
    station, model = made()
    model.say("pump 1: underload 4500 and more of it, so that the text is longer than half of its registers, at 99")
    for reason in ("", "ab", station.reason, "x" * 79 + "yz"):
        station.reason = reason
        for first, data in spaces(station, model):
            size = len(data) // 2
            for at in range(max(0, first - 2), first + size + 2):
                for count in {1, 2, 3, size - (at - first), size - (at - first) + 1}:
                    if not 1 <= count <= 125:
                        continue
                    refusal, answer = read(model, m.READ_INPUT, at, count)
                    inside = any(start <= at and at + count <= start + len(rows) // 2
                                 for start, rows in spaces(station, model))  # fmt: skip
                    if at >= first and at + count <= first + size:
                        want = bytes(data[2 * (at - first) : 2 * (at - first + count)])
                        assert (refusal, answer) == (0, want), (at, count)
                    elif not inside:
                        assert refusal == m.ADDRESS, (at, count)
    assert read(model, m.READ_INPUT, 390, 1)[0] == m.ADDRESS and read(model, m.READ_INPUT, 1500, 1)[0] == m.ADDRESS


def test_the_journal_window_is_read_from_flash_once_and_then_shown():
    station, model = made()
    assert read(model, m.READ_INPUT, r.WINDOW_HEAD_AT, 5) == (0, bytes(10)), "nothing is shown before it is asked for"
    assert station.windows == []
    model.window_segment, model.window_offset, model.window_stale = 0x00010203, 0x0A0B, True
    head = bytes([0, 1, 2, 3, 0, 0, 0x0A, 0x0B, 0, 233])
    data = bytes((7 * k + 0x10203 + 0x0A0B) & 255 for k in range(240))
    for at, count in ((0, 5), (0, 125), (0, 1), (3, 4), (5, 120), (124, 1), (4, 2)):
        want = (head + data)[2 * at : 2 * at + 2 * count]
        assert read(model, m.READ_INPUT, r.WINDOW_HEAD_AT + at, count) == (0, want), (at, count)
    assert station.windows == [(0x00010203, 0x0A0B)]
    for at, count in ((999, 1), (1124, 2), (1125, 1), (999, 126)):
        assert read(model, m.READ_INPUT, at, count)[0] == m.ADDRESS


def write_coils(model, at, bits):
    data = bytearray(b"\xff" * 2) + packed(bits) + b"\xff"
    return model.write_bits(at, len(bits), data, 2)


def test_coils_give_commands_and_force_inputs_with_the_jumper_alone():
    draw = random.Random(SEED + 2)
    for _ in range(700):
        station, model = made()
        station.raw[records.IN_JUMPER] = draw.randrange(2)
        station.command = draw.choice((0, 1, 16))
        mask, value = station.force_mask, station.force_value = draw.randrange(512), draw.randrange(512)
        at = draw.choice((0, 1, 4, 5, 6, 14, 15, 16, 20, 24, 25, 30, 31, 32, 38, 40, 41))
        bits = [draw.randrange(2) for _ in range(draw.choice((1, 2, 5, 8, 9, 25, 41)))]
        before = station.command
        refusal = write_coils(model, at, bits)
        now = (station.command, station.force_mask, station.force_value, station.force_refresh)
        if at + len(bits) > r.N_COILS:
            assert (refusal, now) == (m.ADDRESS, (before, mask, value, 0xFFFE))
            continue
        forced = at + len(bits) > 16
        if forced and not station.raw[records.IN_JUMPER]:
            assert (refusal, now) == (m.FAILURE, (before, mask, value, 0xFFFE))
            continue
        command = before
        for k, bit in enumerate(bits):
            coil = at + k
            if coil < 5:
                command |= bit << coil
            elif 16 <= coil < 25:
                mask = mask & ~(1 << coil - 16) | bit << coil - 16
            elif coil >= 32:
                value = value & ~(1 << coil - 32) | bit << coil - 32
        assert (refusal, now) == (0, (command, mask, value, 0xFFFF if forced else 0xFFFE)), (at, bits)


def test_the_count_of_refreshes_is_a_ring():
    station, model = made()
    station.raw[records.IN_JUMPER] = 1
    for want in (0xFFFF, 0, 1):
        assert write_coils(model, 16, [1]) == 0
        assert station.force_refresh == want


KEYS = {r.COMMIT_AT: (0x0C17,), r.SHELVE_AT: (2, COUNT, 63, 30), r.MAINTENANCE_AT: (0x4D36,), r.RESET_AT: (0x5253,)}
PAIRS = (r.CLOCK_AT, r.WINDOW_AT, r.WINDOW_AT + 2)
GAPS = [*range(140, 170), *range(172, 180), 182, 183, 188, 189]


def refused(at, words, wet):
    """What the map says of a write: the exception, 0 for none."""
    given = {at + k: word for k, word in enumerate(words)}
    if at + len(words) > 192:
        return m.ADDRESS
    for place in (r.COMMIT_AT, r.MAINTENANCE_AT, r.RESET_AT):
        if place in given and given[place] not in KEYS[place]:
            return m.VALUE
    if r.SHELVE_AT in given and not (2 <= given[r.SHELVE_AT] <= COUNT or given[r.SHELVE_AT] == 63):
        return m.VALUE
    for place in PAIRS:
        if (place in given) != (place + 1 in given) or given.get(place, 0) >= 0x8000:
            return m.VALUE
    if any(place in given for place in GAPS):
        return m.ADDRESS
    if any(place < 140 and place % 2 == 0 and word >= 0x2000 for place, word in given.items()):
        return m.VALUE
    return m.FAILURE if r.MAINTENANCE_AT in given and wet & 2 else 0


def drawn(draw):
    at = draw.choice((0, 1, 2, 66, 137, 138, 139, 140, 169, 170, 170, 171, 171, 172, 179, 180, 180, 181, 182, 184,
                      184, 185, 186, 186, 187, 188, 189, 190, 190, 191, 191, 192))  # fmt: skip
    words = []
    for k in range(draw.choice((1, 1, 1, 2, 2, 3, 4, 4, 22))):
        keys = KEYS.get(at + k, (draw.choice((0, 1, 0x1FFF, 0x0305, 0x7FFF)),))
        words.append(draw.choice((*keys, *keys, *keys, draw.choice((0, 1, COUNT + 1, 62, 64, 0x2000, 0x8000, 0xFFFF)))))
    return at, words


def state(station, model):
    return [list(model.staged), model.staged_min, station.command, station.wish, list(station.clocks),
            list(station.events), model.window_segment, model.window_offset, model.window_stale,
            len(station.store.saved)]  # fmt: skip


def test_every_write_does_what_the_map_says_or_nothing():
    draw = random.Random(SEED + 3)
    done = 0
    for _ in range(4000):
        station, model = made()
        station.controller.contacts.wet = draw.choice((0, 0, 1, 2, 3, 8))
        station.command = draw.choice((0, 0b10111, 5 * records.CMD_SHELVE | 3))
        model.staged[0], model.staged_min = 0x00050006, 497
        before = state(station, model)
        at, words = drawn(draw)
        data = bytearray(b"\x11" * PLACE) + bytes(byte for word in words for byte in big(word, 1)) + b"\x11\x11"
        refusal = model.write_words(at, len(words), data, PLACE)
        want = refused(at, words, station.controller.contacts.wet)
        assert refusal == want, (at, words)
        if want:
            assert state(station, model) == before, (at, words)
            said = bytes(model.refusal).rstrip(b"\0").decode()
            assert said == ("maintenance is refused while lead is wet" if want == m.FAILURE else "")
            continue
        done += 1
        _expect(before, {at + k: word for k, word in enumerate(words)})
        assert state(station, model) == before, (at, words)
        if len(station.store.saved):
            assert station.store.saved[0] == model.staged
    assert done > 800


def _expect(row, given):
    # What an accepted write makes of a state.
    for place, word in given.items():
        if place < 140:
            old = row[0][place // 2]
            row[0][place // 2] = old & ~0xFFFF | word if place % 2 else word << 16 | old & 0xFFFF
            row[1] = 500
    if r.CLOCK_AT in given:
        row[4] = [given[180] << 16 | given[181]]
    if r.WINDOW_AT in given:
        row[6], row[8] = given[184] << 16 | given[185], True
    if r.WINDOW_AT + 2 in given:
        row[7], row[8] = given[186] << 16 | given[187], True
    if r.SHELVE_AT in given:
        row[2] = row[2] % records.CMD_SHELVE + given[r.SHELVE_AT] * records.CMD_SHELVE
    if r.MAINTENANCE_AT in given:
        row[3], row[5] = link.WISH_MAINTENANCE, [(123456, j.MAINTENANCE)]
    elif r.RESET_AT in given:
        row[3], row[5] = link.WISH_RESET, [(123456, j.RESET_ASKED)]
    if r.COMMIT_AT in given:
        row[3], row[9] = link.WISH_RENEW, 1


def test_staged_settings_lapse_after_ten_minutes_and_not_before():
    station, model = made()
    assert not model.differs()
    model.staged[5], model.staged_min = 77, 490
    assert model.differs() is True and model.staged[5] == 77
    station.controller.uptime_min = 501
    assert model.differs() is False and (model.staged, model.staged_min) == (station.store.values, 501)
    model.staged[69] = 9
    assert model.differs() and model.staged is not station.store.values
    station.controller.uptime_min = 600
    assert model.write_words(0, 1, bytearray(b"\0\1"), 0) == 0
    now = model.staged[0] >> 16, model.staged[69]
    assert now == (1, station.store.values[69]), "lapsed before the write, not with it"


def test_a_new_model_has_staged_nothing_since_the_power_up_and_takes_no_more_heap_than_it_shows():
    station, model = made()
    model.staged[5], station.controller.uptime_min = 77, 11
    assert model.differs() is False
    assert (len(model.window), len(model.holding), len(model.refusal)) == (240, 384, 120)
    assert (model._coil(5), model._bit(50)) == (0, 0)


@pytest.mark.parametrize(("error", "refusal", "words"), [
    (ValueError("debounce = 1: a whole number"), m.VALUE, "debounce = 1: a whole number"),
    (OSError(28), m.FAILURE, "the settings could not be written: 28"),
    (ValueError("x" * 300), m.VALUE, "x" * 120),
])  # fmt: skip
def test_a_commit_that_is_refused_says_why_and_forgets_the_set(error, refusal, words):
    station, model = made()
    station.store.error = error
    model.staged[4], model.staged_min = 9, 500
    assert model.write_words(r.COMMIT_AT, 1, bytearray(b"\x0c\x17"), 0) == refusal
    assert bytes(model.refusal).rstrip(b"\0").decode() == words
    assert model.staged == station.store.values and model.staged is not station.store.values
    assert station.wish == 0
    station.store.error = None
    assert model.write_words(r.COMMIT_AT, 1, bytearray(b"\x0c\x17"), 0) == 0
    assert bytes(model.refusal) == bytes(120) and station.wish == link.WISH_RENEW
