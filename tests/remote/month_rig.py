"""A month of an invented house, simulated: pit, real controller, gateway, watchman, and who was told what, when.

The controller is the firmware's; its registers come from its own table.  Readings, passes and messages go by the
simulation's clock: a pass every PASS_S while nothing is new, every second around what is.
"""

import time
from types import SimpleNamespace

from duplexsump.station import registers as r
from remote_rig import FakeLink

from hil.remote.daily.look import daily_look
from hil.remote.floor import Estimator
from hil.remote.gateway.book import Book
from hil.remote.gateway.gateway import Gateway
from hil.remote.gateway.outbox import Outbox
from hil.remote.gateway.port import Port
from hil.remote.gateway.publisher import Publisher
from hil.remote.watchman import config as settings
from hil.remote.watchman.delivery import Delivery
from hil.remote.watchman.watchman import Watchman
from host_sim.errors import InputError
from host_sim.run.closed_loop import Night
from host_sim.run.controllers import Duplex

PASS_S = 90.0
BEGAN = 1_798_700_400.0  # 2026-12-31 07:00 UTC


class SimulatedClient:
    """The client of a simulated board: what its registers would answer, by the register table itself."""

    def __init__(self, night):
        self.night = night
        self.dead = False

    def _station(self):
        if self.dead or not self.night.control.powered:
            raise InputError("no answer in Modbus", "the board")
        control = self.night.control
        journal = SimpleNamespace(first=1, number=1, size=0, records=0, flushes=0)
        return SimpleNamespace(
            controller=control.controller, inputs=control.inputs, raw=self.night.raw, bands=control.bands,
            board=SimpleNamespace(RESET_CAUSE=0), store=SimpleNamespace(slot=0, sequence=1),
            recorder=SimpleNamespace(failing=False, faults=0, journal=journal), staging=lambda: 0, bad_frames=lambda: 0,
            heap_free=0,
            checksum=1, mode=0, passes=0, longest_pass_ms=0, overruns=0, wall_now_s=lambda: 0,
        )  # fmt: skip

    def identify(self):
        self._station()

    def values(self):
        station = self._station()
        return {name: getter(station) for name, _unit, _width, _text, getter in r.WORD_ROWS}

    def states(self):
        station = self._station()
        return {name: int(getter(station)) for name, _width, _text, getter in r.BIT_ROWS}

    def words(self, at, count, function=4):
        station = self._station()
        return list(station.controller.alarms.state) if at == r.ALARM_STATES_AT else [0] * count

    def settings(self):
        return list(self.night.control.settings)

    def close(self):
        """Keep everything."""


class NoJournal:
    """The simulated board has no journal to fetch."""

    def once(self, *_):
        """Fetch nothing."""


class House:
    """One month; `told` holds (hour, who, title) after `run()`.

    `at_hours` is {hour: function of this house}: what happens to the gateway and the board.
    """

    def __init__(self, folder, site, people, at_hours=()):
        self.night = Night(site, site.seed, Duplex(site), list(site.faults))
        self.now_s = 0.0
        self.client = SimulatedClient(self.night)
        self.down = False  # the gateway
        self.events = sorted(dict(at_hours).items())
        clock = lambda: BEGAN + self.now_s  # noqa: E731
        book, self.outbox = Book(folder / "book"), Outbox(folder / "outbox")
        book.base.execute("pragma synchronous=off")
        self.outbox.base.execute("pragma synchronous=off")
        port = Port("p", opener=lambda: self.client)
        self.gateway = Gateway(port, book, self.outbox, Estimator(site, book), NoJournal(), clock, daily_look, False)
        self.link, self.heard = FakeLink(), FakeLink()
        self.publisher = Publisher(self.link, "home", self.outbox, clock())
        config = settings.read({"pits": ["home"], "tell": list(people)})
        self.delivery = Delivery(folder / "watchman", config.people, None, clock)
        self.delivery.base.execute("pragma synchronous=off")
        self.watchman = Watchman(config, self.heard, self.delivery, clock, time.gmtime)
        self.bodies = self.last = 0

    def run(self, hours):
        """Run for so long."""
        now, seen, due = 0, None, 0.0
        while self.now_s < hours * 3600.0:
            following = self.night.instant(now)
            control = self.night.control
            alarm_states = control.controller.alarms.state if control.controller else ()
            state = control.powered, tuple(control.out), tuple(alarm_states)
            if state != seen:
                seen, due = state, max(self.now_s + 0.1, now / 1000.0)
            # Between two instants nothing changes at the pit; the passes go on.
            while due < following / 1000.0:
                if self.events and now / 1000.0 <= self.events[0][0] * 3600.0 < due:
                    due = self.events[0][0] * 3600.0
                fresh = due < now / 1000.0 + 1.0
                self.now_s = due
                self._pass()
                due += 1.0 if fresh else PASS_S
            now = following

    def _pass(self):
        while self.events and self.events[0][0] * 3600.0 <= self.now_s:
            self.events.pop(0)[1](self)
        if not self.down:
            self.gateway.once()
            self.publisher.pump(self.gateway.states, self.gateway.clock())
        self.bodies += len(self.link.sent)
        self.heard.heard = [SimpleNamespace(topic=topic, payload=payload) for topic, payload, _ in self.link.sent]
        self.link.sent = []
        self.watchman.once()

    def table(self):
        """Return [(hours since the start, who, title)] of every message."""
        return [((row[0] - BEGAN) / 3600.0, row[1], row[3]) for row in self.delivery.told()]


def lines(table):
    """Return the table of who was told what as texts."""
    found = []
    for hour, who, title in table:
        day, rest = divmod(hour + 7.0, 24.0)
        found.append(f"day {int(day) + 1:2}  {int(rest):02}:{int(rest % 1 * 60):02}  {who:9}  {title}")
    return found
