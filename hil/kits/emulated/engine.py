"""How the emulated chip is run: instruction by instruction until an instant of its own clock, waits in one jump.

Two ways with the same result: rp2040py's own loop, and `thumb.py`, which
carries out the plain instructions compiled and leaves everything else to
rp2040py.  Time is the chip's: nothing here looks at the PC's clock but for the
limit of CPU time, without which a fault in a program would stop a test run.
"""

import math
import time

import numpy as np
from rp2040py.execute_batch import execute_batch
from rp2040py.sio import RPSIO

from hil.kits.emulated import memory as m
from hil.kits.emulated import thumb
from host_sim.errors import InputError

CYCLE_NS = 8.0  # 125 MHz, the emulator's own figure


def _shared(place):
    # An attribute that lies in the state array.
    def read(self):
        return int(self.state[place])

    def write(self, value):
        self.state[place] = int(value) & m.M32

    return property(read, write)


class SharedSio(RPSIO):
    """The emulator's single-cycle I/O; its divider and spin locks lie in the state that compiled code works on."""

    div_dividend = _shared(m.DIVIDEND)
    div_divisor = _shared(m.DIVISOR)
    div_quotient = _shared(m.QUOTIENT)
    div_remainder = _shared(m.REMAINDER)
    div_csr = _shared(m.DIVIDER_CSR)
    spin_lock = _shared(m.LOCKS)

    def __init__(self, mcu, state):
        self.state = state
        super().__init__(mcu)


class Engine:
    """Runs the chip `mcu` of `simulator`.  `compiled` None takes compiled code where numba is installed."""

    def __init__(self, mcu, simulator, compiled=None):
        self.mcu = mcu
        self.core = mcu.core
        self.clock = mcu.clock
        self.simulator = simulator
        self.compiled = m.COMPILED if compiled is None else compiled
        self.cpu_limit_s = 60.0  # for one second of the chip's time
        self.held = None  # returns the instant until which a waiting processor may be left to wait
        self.holding = False  # whether it is left to wait just now
        self.stop = self.clock.create_alarm(self.interrupt)
        self.later = self.clock.create_alarm(self.interrupt)
        self.state = np.zeros(m.STATE_WORDS, np.int64)
        if self.compiled:
            mcu.sio = SharedSio(mcu, self.state)
        self.memories = (
            np.asarray(self.core.registers),
            self.state,
            np.frombuffer(mcu.bootrom, np.uint32),
            np.frombuffer(mcu.flash, np.uint32),
            np.frombuffer(mcu.sram, np.uint32),
        )

    def interrupt(self):
        """End the run that is under way after the present instruction."""
        self.simulator.stopped = True

    def interrupt_in(self, ns):
        """End the run that is under way so much later."""
        self.later.schedule(ns)

    def run(self, until_ns):
        """Run until the chip's clock reaches `until_ns` or something calls `interrupt`; tell whether it was reached.

        Raises InputError where a second of it takes more than `cpu_limit_s` of CPU time.
        """
        simulator, clock = self.simulator, self.clock
        ends_s, second_ns = time.process_time() + self.cpu_limit_s, clock.nanos + 1e9
        simulator.stopped = False
        while clock.nanos < until_ns and not simulator.stopped:
            if self.compiled and not any(pio for pio in self.mcu.pio if not pio.stopped):
                self._compiled(until_ns)
            else:
                self._plain(until_ns)
            if clock.nanos >= second_ns:
                ends_s, second_ns = time.process_time() + self.cpu_limit_s, clock.nanos + 1e9
            elif time.process_time() > ends_s:
                words = f"{self.cpu_limit_s:g} s of CPU time took the emulated board to {clock.nanos / 1e9:.3f} s only"
                raise InputError(words, "emulated board")
        return clock.nanos >= until_ns

    def _plain(self, until_ns):
        # rp2040py's own loop, ended by an alarm.
        self.stop.schedule(max(1.0, until_ns - self.clock.nanos))
        execute_batch(self.simulator, 1)
        if self.simulator.stopped and self.clock.nanos >= until_ns:
            self.simulator.stopped = False
        self.stop.cancel()

    def _compiled(self, until_ns, pieces=2000):
        core, clock, simulator = self.core, self.clock, self.simulator
        for _ in range(pieces):
            now_ns = clock.nanos
            if simulator.stopped or now_ns >= until_ns:
                return
            next_ns = until_ns - now_ns
            if clock.has_scheduled_alarm:
                next_ns = min(next_ns, clock.nanos_to_next_alarm)
            if core.waiting or self.holding:
                clock.tick(self._wait_ns(now_ns, next_ns, until_ns))
            elif core.interrupts_updated or next_ns <= 0:
                clock.tick(core.execute_instruction() * CYCLE_NS)
            else:
                self._instructions(next_ns)

    def _wait_ns(self, now_ns, next_ns, until_ns):
        # How long a processor that waits goes on waiting.  One that is held stays so over the ends of runs, although
        # the interrupt that would have woken it is there.
        held_ns = 0.0 if self.held is None else self.held() - now_ns
        if held_ns <= 0:
            self.holding = False
            return next_ns if self.core.waiting else 0.0
        self.holding = now_ns + held_ns > until_ns
        return min(held_ns, until_ns - now_ns)

    def _instructions(self, next_ns):
        # Plain instructions up to the next alarm; then one of the emulator's, if that is what ended them.
        core, s = self.core, self.state
        s[m.N], s[m.Z], s[m.C], s[m.V], s[m.MASKED] = core.n, core.z, core.c, core.v, core.pm
        s[m.HANDLER] = core.current_mode
        s[m.PENDING] = self._pending()
        s[m.LIMIT], s[m.CYCLES] = math.ceil(next_ns / CYCLE_NS), 0
        thumb.run(*self.memories)
        core.n, core.z, core.c, core.v = int(s[m.N]), int(s[m.Z]), int(s[m.C]), int(s[m.V])
        if core.pm != s[m.MASKED]:
            core.pm = int(s[m.MASKED])
            core.interrupts_updated = not core.pm
        cycles = int(s[m.CYCLES])
        core.cycles += cycles
        if cycles:
            self.clock.tick(cycles * CYCLE_NS)
        if s[m.LEFT] and not core.interrupts_updated:
            self.clock.tick(core.execute_instruction() * CYCLE_NS)

    def _pending(self):
        core = self.core
        exceptions = core.pending_nmi or core.pending_pend_sv or core.pending_svcall or core.pending_systick
        return 1 if exceptions or core.pending_interrupts & core.enabled_interrupts else 0
