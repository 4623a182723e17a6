"""The collector with its page, until it is told to stop."""

import signal
import threading
import time

from hil.remote import broker, credentials, topics
from hil.remote.fleet.collector import HEARD, READER, Collector
from hil.remote.fleet.page import FleetPage
from hil.remote.fleet.store import Store
from host_sim.errors import InputError

DAY_S = 86400.0
AGAIN_S = 5.0


def collect(address, where, page=None, ca=None, keep_days=35.0, units="us", seconds=None, say=print):
    """Collect until SIGINT or SIGTERM, or for `seconds`.  Raises InputError for what cannot be used."""
    target, password = broker.parse(address), credentials.password()
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    until = None if seconds is None else time.monotonic() + seconds
    store = Store(where)
    served = FleetPage(page, lambda: Store(where), units) if page else None
    if served is not None:
        served.start()
        say("page on http://{}:{}".format(*served.address[:2]))
    say(f"collecting from {target} into {where.rpartition('@')[2]}")
    try:
        while not stop.is_set() and (until is None or time.monotonic() < until):
            try:
                store = store or Store(where)
                _session(target, password, ca, store, keep_days, stop, until)
            except InputError as error:
                # The database went away: what was not acknowledged comes again with the next session.
                say(str(error))
                if store is not None:
                    store.close()
                store = None
                stop.wait(AGAIN_S)
    finally:
        if served is not None:
            served.close()
        if store is not None:
            store.close()


def _session(target, password, ca, store, keep_days, stop, until):
    # One connection to the broker and one to the database, until told to stop or one of them fails for good.
    heard = [f"{topics.ROOT}/+/{name}" for name in HEARD]
    link = broker.Connection(target, f"sumpbench-{READER}", password, None, heard, True, ca, manual=True)
    collector = Collector(link, store)
    link.start()
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
