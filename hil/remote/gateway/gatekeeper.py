"""What a client that is served may ask of the controller: read anything, write only what was allowed by name.

Nothing here starts or stops a pump: forces, settings, reset, restart and maintenance are refused whatever was allowed.
"""

from duplexsump.station import registers as r

from host_sim.board.client import READ_INPUT, WRITE_COILS, WRITE_WORDS

ALLOWABLE = ("silence", "inspect", "clock")
ILLEGAL_FUNCTION, ILLEGAL_VALUE = 1, 3
SILENCE_COIL, INSPECTED_COIL = 0, 2
WORD_ROWS_END = sum(row[2] for row in r.WORD_ROWS)


def judge(pdu, allowed):
    """Return "pass", "window", "refuse", or which of `allowed` (a set) a PDU does."""
    if len(pdu) < 5:
        return "refuse"
    function, at, count = pdu[0], pdu[1] << 8 | pdu[2], pdu[3] << 8 | pdu[4]
    if function == READ_INPUT and r.WINDOW_HEAD_AT <= at < r.WINDOW_DATA_AT + r.WINDOW_WORDS:
        return "window" if len(pdu) == 5 else "refuse"
    if 1 <= function <= READ_INPUT:
        return "pass" if len(pdu) == 5 else "refuse"
    if function == WRITE_COILS and len(pdu) == 7 and count == 1 and pdu[5] == 1:
        word = {SILENCE_COIL: "silence", INSPECTED_COIL: "inspect"}.get(at)
        return word if word in allowed else "refuse"
    if function == WRITE_WORDS and len(pdu) == 6 + 2 * count and pdu[5] == 2 * count:
        if at >= r.WINDOW_AT and at + count <= r.WINDOW_AT + 4 and count in (2, 4) and not (at - r.WINDOW_AT) & 1:
            return "window"
        if (at, count) == (r.CLOCK_AT, 2) and "clock" in allowed:
            return "clock"
    return "refuse"


class Desk:
    """The answers for one client: its own journal window, everything else by `judge`.

    `port` is a `port.Port`; `did(what)` is called after a write that was allowed.
    """

    def __init__(self, port, allowed=(), did=None):
        self.port, self.allowed, self.did = port, frozenset(allowed), did or (lambda what: None)
        self.window = bytes(8)

    def answer(self, pdu):
        """Return the PDU that answers `pdu`.  Raises InputError where the controller does not answer."""
        verdict = judge(pdu, self.allowed)
        if verdict == "refuse":
            return bytes([(pdu[0] if pdu else 0) | 0x80, ILLEGAL_FUNCTION])
        if verdict == "window":
            return self._window(pdu)
        answer = self.port.pass_on(pdu)
        if verdict != "pass" and not answer[0] & 0x80:
            self.did(verdict)
        return answer

    def _window(self, pdu):
        # Two clients must not move each other's window: each write is kept here, and put to the board with the read.
        if pdu[0] == WRITE_WORDS:
            begin = 2 * ((pdu[1] << 8 | pdu[2]) - r.WINDOW_AT)
            data = pdu[6:]
            if any(data[i] >= 0x80 for i in range(0, len(data), 4)):
                return bytes([pdu[0] | 0x80, ILLEGAL_VALUE])
            self.window = self.window[:begin] + data + self.window[begin + len(data) :]
            return pdu[:5]
        put = bytes([WRITE_WORDS, r.WINDOW_AT >> 8, r.WINDOW_AT & 255, 0, 4, 8]) + self.window
        with self.port.lock:
            refused = self.port.pass_on(put)
            return refused if refused[0] & 0x80 else self.port.pass_on(pdu)
