"""What the link may read and write of a station: the register map's other half.

Everything of a request is checked before anything of it is done.
"""

from ..control import alarm_table, records
from ..control import settings as s
from ..control.ticks import const
from . import journal as j
from . import modbus as m
from . import registers as r

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import Station

WISH_RENEW = const(1)  # put the settings in the store in force
WISH_RESET = const(2)
WISH_MAINTENANCE = const(3)
STAGE_MIN = const(10)  # staged settings that nobody commits lapse after this


class Model:
    """The registers of `station` (a `loop.Station`) as `modbus.Handler` wants them."""

    def __init__(self, station: "Station") -> None:
        self.station = station
        self.staged = list(station.store.values)
        self.staged_min = 0
        self.refusal = bytearray(2 * r.REFUSAL_WORDS)
        self.words = bytearray(2 * sum([row[2] for row in r.WORD_ROWS]))
        self.window = bytearray(2 * r.WINDOW_WORDS)
        self.window_segment = 0
        self.window_offset = 0
        self.window_bytes = 0
        self.window_stale = False
        self.holding = bytearray(2 * (r.RESET_AT + 1))

    # Bits.

    def read_bits(self, function: int, at: int, count: int, reply: bytearray, place: int) -> int:
        """Fill `reply` with coils or discrete inputs."""
        coils = function == m.READ_COILS
        if at + count > (r.N_COILS if coils else r.N_BITS):
            return m.ADDRESS
        for i in range(count):
            if self._coil(at + i) if coils else self._bit(at + i):
                reply[place + (i >> 3)] |= 1 << (i & 7)
        return 0

    def _coil(self, at: int) -> int:
        if r.FORCE_MASK_AT <= at < r.FORCE_MASK_AT + r.N_FORCES:
            return self.station.force_mask >> (at - r.FORCE_MASK_AT) & 1
        if r.FORCE_VALUE_AT <= at < r.FORCE_VALUE_AT + r.N_FORCES:
            return self.station.force_value >> (at - r.FORCE_VALUE_AT) & 1
        return 0

    def _bit(self, at: int) -> int:
        alarms = self.station.controller.alarms
        if at >= r.ALARMS_STANDING_AT:
            i = at - r.ALARMS_STANDING_AT
            return i < alarm_table.COUNT and alarms.state[i] != 0
        if at >= r.ALARMS_ACTIVE_AT:
            i = at - r.ALARMS_ACTIVE_AT
            return i < alarm_table.COUNT and alarms.active[i]
        for row in r.BIT_ROWS:
            if at < row[1]:
                return row[3](self.station) >> at & 1
            at -= row[1]
        return 0

    def write_bits(self, at: int, count: int, data: bytearray, place: int) -> int:
        """Give commands; force inputs, which needs the test jumper (M2)."""
        if at + count > r.N_COILS:
            return m.ADDRESS
        forced = at + count > r.FORCE_MASK_AT
        if forced and not self.station.raw[records.IN_JUMPER]:
            return m.FAILURE
        for i in range(count):
            self._write_bit(at + i, data[place + (i >> 3)] >> (i & 7) & 1)
        if forced:
            self.station.force_refresh = (self.station.force_refresh + 1) & 0xFFFF
        return 0

    def _write_bit(self, at: int, bit: int) -> None:
        st = self.station
        if at < r.N_COMMANDS:
            st.command |= bit << at
        elif r.FORCE_MASK_AT <= at < r.FORCE_MASK_AT + r.N_FORCES:
            one = 1 << (at - r.FORCE_MASK_AT)
            st.force_mask = st.force_mask | one if bit else st.force_mask & ~one
        elif r.FORCE_VALUE_AT <= at < r.FORCE_VALUE_AT + r.N_FORCES:
            one = 1 << (at - r.FORCE_VALUE_AT)
            st.force_value = st.force_value | one if bit else st.force_value & ~one

    # Words that are read.

    def read_words(self, function: int, at: int, count: int, reply: bytearray, place: int) -> int:
        """Fill `reply` with holding or input registers."""
        if function == m.READ_HOLDING:
            if at + count > r.RESET_AT + 1:
                return m.ADDRESS
            self._fill_holding()
            return self._copy(self.holding, at, count, reply, place)
        if at + count <= len(self.words) >> 1:
            self._fill_words()
            return self._copy(self.words, at, count, reply, place)
        if at >= r.ALARM_STATES_AT and at + count <= r.ALARM_STATES_AT + alarm_table.COUNT:
            for i in range(count):
                reply[place + 2 * i] = 0
                reply[place + 2 * i + 1] = self.station.controller.alarms.state[at - r.ALARM_STATES_AT + i]
            return 0
        if at >= r.TEXT_AT and at + count <= r.REASON_AT:
            return self._copy(self.refusal, at - r.TEXT_AT, count, reply, place)
        if at >= r.REASON_AT and at + count <= r.REASON_AT + r.REASON_WORDS:
            return self._reason(at - r.REASON_AT, count, reply, place)
        if at >= r.WINDOW_HEAD_AT and at + count <= r.WINDOW_DATA_AT + r.WINDOW_WORDS:
            return self._read_window(at - r.WINDOW_HEAD_AT, count, reply, place)
        return m.ADDRESS

    def _copy(self, source: bytearray, at: int, count: int, reply: bytearray, place: int) -> int:
        for i in range(2 * count):
            reply[place + i] = source[2 * at + i]
        return 0

    def _put(self, buffer: bytearray, at: int, value: int, words: int) -> None:
        # A value as one or two words, high byte first.
        if words == 2:
            buffer[2 * at] = value >> 24 & 255
            buffer[2 * at + 1] = value >> 16 & 255
            at += 1
        buffer[2 * at] = value >> 8 & 255
        buffer[2 * at + 1] = value & 255

    def _fill_words(self) -> None:
        at = 0
        for row in r.WORD_ROWS:
            self._put(self.words, at, row[4](self.station), row[2])
            at += row[2]

    def _fill_holding(self) -> None:
        for i in range(s.N_SETTINGS):
            self._put(self.holding, 2 * i, self.staged[i], 2)
        self._put(self.holding, r.SHELVE_AT, self.station.controller.alarms.shelved, 1)
        self._put(self.holding, r.CLOCK_AT, self.station.wall_now_s(), 2)
        self._put(self.holding, r.WINDOW_AT, self.window_segment, 2)
        self._put(self.holding, r.WINDOW_AT + 2, self.window_offset, 2)

    def _reason(self, at: int, count: int, reply: bytearray, place: int) -> int:
        text = self.station.reason
        for i in range(2 * count):
            k = 2 * at + i
            reply[place + i] = ord(text[k]) & 127 if k < len(text) else 0
        return 0

    def _read_window(self, at: int, count: int, reply: bytearray, place: int) -> int:
        if self.window_stale:
            self.window_stale = False
            self.window_bytes = self.station.recorder.journal.window(
                self.window_segment, self.window_offset, self.window
            )
        head = bytearray(10)
        self._put(head, 0, self.window_segment, 2)
        self._put(head, 2, self.window_offset, 2)
        self._put(head, 4, self.window_bytes, 1)
        for i in range(2 * count):
            k = 2 * at + i
            reply[place + i] = head[k] if k < 10 else self.window[k - 10]
        return 0

    # Words that are written.

    def write_words(self, at: int, count: int, data: bytearray, place: int) -> int:
        """Stage settings, and carry out what the control registers ask for."""
        if at + count > r.RESET_AT + 1:
            return m.ADDRESS
        self.differs()
        refusal = self._check_words(at, count, data, place)
        if refusal:
            return refusal
        for i in range(count):
            value = data[place + 2 * i] << 8 | data[place + 2 * i + 1]
            if at + i < r.N_SETTING_WORDS:
                self._stage(at + i, value)
        return self._control(at, count, data, place)

    def _word(self, at: int, first: int, count: int, data: bytearray, place: int) -> int:
        # The word for address `at` in a request, -1 where it holds none.
        if not first <= at < first + count:
            return -1
        i = place + 2 * (at - first)
        return data[i] << 8 | data[i + 1]

    def _check_words(self, at: int, count: int, data: bytearray, place: int) -> int:
        # Keys must be right, two-word values must come whole and be small integers.
        for row in r.CONTROL_ROWS:
            if row[1] == 1:
                if not self._key(row[0], self._word(row[0], at, count, data, place)):
                    return m.VALUE
            else:
                high = self._word(row[0], at, count, data, place)
                low = self._word(row[0] + 1, at, count, data, place)
                if (high < 0) != (low < 0) or (high >= 0x8000):
                    return m.VALUE
        for i in range(count):
            if r.N_SETTING_WORDS <= at + i < r.COMMIT_AT or r.SHELVE_AT < at + i < r.CLOCK_AT:
                return m.ADDRESS
            if r.CLOCK_AT + 1 < at + i < r.WINDOW_AT or r.WINDOW_AT + 3 < at + i < r.MAINTENANCE_AT:
                return m.ADDRESS
        return self._check_staged(at, count, data, place)

    def _key(self, at: int, key: int) -> bool:
        # Whether what is written to a one-word control register, -1 nothing, is what it takes.
        if at == r.SHELVE_AT:
            return key < 0 or 1 < key <= alarm_table.COUNT or key == records.SHELVE_END
        wanted = r.COMMIT_KEY if at == r.COMMIT_AT else r.MAINTENANCE_KEY
        if at == r.RESET_AT:
            wanted = r.RESET_KEY
        return key < 0 or key == wanted

    def _check_staged(self, at: int, count: int, data: bytearray, place: int) -> int:
        # A setting's high word is 0 or small: none is larger than 2**29.
        for i in range(count):
            if at + i < r.N_SETTING_WORDS and not (at + i) & 1 and data[place + 2 * i] >= 0x20:
                return m.VALUE
        key = self._word(r.MAINTENANCE_AT, at, count, data, place)
        if key >= 0 and self.station.controller.contacts.wet & records.LEAD:
            self.say("maintenance is refused while lead is wet")
            return m.FAILURE
        return 0

    def _stage(self, at: int, value: int) -> None:
        old = self.staged[at >> 1]
        if at & 1:
            self.staged[at >> 1] = old >> 16 << 16 | value
        else:
            self.staged[at >> 1] = value << 16 | (old & 0xFFFF)
        self.staged_min = self.station.controller.uptime_min

    def _control(self, at: int, count: int, data: bytearray, place: int) -> int:
        self._clock_and_window(at, count, data, place)
        st = self.station
        shelve = self._word(r.SHELVE_AT, at, count, data, place)
        if shelve >= 0:
            st.command = (st.command & (records.CMD_SHELVE - 1)) | shelve * records.CMD_SHELVE
        now = st.controller.now
        if self._word(r.MAINTENANCE_AT, at, count, data, place) >= 0:
            st.recorder.event(now, j.MAINTENANCE)
            st.wish = WISH_MAINTENANCE
        elif self._word(r.RESET_AT, at, count, data, place) >= 0:
            st.recorder.event(now, j.RESET_ASKED)
            st.wish = WISH_RESET
        if self._word(r.COMMIT_AT, at, count, data, place) >= 0:
            return self._commit()
        return 0

    def _clock_and_window(self, at: int, count: int, data: bytearray, place: int) -> None:
        st = self.station
        high = self._word(r.CLOCK_AT, at, count, data, place)
        if high >= 0:
            st.set_clock(high << 16 | self._word(r.CLOCK_AT + 1, at, count, data, place))
        high = self._word(r.WINDOW_AT, at, count, data, place)
        if high >= 0:
            self.window_segment = high << 16 | self._word(r.WINDOW_AT + 1, at, count, data, place)
            self.window_stale = True
        high = self._word(r.WINDOW_AT + 2, at, count, data, place)
        if high >= 0:
            self.window_offset = high << 16 | self._word(r.WINDOW_AT + 3, at, count, data, place)
            self.window_stale = True

    def say(self, text: str) -> None:
        """Put a text into the refusal registers."""
        data = text.encode()[: len(self.refusal)]
        for i in range(len(self.refusal)):
            self.refusal[i] = data[i] if i < len(data) else 0

    def _commit(self) -> int:
        # All or nothing: a refused set is forgotten.
        st = self.station
        try:
            st.store.save(self.staged)
        except ValueError as error:
            self.say(str(error))
            self.staged = list(st.store.values)
            return m.VALUE
        except OSError as error:
            self.say("the settings could not be written: %s" % error)
            self.staged = list(st.store.values)
            return m.FAILURE
        self.say("")
        st.wish = WISH_RENEW
        return 0

    def differs(self) -> bool:
        """Tell whether the staged set differs from the one in force; it lapses after STAGE_MIN."""
        st = self.station
        if st.controller.uptime_min - self.staged_min > STAGE_MIN:
            self.staged_min = st.controller.uptime_min
            for i in range(s.N_SETTINGS):
                self.staged[i] = st.store.values[i]
        return self.staged != st.store.values
