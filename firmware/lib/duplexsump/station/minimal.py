"""M5, the last resort: two pumps by their floats alone.  It stands alone.

It imports nothing of this firmware and needs no file: it has its own pins, its
own rests and built-in settings, so that it runs with any other file missing or
damaged.  No belief, no current, no alarm: the alarm relay stays dropped, horn
and beacon are on while `high` is wet.  Where a sound settings slot is at hand,
the floats' kinds and the pumps' supplies are taken from it; which outputs are on at
0 V, from the file `hardware` beside it.
"""

import sys
import time

try:
    from micropython import const
except ImportError:  # CPython

    def const(value: int) -> int:
        return value


_MASK = const(0x3FFFFFFF)
TICK_MS = const(100)
WATCHDOG_MS = const(8000)  # the RP2040's reaches 8388 ms

# What is read: a bit each.  Contacts off, lead, lag, high electrically closed, then these.
LEAD = const(2)
LAG = const(4)
HIGH = const(8)
SELECT_OFF = const(16)  # pump 1, 32 pump 2
HOT = const(64)  # pump 1, 128 pump 2
MAINS = const(256)

# What is written: pump 1, pump 2, horn, beacon.  Relay and light are never on.
ALARM = const(12)

# The word that outlives a reset but no power cut: magic, lives that ended early, what the reset was for.
MAGIC = const(0x2D3C0000)
ASKED = const(1)
MAINTENANCE = const(2)
FAULT = const(3)

# Built in: as the settings' defaults.
NORMALLY_CLOSED = const(8)
FITTED = const(15)
ON_MAINS = const(3)  # pumps that only the mains feeds
BLIND_RUN_MS = const(35000)
HOLD_MS = const(10000)  # S4
SPACING_MS = const(3000)  # S2
REST_MS = const(60000)  # S1, the three rests
REST_LAG_MS = const(20000)
REST_FLOOD_MS = const(10000)
_LONGEST_MS = const(120000)  # a run lasts so long after the last wet contact at most
_SLOT_BYTES = const(4096)
BENCH_INPUTS = const(25)  # numbers in an answer of the virtual bench

# GPIO numbers, as in the boards' wiring tables: pump 1, pump 2, horn, beacon, alarm relay; then the contacts by
# their bits: off, lead, lag, high, selectors' OFF, thermal contacts, mains.
PINS = {
    "rp2": ((18, 19, 20, 21, 22), (3, 4, 5, 6, 7, 9, 11, 12, 16)),
    "esp32": ((6, 7, 15, 16, 17), (8, 9, 10, 11, 12, 14, 39, 40, 3)),
}
SCRATCH_0 = const(0x4005800C)  # RP2040 data sheet, 4.7.6: WATCHDOG_BASE + 0x0c, "persists through soft reset"


class FloatsOnly:
    """lead starts one pump, lag or high both, off dry stops them.  `step` takes and gives bits, see above."""

    def __init__(
        self,
        now_ms: int,
        normally_closed: int = NORMALLY_CLOSED,
        fitted: int = FITTED,
        on_mains: int = ON_MAINS,
        blind_run_ms: int = BLIND_RUN_MS,
    ) -> None:
        self.normally_closed = normally_closed
        self.fitted = fitted
        self.on_mains = on_mains
        self.longest_ms = min(_LONGEST_MS, blind_run_ms)
        self.now_ms = now_ms
        self.hold_ms = HOLD_MS
        self.spacing_ms = 0
        self.idle_ms = [0, 0]  # since each pump stopped, no longer counted beyond REST_MS
        self.dry_ms = 0  # since lead, lag or high was wet
        self.demand = 0
        self.out = 0

    def step(self, now_ms: int, bits: int) -> int:
        """Return the outputs for what is read at `now_ms`."""
        passed = (now_ms - self.now_ms) & _MASK
        self._count(passed if passed < REST_MS else REST_MS)
        self.now_ms = now_ms
        wet = (bits ^ self.normally_closed) & self.fitted
        barred = self._barred(bits, wet)
        self._ask(wet, barred)
        self._switch(self.demand & ~barred, wet)
        return self.out | ALARM if wet & HIGH else self.out

    def _count(self, passed: int) -> None:
        self.hold_ms = max(0, self.hold_ms - passed)
        self.spacing_ms = max(0, self.spacing_ms - passed)
        self.dry_ms = min(_LONGEST_MS, self.dry_ms + passed)
        self.idle_ms[0] = min(REST_MS, self.idle_ms[0] + passed)
        self.idle_ms[1] = min(REST_MS, self.idle_ms[1] + passed)

    def _barred(self, bits: int, wet: int) -> int:
        # People and motors first.  An open wire at "mains present" must not drown the pit: with high wet it is tried.
        barred = (bits // SELECT_OFF | bits // HOT) & 3
        return barred if bits & MAINS or wet & HIGH else barred | self.on_mains

    def _ask(self, wet: int, barred: int) -> None:
        # `off` may hang up wet: without a higher contact it keeps a pump running for one blind run at most.
        if wet & (LAG | HIGH):
            self.demand = 3
        elif wet & LEAD and not self.demand:
            self.demand = 1
        if wet & (LEAD | LAG | HIGH):
            self.dry_ms = 0
        elif self.dry_ms >= self.longest_ms or (self.fitted & 1 and not wet & 1):
            self.demand = 0
        if self.demand != 3 and self.demand & barred:
            self.demand = 3 - self.demand

    def _switch(self, want: int, wet: int) -> None:
        for n in range(2):
            if self.out & ~want & (1 << n):
                self.out &= ~(1 << n)
                self.idle_ms[n] = 0
        for n in range(2):
            if want & ~self.out & (1 << n) and not self.hold_ms and not self.spacing_ms and self._rested(n, wet):
                self.out |= 1 << n
                self.spacing_ms = SPACING_MS

    def _rested(self, n: int, wet: int) -> bool:
        if wet & HIGH:
            return self.idle_ms[n] >= REST_FLOOD_MS
        if wet & LAG or (wet & LEAD and not self.out):
            return self.idle_ms[n] >= REST_LAG_MS
        return self.idle_ms[n] >= REST_MS


def known(folder: str = "/pit") -> tuple[int, int, int, int]:
    """Return (normally closed, fitted, on mains, blind run in ms) of the newest sound settings slot in `folder`.

    Where there is none, or anything is amiss, the built-in ones.
    """
    newest = -1
    found = (NORMALLY_CLOSED, FITTED, ON_MAINS, BLIND_RUN_MS)
    for slot in "ab":
        try:
            with open(folder + "/settings." + slot, "rb") as file:
                values = _parse(file.read(_SLOT_BYTES))
            if values["settings"] > newest and values["fitted"] & (HIGH | LEAD) == HIGH | LEAD:
                mains = (1 if not values["supply_1"] else 0) | (2 if not values["supply_2"] else 0)
                found = values["normally_closed"], values["fitted"], mains, values["blind_run"]
                newest = values["settings"]
        except Exception:  # no settings are worth a pump
            pass
    return found


def _parse(data: bytes) -> dict[str, int]:
    import binascii

    end = data.rfind(b"sum ")
    if end < 0 or int(data[end + 4 :], 16) != binascii.crc32(data[:end]):
        raise ValueError("no sound slot")
    values = {}
    for line in data[:end].decode().split("\n"):
        name, _, number = line.partition(" ")
        if name in ("settings", "normally_closed", "fitted", "supply_1", "supply_2", "blind_run", "low"):
            values[name] = int(number)
    return values


def on_at_zero(folder: str = "/pit") -> int:
    """Return the outputs that are on at 0 V, a bit each as in PINS, of the first sound copy of `hardware`."""
    for copy in "abc":
        try:
            with open(folder + "/hardware." + copy, "rb") as file:
                return _parse(file.read(_SLOT_BYTES))["low"]
        except Exception:  # not there, or damaged
            pass
    return 0


class WiredPins:
    """The pins, the watchdog and the kept word of a board with pins; making it drops every output."""

    def __init__(self, outputs: tuple, contacts: tuple, low: int = 0) -> None:
        import machine

        self.machine = machine
        self.low = low  # on at 0 V
        self.outputs = [machine.Pin(outputs[i], machine.Pin.OUT, value=low >> i & 1) for i in range(5)]
        self.contacts = [machine.Pin(number, machine.Pin.IN, machine.Pin.PULL_UP) for number in contacts]
        self.watchdog: "machine.WDT | None" = None

    def now_ms(self) -> int:
        """Return milliseconds in a 30-bit ring."""
        return time.ticks_ms() & _MASK  # type: ignore[operator]

    def read(self) -> int:
        """Return what is read, a bit each; a thermal contact opens when hot."""
        bits = 0
        for i in range(9):
            if not self.contacts[i].value():
                bits |= 1 << i
        return bits ^ 3 * HOT

    def write(self, out: int) -> None:
        """Set pumps, horn and beacon; the relay stays dropped."""
        for i in range(5):
            self.outputs[i].value((out ^ self.low) >> i & 1)

    def safe(self) -> None:
        """Drop every output."""
        self.write(0)

    def feed_watchdog(self) -> None:
        """Feed the watchdog; the first call starts it, and nothing stops it again."""
        if self.watchdog is None:
            self.watchdog = self.machine.WDT(timeout=WATCHDOG_MS)
        self.watchdog.feed()

    def rest(self, ms: int) -> None:
        """Let time pass."""
        time.sleep_ms(ms)

    def kept(self) -> int:
        """Return the word that outlives a reset, as it was left; a fresh one after a power cut."""
        if sys.platform == "rp2":
            word = self.machine.mem32[SCRATCH_0]
        else:
            data = self.machine.RTC().memory()
            word = int.from_bytes(data, "little") if len(data) == 4 else 0
        return word if word & 0x3FFF0000 == MAGIC else MAGIC

    def keep(self, word: int) -> None:
        """Leave a word for the life after a reset."""
        if sys.platform == "rp2":
            self.machine.mem32[SCRATCH_0] = word
        else:
            self.machine.RTC().memory(word.to_bytes(4, "little"))

    def reset(self, mark: int = ASKED) -> None:
        """Reset the board; `mark` is what the next life is told (ASKED, MAINTENANCE, FAULT)."""
        self.keep(marked(self.kept(), mark))
        self.machine.reset()

    def reset_after(self, ms: int) -> None:
        """Reset the board after a time, whatever it is doing."""
        machine = self.machine
        self.timer = machine.Timer(0 if sys.platform == "esp32" else -1)
        self.timer.init(mode=machine.Timer.ONE_SHOT, period=ms, callback=lambda timer: machine.reset())


def marked(word: int, mark: int) -> int:
    """Return the word with another mark; a reset that was asked for ends the count of lives that ended early."""
    return MAGIC | mark if mark != FAULT else word & ~3 | FAULT


class BenchPins:
    """The same on the virtual board; the messages are those of `boards/posix.py`."""

    def __init__(self) -> None:
        import os
        from array import array

        descriptor = os.getenv("DUPLEXSUMP_PINS")
        if descriptor is None:
            raise OSError("no virtual bench")
        self.pins = open(int(descriptor), "r+b")
        sys.modules["bench"] = self.pins  # held: what is collected is closed, under the station
        self.speed = int(os.getenv("DUPLEXSUMP_SPEED") or "1")
        self.word = int(os.getenv("DUPLEXSUMP_KEPT") or "0") or MAGIC
        self.answer = array("i", [0] * BENCH_INPUTS)
        self.grant = array("i", [0] * (BENCH_INPUTS + 1))
        self.began_ms = time.ticks_ms()
        self.free_ms = self.out = self.left_ms = 0
        self.fed = self.started = False
        self.safe()

    def now_ms(self) -> int:
        """Return milliseconds since the reset, in a 30-bit ring."""
        if self.speed <= 0:
            return self.free_ms & _MASK
        return time.ticks_diff(time.ticks_ms(), self.began_ms) * self.speed & _MASK

    def _send(self, letter: int, value: int, out: int) -> int:
        return self.pins.write(
            bytes((letter, value & 255, value >> 8 & 255, value >> 16 & 255, value >> 24 & 255, out))
        )

    def read(self) -> int:
        """Return what is read, a bit each."""
        # One statement: a question whose answer is left in the stream would have every later one misread.
        self._send(82, self.now_ms(), self.out) and self.pins.readinto(self.answer)
        raw = self.answer
        bits = raw[0] & 15 | (MAINS if raw[7] else 0)
        for n in range(2):
            bits |= (SELECT_OFF << n if raw[11 + n] == 1 else 0) | (HOT << n if raw[13 + n] else 0)
        return bits

    def write(self, out: int) -> None:
        """Set pumps, horn and beacon; the relay stays dropped."""
        if out != self.out:
            self._send(87, self.now_ms(), out)
            self.left_ms = 0
            self.out = out  # last: what fails before is tried again

    def safe(self) -> None:
        """Drop every output."""
        self.out = self.left_ms = 0
        self._send(87, self.now_ms(), 0)

    def feed_watchdog(self) -> None:
        """Tell the bench, which resets this board when it hears nothing for 8.388 s; in lockstep with the next rest."""
        if self.speed >= 0 or not self.started:
            self._send(68, self.now_ms(), self.out)
        self.fed = self.started = True

    def rest(self, ms: int) -> None:
        """Let time pass; in lockstep the bench grants it."""
        if self.speed > 0:
            time.sleep_ms(ms // self.speed)
        elif not self.speed:
            self.free_ms += ms
        else:
            if not self.left_ms:
                self._send(76, ms, self.out | 128 if self.fed else self.out) and self.pins.readinto(self.grant)
                self.fed = False
                self.left_ms = abs(self.grant[0])
                ms = self.left_ms if self.grant[0] <= 0 else ms
            ms = min(ms, self.left_ms)
            self.left_ms -= ms
            self.free_ms += ms

    def kept(self) -> int:
        """Return the word that outlives a reset, as it was left; a fresh one after a power cut."""
        return self.word

    def keep(self, word: int) -> None:
        """Leave a word for the life after a reset."""
        self.word = word
        self._send(75, word, 0)

    def reset(self, mark: int = ASKED) -> None:
        """Have the bench end this process and start it anew."""
        self.keep(marked(self.word, mark))
        self._send(88, self.now_ms(), 0)
        while True:
            time.sleep_ms(1000)

    def reset_after(self, ms: int) -> None:
        """Ask the bench to reset this board after a time."""
        self._send(84, ms, 0)


_made = []


def pins() -> "WiredPins | BenchPins":
    """Return this machine's pins, every output dropped.  Raises OSError where there are none."""
    if not _made:
        _made.append(WiredPins(*PINS[sys.platform], on_at_zero()) if sys.platform in PINS else BenchPins())
    _made[0].safe()
    return _made[0]


def run(board: "WiredPins | BenchPins", why: str = "") -> None:
    """Keep the pit by its floats for good.  Ctrl-C asks for maintenance, which wet floats refuse."""
    import micropython

    micropython.kbd_intr(3)
    print("floats only:", why)
    rule = FloatsOnly(board.now_ms(), *known())
    while True:
        try:
            bits = board.read()
            board.write(rule.step(board.now_ms(), bits))
            board.feed_watchdog()
            board.rest(TICK_MS)
        except KeyboardInterrupt:
            if not (board.read() ^ rule.normally_closed) & rule.fitted & (LEAD | LAG | HIGH):
                board.safe()
                board.reset(MAINTENANCE)
        except Exception:  # the watchdog is not fed: a pass that fails again and again ends in a reset
            pass
# sum d443cf06
