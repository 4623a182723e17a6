"""A Modbus client for a board on a serial port: ASCII as on USB, or RTU as on RS-485.

Every error is one line: no such port, port busy, no answer, another device.
"""

import contextlib
import time

from duplexsump.station import registers as r
from duplexsump.station.framing import crc16, lrc
from duplexsump.station.line import BAUDS, PARITIES

from host_sim.errors import InputError

try:
    from termios import error as TermiosError  # noqa: N812 - what a port says that has gone away; no OSError
except ImportError:  # Windows
    TermiosError = OSError

EXCEPTIONS = {1: "unknown function", 2: "no such register", 3: "value not allowed", 4: "the board cannot do that now"}
READ_COILS, READ_BITS, READ_HOLDING, READ_INPUT = 1, 2, 3, 4
WRITE_COILS, WRITE_WORDS = 15, 16
USB_BAUD = 115200  # which USB pays no heed to
WINDOW_TRIES = 3
MOST_WORDS = 120  # of 123 in one request; even, since a setting is two words


class RefusedError(InputError):
    """The board answered with a Modbus exception; `code` is its number."""

    def __init__(self, code, source):
        self.code = code
        super().__init__(f"the board refuses: {EXCEPTIONS.get(code, f'exception {code}')}", source)


def open_serial(port, baud, parity="N"):
    """Return an open serial port, DTR and RTS held inactive, for us alone.  Raises InputError.

    `parity`: "N", "O", or "E" as is Modbus RTU's default; without parity a character has two stop bits.
    `port` may be one of pyserial's URLs, such as `socket://host:port` or `rfc2217://host:port`.
    """
    try:
        import serial
    except ImportError as error:
        raise InputError("pyserial is missing: python -m pip install pyserial", port) from error
    try:
        line = serial.serial_for_url(port, do_not_open=True)
        line.baudrate, line.timeout = baud, 0.05
        if "://" not in port:
            line.exclusive = True
        line.dtr = line.rts = False
        line.open()
        _set_parity(line, parity)
        if parity == "N" and baud != USB_BAUD and "://" not in port:
            line.stopbits = 2
    except (serial.SerialException, OSError, ValueError) as error:
        raise InputError(_why(error), port) from error
    return line


def _set_parity(line, parity):
    # A pseudo terminal has no parity and says so only after it was opened; its error is no OSError.
    try:
        line.parity = parity
    except Exception:
        line.parity = "N"


def _why(error):
    number = getattr(error, "errno", None)
    text = str(error)
    if number == 2 or "No such file" in text or "FileNotFound" in text:
        return "there is no such port: plug in the board, or check the name of the port"
    if number in (11, 16) or "lock" in text or "busy" in text:
        return "the port is busy: another program holds it"
    if number == 13 or "Permission" in text:
        return "no permission to open the port: add your user to the group that owns it"
    return f"this is no serial port: {text}"


class Client:
    """One board.  `framing` is "ascii" or "rtu"; every call raises InputError when the board does not answer.

    `port` is the name of a serial port, or an open line: an object with pyserial's `read`, `write`, `in_waiting`,
    `reset_input_buffer` and `close`, and `clock_s()` where patience is not to be measured by the wall clock.
    """

    def __init__(self, port, framing="ascii", unit=1, baud=115200, patience_s=1.0, parity=""):
        opened = not isinstance(port, str)
        self.port = getattr(port, "name", None) or "the board's link" if opened else port
        self.framing = framing
        self.unit = unit
        self.patience_s = patience_s
        self.line = port if opened else open_serial(port, baud, parity or ("E" if framing == "rtu" else "N"))
        self.clock_s = getattr(self.line, "clock_s", time.monotonic)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def close(self):
        """Close the port."""
        with contextlib.suppress(OSError):
            self.line.close()

    # Requests.

    def ask(self, pdu, tries=3):
        """Return the PDU that answers `pdu` (bytes).  Raises InputError, of which RefusedError is one."""
        for _ in range(tries):
            try:
                self.line.reset_input_buffer()
                self.line.write(self._wrap(pdu))
                answer = self._answer(pdu)
            except (OSError, TermiosError) as error:
                raise InputError(f"the port went away: {error}", self.port) from error
            if answer is not None:
                if answer[0] & 0x80:
                    raise RefusedError(answer[1], self.port)
                return answer
        raise InputError("no answer in Modbus: is the controller running, and is this its port?", self.port)

    def _wrap(self, pdu):
        frame = bytes([self.unit]) + pdu
        if self.framing == "ascii":
            return b":" + (frame + bytes([lrc(frame, 0, len(frame))])).hex().upper().encode() + b"\r\n"
        crc = crc16(frame, 0, len(frame))
        return frame + bytes([crc & 255, crc >> 8])

    def _answer(self, pdu):
        until = self.clock_s() + self.patience_s
        data = b""
        while self.clock_s() < until:
            data += self.line.read(max(1, self.line.in_waiting))
            for frame in self._unwrap(data):
                if frame[0] == self.unit and _fits(frame[1:], pdu):
                    return frame[1:]
        return None

    def _unwrap(self, data):
        # The sound frames in what has come, without their checksums.
        if self.framing == "rtu":
            return [data[:-2]] if len(data) >= 5 and not crc16(data, 0, len(data)) else []
        found = []
        for piece in data.split(b":")[1:]:
            if piece.endswith(b"\r\n"):
                with contextlib.suppress(ValueError):
                    frame = bytes.fromhex(piece.decode("ascii", "replace").strip())
                    if len(frame) >= 3 and not lrc(frame, 0, len(frame)):
                        found.append(frame[:-1])
        return found

    # Bits and words.

    def words(self, at, count, function=READ_INPUT):
        """Return `count` registers from `at` on as a list of 0 .. 65535, in as many requests as it takes."""
        found = []
        while len(found) < count:
            part = min(120, count - len(found))
            answer = self.ask(_pdu(function, at + len(found), part))
            found += [answer[2 + 2 * i] << 8 | answer[3 + 2 * i] for i in range(part)]
        return found

    def bits(self, at, count, function=READ_BITS):
        """Return `count` discrete inputs (or coils) from `at` on as a list of 0 and 1."""
        answer = self.ask(_pdu(function, at, count))
        return [answer[2 + (i >> 3)] >> (i & 7) & 1 for i in range(count)]

    def write_words(self, at, values):
        """Write holding registers, all in one request (at most 123)."""
        data = b"".join(value.to_bytes(2, "big") for value in values)
        self.ask(_pdu(WRITE_WORDS, at, len(values)) + bytes([len(data)]) + data)

    def write_bits(self, at, values):
        """Write coils, all in one request."""
        data = bytearray((len(values) + 7) // 8)
        for i, value in enumerate(values):
            data[i >> 3] |= (1 if value else 0) << (i & 7)
        self.ask(_pdu(WRITE_COILS, at, len(values)) + bytes([len(data)]) + bytes(data))

    # What they mean.

    def identify(self, any_map=False):
        """Raise InputError unless this controller with this register map answers; return whether the map is the same.

        `any_map`: one with another register map will do, as for a deployment to it.
        """
        signature, version = self.words(0, 2)
        if signature != r.SIGNATURE:
            raise InputError(f"a Modbus device answers, but not a controller of ours ({signature:#06x})", self.port)
        if version != r.MAP_VERSION and not any_map:
            raise InputError(f"register map {version} on the board, here {r.MAP_VERSION}: sumpbench deploy", self.port)
        return version == r.MAP_VERSION

    def values(self):
        """Return all input registers of the table as {name: value}."""
        rows = r.WORD_ROWS
        words = self.words(0, sum(row[2] for row in rows))
        return _values([(row[0], row[2]) for row in rows], words, signed=("level", "settings_slot"))

    def states(self):
        """Return all discrete inputs of the table as {name: mask}, and the masks "active" and "standing" of alarms."""
        bits = self.bits(0, r.N_BITS)
        found, at = {}, 0
        for name, width, *_ in r.BIT_ROWS:
            found[name] = sum(bits[at + i] << i for i in range(width))
            at += width
        for name, begin in (("active", r.ALARMS_ACTIVE_AT), ("standing", r.ALARMS_STANDING_AT)):
            found[name] = sum(bits[begin + i] << i for i in range(r.N_BITS - r.ALARMS_STANDING_AT))
        return found

    def text(self, at, count):
        """Return the text in input registers."""
        raw = b"".join(word.to_bytes(2, "big") for word in self.words(at, count))
        return raw.split(b"\0")[0].decode("ascii", "replace")

    def settings(self):
        """Return the settings on the board as a list of integers."""
        words = self.words(0, r.N_SETTING_WORDS, READ_HOLDING)
        return [words[i] << 16 | words[i + 1] for i in range(0, len(words), 2)]

    def put_settings(self, values):
        """Stage a whole set, then put it in force.  Raises InputError with the board's reason."""
        words = []
        for value in values:
            words += [value >> 16 & 0xFFFF, value & 0xFFFF]
        try:
            for at in range(0, len(words), MOST_WORDS):
                self.write_words(at, words[at : at + MOST_WORDS])
            self.write_words(r.COMMIT_AT, [r.COMMIT_KEY])
        except RefusedError as error:
            reason = self.text(r.TEXT_AT, r.REFUSAL_WORDS)
            reason = reason or str(error)
            raise InputError(f"the board refuses the settings, nothing is changed: {reason}", self.port) from error

    def segment(self, number):
        """Return the bytes of a journal segment; empty when it is not there."""
        data = b""
        while True:
            piece = window(self, number, len(data))
            data += piece
            if len(piece) < 2 * r.WINDOW_WORDS:
                return data


def window(client, number, place):
    """Return the bytes of a journal segment from `place` on, at most a window; b"" at its end or without the segment.

    Raises InputError where the board keeps forgetting what it was asked to show: a reset closes the window.
    """
    asked = [number >> 16, number & 0xFFFF, place >> 16, place & 0xFFFF]
    for _ in range(WINDOW_TRIES):
        client.write_words(r.WINDOW_AT, asked)
        # The head comes last: it vouches for what was read before it.
        tail = client.words(r.WINDOW_HEAD_AT + r.WINDOW_WORDS, 5)
        words = client.words(r.WINDOW_HEAD_AT, r.WINDOW_WORDS)
        if words[:4] == asked:
            return b"".join(word.to_bytes(2, "big") for word in words[5:] + tail)[: words[4]]
    raise InputError(f"segment {number} of the journal cannot be read: the board is reset again and again, or somebody "
                     "else reads its journal; try again later", "journal")  # fmt: skip


def _fits(answer, pdu):
    # Whether this may be the answer to `pdu`: an answer to an earlier request, given up, can still be on its way.
    function = pdu[0]
    if answer[0] != function:
        return answer[0] == function | 0x80
    if function > READ_INPUT:
        return answer[1:5] == pdu[1:5]
    count = pdu[3] << 8 | pdu[4]
    size = (count + 7) // 8 if function <= READ_BITS else 2 * count
    return len(answer) == 2 + size and answer[1] == size


def line_of(framing):
    """Return (framing, baud, "E", "O" or "N") of a text: "ascii", "rtu", or "rtu:9600:none" where the line was changed.

    Raises InputError.
    """
    words = str(framing).split(":")
    parities = dict(zip(PARITIES, "EON", strict=True))
    if words[0] in ("ascii", "rtu") and len(words) <= 3:
        baud = words[1] if len(words) > 1 else "19200" if words[0] == "rtu" else "115200"
        parity = words[2] if len(words) > 2 else "even" if words[0] == "rtu" or len(words) > 1 else "none"
        if baud.isdigit() and parity in parities and int(baud) in BAUDS:
            return words[0], int(baud), parities[parity]
    raise InputError(f'"{framing}": ascii, rtu, or with baud and parity as in rtu:9600:none', "--framing")


def connect(port, framing="ascii", unit=1):
    """Return a Client whose controller has identified itself.  Raises InputError: no port, no answer, other device."""
    framing, baud, parity = line_of(framing)
    client = Client(port, framing, unit, baud, parity=parity)
    try:
        client.identify()
    except InputError:
        client.close()
        raise
    return client


def _pdu(function, at, count):
    return bytes([function, at >> 8, at & 255, count >> 8, count & 255])


def _values(names, words, signed=()):
    found, at = {}, 0
    for name, width in names:
        value = words[at] if width == 1 else words[at] << 16 | words[at + 1]
        if name in signed and value >= 0x8000:
            value -= 0x10000
        found[name] = value
        at += width
    return found
