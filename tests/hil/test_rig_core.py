"""The rig's firmware under CPython: coils, edges by its own clock, the log's ring, letting go, refusals."""

import pytest
from duplexsump.station import modbus as m
from duplexsump.station.modbus import Handler

from hil.rig.lib.sumprig import registers as r
from hil.rig.lib.sumprig import wires as w
from hil.rig.lib.sumprig.core import Rig
from hil.rig.lib.sumprig.model import Model


class Board:
    """A board whose clock and relays a test sets; it keeps what was put on its pins."""

    def __init__(self, now_ms=0x3FFFFFFF - 200):
        self.time_ms = now_ms
        self.bits = 0
        self.put_last = (0, [0, 0, 0, 0])

    def now_ms(self):
        return self.time_ms & 0x3FFFFFFF

    def relays(self):
        return self.bits

    def put(self, coils, analog):
        self.put_last = (coils, list(analog))

    def release(self):
        self.put_last = (0, [0, 0, 0, 0])


@pytest.fixture
def bench():
    board = Board()
    rig = Rig(board)
    model = Model(rig, 0x12345678)
    handler = Handler(model)

    def ask(*pdu):
        return bytes(handler.reply[: handler.answer(bytes(pdu), 0, len(pdu))])

    return board, rig, model, ask


def words(answer):
    """Return the registers in an answer."""
    return [answer[2 + 2 * i] << 8 | answer[3 + 2 * i] for i in range(answer[1] // 2)]


def logged(rig):
    """Return the whole log as (ms, wire, value), the first readings of the relays left out."""
    return [(rig.log.times[i], w.NAMES[rig.log.wires[i]], rig.log.values[i]) for i in range(5, rig.log.count)]


def test_tables_fit_their_constants():
    assert (len(w.COILS), len(w.ANALOG), len(w.RELAYS)) == (w.N_COILS, w.N_ANALOG, w.N_RELAYS)
    assert len(w.NAMES) == w.N_WIRES
    assert w.NAMES[w.FIRST_ANALOG] == w.ANALOG[0]
    assert w.NAMES[w.FIRST_RELAY] == w.RELAYS[0]
    assert sum(row[1] for row in r.WORDS) == r.N_WORDS < r.LOG_AT


def test_a_coil_closes_its_contact_and_is_timed_by_the_rig(bench):
    board, rig, _, ask = bench
    board.time_ms += 40
    assert ask(m.WRITE_COIL, 0, 1, 0xFF, 0) == bytes([m.WRITE_COIL, 0, 1, 0xFF, 0])
    assert board.put_last == (2, [0, 0, 0, 0])
    assert logged(rig) == [((0x3FFFFFFF - 160), "lead", 1)]
    ask(m.WRITE_COIL, 0, 1, 0xFF, 0)
    assert len(logged(rig)) == 1, "what does not change is no edge"


def test_many_coils_change_at_once_and_the_rest_stays(bench):
    board, rig, _, ask = bench
    ask(m.WRITE_COILS, 0, 8, 0, 9, 2, 0xFF, 0x01)
    assert board.put_last[0] == 0x1FF00
    ask(m.WRITE_COILS, 0, 0, 0, 3, 1, 0b101)
    assert board.put_last[0] == 0x1FF05
    assert [edge[1] for edge in logged(rig)][-2:] == ["off", "lag"]


def test_relay_edges_are_logged_when_they_are_seen(bench):
    board, rig, model, ask = bench
    board.time_ms += 500  # over the ring's end
    board.bits = 0b10001
    rig.look()
    board.time_ms += 1
    board.bits = 0b10000
    rig.look()
    assert logged(rig) == [(299, "pump_1", 1), (299, "relay", 1), (300, "pump_1", 0)]
    assert ask(m.READ_BITS, 0, 0, 0, 5) == bytes([m.READ_BITS, 1, 0b10000])
    state = words(ask(m.READ_INPUT, 0, 0, 0, r.N_WORDS))
    assert state[:4] == [r.SIGNATURE, r.MAP_VERSION, 0x1234, 0x5678]
    assert state[4:6] == [0, 300]
    assert state[6:8] == [0, rig.log.count] == [0, 8]
    first = words(ask(m.READ_INPUT, 0, r.LOG_AT + 4 * 5, 0, 8))
    assert first == [0, 299, w.FIRST_RELAY, 1, 0, 299, w.FIRST_RELAY + 4, 1]
    assert rig.longest_look_ms == 500
    assert model.passes == 0


def test_the_log_is_a_ring(bench):
    board, rig, _, ask = bench
    for i in range(r.LOG_ROOM + 3):
        board.time_ms += 1
        ask(m.WRITE_COIL, 0, 2, 0xFF if i % 2 == 0 else 0, 0)
    assert rig.log.count == r.LOG_ROOM + 8
    slot = (rig.log.count - 1) % r.LOG_ROOM
    last = words(ask(m.READ_INPUT, (r.LOG_AT + 4 * slot) >> 8, (r.LOG_AT + 4 * slot) & 255, 0, 4))
    assert last == [board.now_ms() >> 16, board.now_ms() & 0xFFFF, 2, 1]


def test_analog_outputs_are_millivolts_up_to_full_scale(bench):
    board, rig, _, ask = bench
    ask(m.WRITE_HOLDING, 0, 1, 1650 >> 8, 1650 & 255)
    assert board.put_last == (0, [0, 1650, 0, 0])
    assert logged(rig)[-1][1:] == ("current_2", 1650)
    assert ask(m.WRITE_HOLDING, 0, 1, 3301 >> 8, 3301 & 255) == bytes([m.WRITE_HOLDING | 0x80, m.VALUE])
    assert words(ask(m.READ_HOLDING, 0, 0, 0, 5)) == [0, 1650, 0, 0, r.SILENCE_MS]


def test_a_silent_bench_is_let_go_of_and_only_once(bench):
    board, rig, _, ask = bench
    ask(m.WRITE_COIL, 0, 8, 0xFF, 0)
    ask(m.WRITE_HOLDING, 0, 0, 3, 232)
    board.time_ms += r.SILENCE_MS
    rig.judge(board.now_ms())
    assert board.put_last == (1 << 8, [1000, 0, 0, 0]), "not a moment too early"
    board.time_ms += 1
    rig.judge(board.now_ms())
    assert board.put_last == (0, [0, 0, 0, 0])
    assert rig.releases == 1
    assert [edge[1:] for edge in logged(rig)][-2:] == [("thermal_1", 0), ("current_1", 0)]
    board.time_ms += 2 * r.SILENCE_MS
    rig.judge(board.now_ms())
    assert rig.releases == 1, "nothing was driven any more"


def test_any_request_keeps_the_rig_going_and_the_time_can_be_set(bench):
    board, rig, _, ask = bench
    ask(m.WRITE_HOLDING, 0, r.SILENCE_AT, 500 >> 8, 500 & 255)
    ask(m.WRITE_COIL, 0, 0, 0xFF, 0)
    for _ in range(5):
        board.time_ms += 400
        ask(m.READ_COILS, 0, 0, 0, 17)
        rig.judge(board.now_ms())
    assert rig.releases == 0
    board.time_ms += 501
    rig.judge(board.now_ms())
    assert rig.releases == 1
    for value in (499, 60001):
        refused = ask(m.WRITE_HOLDING, 0, r.SILENCE_AT, value >> 8, value & 255)
        assert refused == bytes([m.WRITE_HOLDING | 0x80, m.VALUE])


@pytest.mark.parametrize(
    ("pdu", "exception"),
    [
        ((m.READ_COILS, 0, 0, 0, 18), m.ADDRESS),
        ((m.READ_BITS, 0, 0, 0, 6), m.ADDRESS),
        ((m.READ_INPUT, 0, 0, 0, 18), m.ADDRESS),
        ((m.READ_INPUT, (r.LOG_AT + 1024) >> 8, (r.LOG_AT + 1024) & 255, 0, 1), m.ADDRESS),
        ((m.READ_HOLDING, 0, 5, 0, 3), m.ADDRESS),
        ((m.WRITE_COIL, 0, 17, 0xFF, 0), m.ADDRESS),
        ((m.WRITE_HOLDING, 0, 7, 0, 0), m.ADDRESS),
        ((m.WRITE_HOLDING, 0, r.RESTART_AT, 0, 1), m.VALUE),
        ((m.WRITE_HOLDING, 0, r.MAINTENANCE_AT, 0x52, 0x53), m.VALUE),
        ((7, 0, 0, 0, 0), m.FUNCTION),
    ],
)
def test_a_bad_request_is_refused_and_changes_nothing(bench, pdu, exception):
    board, rig, _, ask = bench
    assert ask(*pdu) == bytes([pdu[0] | 0x80, exception])
    assert board.put_last == (0, [0, 0, 0, 0])
    assert (rig.coils, rig.wish, logged(rig)) == (0, 0, [])


def test_a_restart_is_asked_for_by_its_key(bench):
    _, rig, _, ask = bench
    ask(m.WRITE_HOLDING, 0, r.RESTART_AT, r.RESTART_KEY >> 8, r.RESTART_KEY & 255)
    assert rig.wish == r.RESTART_KEY


def test_part_of_a_request_that_is_not_allowed_leaves_all_of_it_undone(bench):
    board, rig, _, ask = bench
    refused = ask(m.WRITE_HOLDINGS, 0, 0, 0, 2, 4, 3, 232, 0xFF, 0xFF)
    assert refused == bytes([m.WRITE_HOLDINGS | 0x80, m.VALUE])
    assert rig.analog == [0, 0, 0, 0]
    assert board.put_last == (0, [0, 0, 0, 0])
