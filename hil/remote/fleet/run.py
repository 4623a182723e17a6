"""The collector with its page, until it is told to stop."""

import signal
import threading
import time

from hil.remote import broker, credentials, topics
from hil.remote.fleet.collector import HEARD, READER, Collector
from hil.remote.fleet.page import FleetPage
from hil.remote.fleet.store import Store

DAY_S = 86400.0


def collect(address, where, page=None, ca=None, keep_days=70.0, units="us", seconds=None, say=print):
    """Collect until SIGINT or SIGTERM, or for `seconds`.  Raises InputError for what cannot be used."""
    target = broker.parse(address)
    store = Store(where)
    heard = [f"{topics.ROOT}/+/{name}" for name in HEARD]
    link = broker.Connection(target, f"sumpbench-{READER}", credentials.password(), None, heard, True, ca, manual=True)
    served = FleetPage(page, lambda: Store(where), units) if page else None
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    collector = Collector(link, store)
    link.start()
    if served is not None:
        served.start()
        say("page on http://{}:{}".format(*served.address[:2]))
    say(f"collecting from {target} into {where.rpartition('@')[2]}")
    until = None if seconds is None else time.monotonic() + seconds
    purged = 0.0
    try:
        while not stop.is_set() and (until is None or time.monotonic() < until):
            if collector.once() < 500:
                stop.wait(0.5)
            if time.time() - purged > DAY_S:
                purged = time.time()
                store.purge(purged - keep_days * DAY_S)
    finally:
        link.close()
        if served is not None:
            served.close()
        store.close()
