"""Puts the gateway together and runs it: one pass a second, until it is told to stop."""

import signal
import sqlite3
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

from duplexsump.station import registers as r

from hil.remote import broker, credentials, topics
from hil.remote.daily.look import daily_look
from hil.remote.floor import Estimator
from hil.remote.gateway import gatekeeper, server
from hil.remote.gateway.book import Book
from hil.remote.gateway.gateway import Gateway
from hil.remote.gateway.journal_keeper import JournalKeeper
from hil.remote.gateway.outbox import Outbox
from hil.remote.gateway.page import Page
from hil.remote.gateway.port import Port
from hil.remote.gateway.publisher import Publisher
from host_sim.errors import InputError

PASS_S = 1.0


@dataclass
class Options:
    """What the command line gives."""

    port: str
    pit: str
    store: Path
    site: object = None  # a `host_sim.site.plan.Site`, None: no time to floor
    broker: str | None = None
    ca: Path | None = None
    serve: str | None = None
    page: str | None = None
    allowed: tuple = ()
    receipts: tuple = ()
    framing: str = "ascii"
    unit: int = 1
    units: str = "us"
    set_clock: bool = True
    describe: bool = False
    say: object = field(default=print)


class Running:
    """One gateway with all its parts.  `close()` ends it; raises InputError for what cannot be used."""

    def __init__(self, options, clock=time.time, opener=None):
        self.clock, self.options = clock, options
        self.done = []  # (what, who, text), put in by other threads
        topics.check_pit(options.pit)
        wrong = [name for name in options.allowed if name not in gatekeeper.ALLOWABLE]
        if wrong:
            raise InputError(f'"{wrong[0]}": must be one of {", ".join(gatekeeper.ALLOWABLE)}', "--allow")
        self.port = Port(options.port, options.framing, options.unit, opener)
        self.book = Book(options.store / "book.sqlite")
        self.outbox = Outbox(options.store / "outbox.sqlite", readers=options.receipts)
        self.gateway = Gateway(self.port, self.book, self.outbox, Estimator(options.site, self.book), JournalKeeper(),
                               clock, daily_look, options.set_clock)  # fmt: skip
        if options.describe:
            self.gateway.put("describe", clock(), **topics.described())
        self.connection = self._connect()
        self.publisher = Publisher(self.connection, options.pit, self.outbox, clock())
        self.server = self.page = None
        if options.serve:
            self.server = server.Server(server.listen(options.serve), self.port, options.allowed, self.did)
            self.server.start()
        if options.page:
            self.page = Page(options.page, options.pit, self.gateway, options.allowed, self.act, options.units)
            self.page.start()
        if self.connection is not None:
            self.connection.start()

    def _connect(self):
        options = self.options
        if not options.broker:
            return None
        address = broker.parse(options.broker)
        password = credentials.password()
        if address.user and not password:
            variables = f"{credentials.VARIABLE} or {credentials.FILE_VARIABLE}"
            raise InputError(f"no password for {address.user}: set {variables}", "--broker")  # fmt: skip
        will = topics.topic(options.pit, "gateway"), topics.pack(0.0, up=0, since=self.clock())
        heard = [topics.topic(options.pit, f"receipt/{reader}") for reader in options.receipts]
        return broker.Connection(address, f"sumpbench-{options.pit}", password, will, heard, ca=options.ca)

    def did(self, what):
        """Note what a client that is served has done."""
        self.done.append((what, "over the link", ""))

    def act(self, what, who, text):
        """Do what a person asked for over the page's door, and keep it.  Raises InputError."""
        act(self.port, what, self.clock())
        self.done.append((what, who, text))

    def once(self):
        """Make one pass.  A disk that is full or fails costs what would have been kept, not the telling."""
        for work in (self._pass, lambda: self.publisher.pump(self.gateway.states, self.clock())):
            try:
                work()
            except sqlite3.Error as error:
                self.gateway.error = f"nothing can be kept: {error}"

    def _pass(self):
        self.gateway.once()
        while self.done:
            what, who, text = self.done.pop(0)
            now = self.clock()
            self.book.note(now, what, who, text)
            self.outbox.put(now, "event", name=what, who=who[:80], text=text[:200])

    def close(self):
        """End: say so on the broker, free the port."""
        if self.server is not None:
            self.server.close()
        if self.page is not None:
            self.page.close()
        if self.connection is not None:
            if self.connection.connected:
                name = topics.topic(self.options.pit, "gateway")
                self.connection.publish(name, topics.pack(self.clock(), up=0, since=self.clock()), True)
                time.sleep(0.2)
            self.connection.close()
        self.port.close()
        self.outbox.close()
        self.book.close()


def act(port, what, now):
    """Silence, record an inspection, or set the clock, over a `Port`.  Raises InputError."""
    if what == "clock":
        port.use(lambda client: client.write_words(r.CLOCK_AT, [int(now) >> 16, int(now) & 0xFFFF]))
    else:
        coil = gatekeeper.SILENCE_COIL if what == "silence" else gatekeeper.INSPECTED_COIL
        port.use(lambda client: client.ask(bytes([15, 0, coil, 0, 1, 1, 1])))


def run(options, seconds=None):
    """Run a gateway until SIGINT or SIGTERM, or for `seconds`."""
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    running = Running(options)
    try:
        say = options.say
        say(f"pit {options.pit}: port {options.port}, store {options.store}")
        if running.server is not None:
            host, port = running.server.address[:2]
            say(f"served on socket://{host}:{port}: sumpbench watch --port socket://{host}:{port}")
        if running.page is not None:
            say("page on http://{}:{}".format(*running.page.address[:2]))
        if running.connection is not None:
            say(f"broker {running.connection.address}")
        until = None if seconds is None else time.monotonic() + seconds
        due = time.monotonic()
        told = None
        while not stop.is_set() and (until is None or time.monotonic() < until):
            running.once()
            link = running.connection
            state = (running.gateway.up, link is None or link.connected, "" if link is None else link.refused)
            if state != told:
                told = state
                say(_state(state, running.gateway.error))
            due = max(due + PASS_S, time.monotonic())
            stop.wait(due - time.monotonic())
    finally:
        running.close()


def _state(state, error):
    up, connected, refused = state
    first = {
        True: "the controller answers",
        False: f"the controller is silent: {error}",
        None: "waiting for the controller",
    }
    second = "broker connected" if connected else f"broker not connected{': ' + refused if refused else ''}"
    return f"{first[up]}; {second}"
