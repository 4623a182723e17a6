"""Puts the watchman together and runs it: one pass a second, until it is told to stop."""

import signal
import threading
import time
from pathlib import Path

from hil.remote import broker, credentials, topics
from hil.remote.database import open_database
from hil.remote.watchman import config as settings
from hil.remote.watchman.delivery import SCHEMA, Delivery, check_urls
from hil.remote.watchman.watch import HEARD
from hil.remote.watchman.watchman import Watchman
from host_sim.errors import InputError

PASS_S = 0.5
FILE = "watchman.sqlite"


def run(config_path, address, store, ca=None, name="watchman", seconds=None, say=print):
    """Run a watchman until SIGINT or SIGTERM, or for `seconds`.  Raises InputError for what cannot be used."""
    config = settings.load(config_path)
    check_urls(config.people)
    where = broker.parse(address)
    heard = [topics.topic(pit, name) for pit in config.pits for name in HEARD]
    link = broker.Connection(where, f"sumpbench-{name}", credentials.password(), None, heard, session=True, ca=ca)
    delivery = Delivery(Path(store) / FILE, config.people)
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    watchman = Watchman(config, link, delivery)
    link.start()
    delivery.start()
    say(f"watching {', '.join(config.pits)} on {where}; telling {', '.join(p.who for p in config.people)}")
    until = None if seconds is None else time.monotonic() + seconds
    try:
        while not stop.wait(PASS_S) and (until is None or time.monotonic() < until):
            watchman.once()
    finally:
        link.close()
        delivery.close()


def acknowledge(store, pit, who):
    """Leave word for the watchman of `store` that `who` has taken charge of `pit`.  Raises InputError."""
    path = Path(store) / FILE
    if not path.exists():
        raise InputError("no watchman has run with this folder", str(store))
    base = open_database(path, SCHEMA)
    try:
        with base:
            base.execute("insert into acknowledged values(?, ?, ?)", (topics.check_pit(pit), who[:80], time.time()))
    finally:
        base.close()


def told(store):
    """Return the rows of `Delivery.told` of a watchman's folder.  Raises InputError."""
    path = Path(store) / FILE
    if not path.exists():
        raise InputError("no watchman has run with this folder", str(store))
    delivery = Delivery(path, ())
    try:
        return delivery.told()
    finally:
        delivery.close()
