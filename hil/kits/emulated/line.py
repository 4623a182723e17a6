"""The emulated board's USB port as a Modbus client sees it: what a pyserial port offers, in the board's own time."""

WAIT_NS = 2_000_000  # how long one `read` lets time pass where nothing has come
LINGER_NS = 100_000_000  # after a byte either way the board is kept from dozing for so long


class Line:
    """The port of a kit.  `kit` has `now_ns()`, `pass_ns(ns)`, and `pico`, None while the board has no power."""

    name = "the emulated board's USB port"

    def __init__(self, kit):
        self.kit = kit
        self.pico = None
        self.taken = 0  # bytes of the board's output that have been read or dropped
        self.busy_until_ns = 0

    def _output(self):
        # What the board has sent and nobody has taken; a new power-up is a new port.
        pico = self.kit.pico
        if pico is not self.pico:
            self.pico, self.taken = pico, 0
        return b"" if pico is None else pico.output[self.taken :]

    def _linger(self):
        self.busy_until_ns = self.kit.now_ns() + LINGER_NS

    def busy(self):
        """Tell whether the link may have something for the board to do."""
        return self.kit.now_ns() < self.busy_until_ns

    def clock_s(self):
        """Return the board's time, by which a client's patience is measured."""
        return self.kit.now_ns() / 1e9

    @property
    def in_waiting(self):
        """How many bytes have come."""
        return len(self._output())

    def read(self, size=1):
        """Return up to `size` bytes; none where none came in the 2 ms that this lets pass."""
        if not self._output():
            self.kit.pass_ns(WAIT_NS, lambda: bool(self._output()))
        found = bytes(self._output()[:size])
        self.taken += len(found)
        if found:
            self._linger()
        return found

    def write(self, data):
        """Send bytes; what is sent to a board without power or not yet known to the host is lost, as on a real one."""
        self._output()
        if self.pico is not None and self.pico.port.open:
            self.pico.port.send(data)
        self._linger()
        return len(data)

    def reset_input_buffer(self):
        """Drop what has come."""
        waiting = len(self._output())  # first: a board that was powered up since begins to count anew
        self.taken += waiting

    def close(self):
        """Nothing to give back."""
