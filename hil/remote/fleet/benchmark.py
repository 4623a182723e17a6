"""How many statuses a second one collector stores, through a real broker, and how long the ranking takes.

One sender stands for all gateways; sender, broker and collector share the machine.
"""

import tempfile
import threading
import time
from pathlib import Path

from hil.remote import broker, topics
from hil.remote.fleet.collector import HEARD, Collector
from hil.remote.fleet.store import Store
from hil.remote.mosquitto import free_port, start_broker

ROUNDS = 5
RANKINGS = 50


def status(at, pit, n):
    """Return the status record of invented pit number `pit`, as its gateway would publish it."""
    rows = [{"state": "idle", "last_fault": "none", "starts": n, "run_s": 40 * n, "rate_ml_min": 120000 + pit,
             "wear_percent": pit % 20}] * 2  # fmt: skip
    return topics.pack(
        at, id=f"box{pit}", n=n, kind="status", up=1, alarms=["pump_1_unavailable"] if pit % 50 == 0 else [],
        state={"wet": ["off"], "suspect": [], "pumps_on": [], "available": [1, 2], "pumps_called": 0, "blind": 0,
               "mains": 1, "selectors": ["AUTO", "AUTO"]}, pumps={"pumps": rows, "inflow_ml_min": 500 + 40 * pit},
        battery={"mv": 13200, "band": "good", "charging": 1, "loaded_mv": 11800, "loaded_at": at},
        floor={"at_least_min": pit % 400, "why": "", "inflow_ml_min": 500 + 40 * pit, "measured_at": at},
    )  # fmt: skip


def run(pits=2000, where=None, say=print):
    """Send and store ROUNDS statuses of each pit; print what it took.  Raises InputError without a broker."""
    with tempfile.TemporaryDirectory(prefix="sumpbench-fleet-") as folder:
        port = free_port()
        server = start_broker(folder, port, "max_queued_messages 0\nmax_inflight_messages 0\n")
        try:
            _measure(pits, where or Path(folder) / "fleet.sqlite", f"mqtt://127.0.0.1:{port}", say)
        finally:
            server.kill()
            server.wait()


def _measure(pits, where, address, say):
    target = broker.parse(address)
    store = Store(where)
    heard = [f"{topics.ROOT}/+/{name}" for name in HEARD]
    link = broker.Connection(target, "collector", subscribe=heard, session=True, manual=True)
    gateways = broker.Connection(target, "gateways")
    gateways.client.max_inflight_messages_set(2000)
    for connection in (link, gateways):
        connection.start()
    while not (link.connected and gateways.connected):
        time.sleep(0.05)
    collector = Collector(link, store)
    total = pits * ROUNDS
    began, busy = time.perf_counter(), time.process_time()
    sender = threading.Thread(target=_send, args=(gateways, pits), daemon=True)
    sender.start()
    while collector.stored < total:
        if not collector.once():
            time.sleep(0.01)
    took, busy = time.perf_counter() - began, time.process_time() - busy
    times = []
    for _ in range(RANKINGS):
        at = time.perf_counter()
        store.ranking(time.time())
        times.append(1000.0 * (time.perf_counter() - at))
    rate, needed = total / took, pits / 60.0
    kind = "PostgreSQL" if store.postgres else "SQLite"
    say(f"{total} statuses of {pits} pits through mosquitto into {kind}: "
        f"{took:.1f} s, {busy:.1f} s of processor time (sender and collector)")  # fmt: skip
    say(f"{rate:.0f} statuses a second; one a minute from each pit needs {needed:.0f}: {rate / needed:.0f} times that")
    say(f"ranking of {pits} pits: median {sorted(times)[RANKINGS // 2]:.1f} ms, longest {max(times):.1f} ms")
    if not store.postgres:
        store.base.execute("pragma wal_checkpoint(truncate)")
        size = sum(path.stat().st_size for path in Path(where).parent.glob(Path(where).name + "*"))
        say(f"{size / total:.0f} bytes a status on disk, index included")
    for connection in (link, gateways):
        connection.close()
    store.close()


def _send(gateways, pits):
    sent = 0
    for n in range(1, ROUNDS + 1):
        for pit in range(pits):
            gateways.publish(topics.topic(f"pit-{pit}", "log"), status(time.time(), pit, n))
            sent += 1
            while sent - gateways.done.qsize() > 4000:
                time.sleep(0.005)
