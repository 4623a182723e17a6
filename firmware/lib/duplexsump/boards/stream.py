"""A serial port that is a pair of byte streams: USB on a board with pins, a descriptor of the virtual board.

One byte at a time: a longer read would wait for all of them.
"""

import select

from ..control.records import const

_TYPES = const(0)  # true to the type check alone
if _TYPES:
    from ..shapes import File, Text


class Stream:
    """`source` and `sink` are open byte streams; where something else is polled for them, that is given too."""

    def __init__(
        self, source: "File", sink: "File", source_poll: "Text | None" = None, sink_poll: "Text | None" = None
    ) -> None:
        self.source = source
        self.sink = sink
        self.one = bytearray(1)
        self.reading = select.poll()
        self.reading.register(source_poll or source, select.POLLIN)
        self.writing = select.poll()
        self.writing.register(sink_poll or sink, select.POLLOUT)

    def ready(self) -> int:
        """Return the next byte, -1 when there is none."""
        for event in self.reading.ipoll(0):
            if event[1] & select.POLLIN and self.source.readinto(self.one):
                return self.one[0]
        return -1

    def takes(self) -> int:
        """Tell whether it can be written without waiting."""
        for event in self.writing.ipoll(0):
            return event[1] & select.POLLOUT
        return 0

    def put(self, buffer: bytearray, at: int, count: int) -> None:
        """Write `count` bytes of `buffer` from `at` on."""
        self.sink.write(memoryview(buffer)[at : at + count])
