"""The plant in the loop: the simulator's pit drives the wires of any kit and gets its pump relays.

So the packaged flood nights, with their faults and people, happen to a real
firmware on a virtual, an emulated or a real board, and its journal can be laid
beside the simulator's.
"""

from duplexsump.control.bands import CHANNELS, Bands
from duplexsump.control.records import IN_JUMPER, IN_MAINS, N_INPUTS

from hil.bench.verdict import Failed
from hil.kits import wires
from host_sim.board.pit import Pit
from host_sim.plant.plant import TICK_MS
from host_sim.run.schedule import RESET_MS

START_MS = 60000  # a board that has not made its first step by then does not start


class PitInLoop:
    """A site's pit on a kit.  Its time 0 is the kit's time when it was made, or the board's first step after `begin`.

    `site` is a `host_sim.site.load.Site` whose settings the board has in force;
    `faults` are added to its own.  Use `run_ms` in place of the kit's own.  Where
    time is the bench's own (lockstep) the wires are driven only when a value may
    come to matter, which gives the same as driving them at every tick; elsewhere
    they are driven at every tick.
    """

    def __init__(self, kit, site, faults=()):
        self.kit = kit
        self.site = site
        self.origin_ms = kit.now_ms()
        self.pit = Pit(site, faults, self._fault_reset)
        self.bands = Bands(site.settings)
        self.inputs = [0] * N_INPUTS
        self.edges = [0] * (2 * len(CHANNELS))
        self.pumps = (0, 0)
        self.fed = True
        self.dead_until_ms = 0  # a controller that a fault resets is without power until then
        self.lost = []  # (ms, what) as it happened to the controller's power
        self._drive()

    def begin(self):
        """Begin the night with a board that knows nothing of the past: the pit's time 0 is the board's first step.

        Raises Missing where the kit cannot empty the board's memory, Failed where the board does not start.
        """
        self.kit.cold_start()
        start = len(self.kit.edges)

        def alive():
            return [edge for edge in self.kit.edges[start:] if edge.wire == "relay" and edge.value]

        # The alarm relay is energised in the very first step: a board that knows nothing has no alarm.
        if not self.kit.run_until(lambda: bool(alive()), START_MS):
            raise Failed(f"the board did not start within {START_MS // 1000} s of power-up")
        self.origin_ms = alive()[0].ms

    def now_ms(self):
        """Return the pit's time in ms."""
        return self.kit.now_ms() - self.origin_ms

    def run_ms(self, ms):
        """Let `ms` pass for the board and the pit; the pit is then as the board sees it."""
        until = self.now_ms() + ms
        while self.now_ms() < until:
            self._instant(until)

    def _instant(self, until):
        # From one instant at which something may happen to the next, or to a change of the pumps before it.
        now = self.now_ms()
        self.pit.advance(now)
        before = self.pumps
        self.bands.convert(self.pit.raw, self.inputs, *before)
        self.pumps = (self.kit.read("pump_1"), self.kit.read("pump_2"))
        self.pit.write(*self.pumps)
        self._power(now)
        following = min(until, self._wake(now, self.pumps != before))
        if following - now > TICK_MS:
            # Nothing matters before `following`: the wires stay, and the pit is looked at again one tick before.
            self.kit.run_to_move((following - now - 1) // TICK_MS * TICK_MS)
            return
        self.pit.advance(following)
        if self.fed and not self._powered(following):
            # The power goes at `following`: the board takes no step at that instant any more.
            self.kit.run_ms(following - now - 1)
            self._power(following)
            self.kit.run_ms(1)
        self._drive()
        self.kit.run_to_move(following - self.now_ms())

    def _wake(self, now, moved):
        # As the simulator does: the tick after the outputs changed, else when a value may come to matter.
        tick = now // TICK_MS * TICK_MS + TICK_MS
        if moved or not self.kit.exact or now % TICK_MS:
            return tick
        limit = max(tick, self.pit.schedule.next_ms())
        if self.dead_until_ms > now:
            limit = min(limit, max(tick, self.dead_until_ms))
        self.bands.thresholds(self.edges, *self.pumps, self.pit.raw[IN_MAINS])
        return self.pit.plant.wake(now, min(limit, now + 3600000), self.edges)

    def _drive(self):
        self.pit.raw[IN_JUMPER] = self.kit.driven["jumper"]
        for name, value in wires.from_raw(self.pit.raw).items():
            if name in self.kit.wires:
                self.kit.drive(name, value)

    def _power(self, now):
        # A controller on the mains dies with it; one that a fault resets is without power for a moment.
        fed = self._powered(now)
        if fed != self.fed:
            self.fed = fed
            self.lost.append((now, "power returns" if fed else "power lost"))
            self.kit.power(fed)
            if fed:
                self.bands = Bands(self.site.settings)  # as the controller's own: they know nothing of the past

    def _powered(self, now):
        return self.pit.powered() and now >= self.dead_until_ms

    def _fault_reset(self):
        self.dead_until_ms = self.pit.now_ms + RESET_MS
