"""A real broker, hurt in every way: nothing lost, nothing doubled, nobody waits; TLS, passwords, topics by user."""

import os
import random
import shutil
import socket
import subprocess
import threading
import time

import pytest
from remote_rig import MOSQUITTO, Broker, Clock, FakeClient, needs_mosquitto, wait_for

from hil.remote import broker, topics
from hil.remote.fleet.collector import HEARD, Collector
from hil.remote.fleet.store import Store
from hil.remote.floor import Estimator
from hil.remote.gateway.book import Book
from hil.remote.gateway.gateway import Gateway
from hil.remote.gateway.journal_keeper import JournalKeeper
from hil.remote.gateway.outbox import Outbox
from hil.remote.gateway.port import Port
from hil.remote.gateway.publisher import Publisher
from hil.remote.mosquitto import free_port

pytestmark = needs_mosquitto
SEED = 19


def connection(address, name, password="", **more):
    """Return a started Connection that notices a dead broker soon."""
    link = broker.Connection(broker.parse(address), name, password, keepalive_s=2, **more)
    link.client.reconnect_delay_set(1, 1)
    link.start()
    return link


class Sender:
    """An outbox and its publisher, restarted from disk by `kill()`, with readers whose receipts it awaits."""

    def __init__(self, path, address, readers=()):
        self.path, self.address, self.readers = path, address, readers
        self.start()

    def start(self):
        heard = [topics.topic("home", f"receipt/{reader}") for reader in self.readers]
        will = topics.topic("home", "gateway"), topics.pack(0.0, up=0, since=0)
        self.outbox = Outbox(self.path, 10**6, 10**9, self.readers)  # no bound: what is tested is loss, not room
        self.link = connection(self.address, "sumpbench-home", will=will, subscribe=heard)
        self.publisher = Publisher(self.link, "home", self.outbox, 0.0)

    def pump(self):
        self.publisher.pump({}, time.time())

    def kill(self):
        """End as a killed process does: nothing is told to the broker, nothing more is written."""
        self.link.close(quietly=True)
        self.outbox.base.close()


class Reader:
    """A collector on its own store."""

    def __init__(self, path, address):
        self.store = Store(path)
        heard = [f"{topics.ROOT}/+/{name}" for name in HEARD]
        self.link = connection(address, "sumpbench-fleet", subscribe=heard, session=True, manual=True)
        self.collector = Collector(self.link, self.store)

    def numbers(self):
        rows = self.store.base.execute("select n from status union all select n from record").fetchall()
        return sorted(n for (n,) in rows)

    def close(self):
        self.link.close()
        self.store.close()


def deliver(tmp_path, count, batch, hurt, keep):
    """Send `count` records while `hurt(n, bench)` does its worst; return the numbers that arrived, and the reader."""
    with Broker(tmp_path, keep=keep) as bench:
        reader = Reader(tmp_path / "fleet.sqlite", bench.address)
        sender = Sender(tmp_path / "outbox.sqlite", bench.address, ("fleet",))
        wait_for(lambda: reader.link.connected)
        try:
            for n in range(0, count, batch):
                kind = "alarm" if n % (7 * batch) == 0 else "status"
                sender.outbox.put_all([(float(n + i), kind, {"i": n + i}) for i in range(batch)])
                sender.pump()
                reader.collector.once()
                sender = hurt(n // batch, bench, sender) or sender

            def step():
                sender.pump()
                reader.collector.once()

            wait_for(lambda: sender.outbox.count == 0, step)
            return reader.numbers(), reader.collector.refused
        finally:
            sender.kill()
            reader.close()


def _short(monkeypatch):
    monkeypatch.setattr("hil.remote.gateway.outbox.RESEND_S", 3.0)


@pytest.mark.long
@pytest.mark.parametrize("keep", [False, True], ids=["broker forgets", "broker keeps"])
def test_kills_of_gateway_and_broker_lose_and_double_nothing(tmp_path, monkeypatch, keep):
    _short(monkeypatch)
    lot = random.Random(SEED)

    def hurt(n, bench, sender):
        if n in (5, 15):
            bench.kill()
            bench.start()
        elif n in (10, 20):
            sender.kill()
            return Sender(sender.path, sender.address, sender.readers)
        time.sleep(lot.uniform(0.0, 0.02))
        return None

    numbers, refused = deliver(tmp_path, 600, 20, hurt, keep)
    assert numbers == list(range(1, 601)) and not refused


@pytest.mark.long
def test_100000_records_across_50_kills(tmp_path, monkeypatch):
    _short(monkeypatch)
    monkeypatch.setattr("remote_rig.PATIENCE_S", 600.0)
    lot, kills = random.Random(SEED), [0, 0]

    def hurt(n, bench, sender):
        if n % 2 == 0:
            return None
        kills[n // 2 % 2] += 1
        if n // 2 % 2:
            bench.kill()
            bench.start()
            return None
        until = time.monotonic() + lot.uniform(0.05, 0.6)
        while time.monotonic() < until:
            sender.pump()
            time.sleep(0.01)
        sender.kill()
        return Sender(sender.path, sender.address, sender.readers)

    numbers, refused = deliver(tmp_path, 100_000, 1000, hurt, keep=False)
    assert sum(kills) == 50 and min(kills) == 25
    assert numbers == list(range(1, 100_001)) and not refused


def _gateway(tmp_path, address, clock):
    client = FakeClient()
    book, outbox = Book(tmp_path / "book"), Outbox(tmp_path / "outbox")
    gateway = Gateway(Port("p", opener=lambda: client), book, outbox, Estimator(None), JournalKeeper(), clock)
    link = connection(address, "sumpbench-home") if address else None
    return gateway, Publisher(link, "home", outbox, clock()), client, link


class BlackHole:
    """Takes connections and never answers, as a broker behind a dead router."""

    def __enter__(self):
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.port = self.listening.getsockname()[1]
        self.taken = []
        threading.Thread(target=self._take, daemon=True).start()
        return self

    def _take(self):
        while True:
            try:
                self.taken.append(self.listening.accept())
            except OSError:
                return

    def __exit__(self, *_):
        self.listening.close()
        for taken, _address in self.taken:
            taken.close()


def _work_s(gateway, publisher, clock, passes=200):
    # Processor time of some passes, and the longest wait in one, which is what a broker could hold up.
    longest = 0.0
    for _ in range(passes):
        clock.now += 1.0
        began, busy = time.monotonic(), time.thread_time()
        gateway.once()
        publisher.pump(gateway.states, clock())
        longest = max(longest, (time.monotonic() - began) - (time.thread_time() - busy))
    return longest


@pytest.mark.parametrize("how", ["healthy", "absent", "frozen", "black-holed"])
def test_no_broker_holds_up_the_reading_of_the_board(tmp_path, how):
    clock = Clock()
    with Broker(tmp_path) as bench, BlackHole() as hole:
        address = {"absent": f"mqtt://127.0.0.1:{free_port()}", "black-holed": f"mqtt://127.0.0.1:{hole.port}"}
        gateway, publisher, _client, link = _gateway(tmp_path, address.get(how, bench.address), clock)
        if how in ("healthy", "frozen"):
            wait_for(lambda: link.connected)
        if how == "frozen":
            bench.freeze()
        # A client that waits for its broker waits for 4 s and more; the limit only parts that from a busy machine.
        assert _work_s(gateway, publisher, clock) < 3.0
        assert gateway.up is True
        bench.freeze(False)
        link.close(quietly=True)


def test_a_reader_sees_retained_states_and_the_last_will(tmp_path):
    with Broker(tmp_path) as bench:
        clock = Clock()
        gateway, publisher, _client, link = _gateway(tmp_path, bench.address, clock)
        early = connection(bench.address, "early", subscribe=["sumpbench/#"])
        wait_for(lambda: link.connected and early.connected)
        gateway.once()
        publisher.pump(gateway.states, clock())
        told, seen = {}, {}

        def look(reader, found):
            for message in reader.messages():
                found[message.topic] = (message.retain, topics.unpack(message.payload))

        def both(found):
            return "sumpbench/home/alarms" in found and "sumpbench/home/gateway" in found

        wait_for(lambda: both(told), lambda: look(early, told))
        early.close()
        # Whoever comes when all has been said gets what the broker kept.
        late = connection(bench.address, "late", subscribe=["sumpbench/#"])
        wait_for(lambda: both(seen), lambda: look(late, seen))
        assert all(retain for retain, _ in seen.values()) and seen["sumpbench/home/gateway"][1]["up"] == 1
        link.close(quietly=True)
        late.close()
        sender = Sender(tmp_path / "o2", bench.address)
        watcher = connection(bench.address, "watcher", subscribe=["sumpbench/home/gateway"])
        wait_for(lambda: sender.link.connected and watcher.connected)
        sender.kill()
        got = []
        wait_for(lambda: any(body["up"] == 0 for body in got),
                 lambda: got.extend(topics.unpack(m.payload) for m in watcher.messages()))  # fmt: skip
        watcher.close()


def _certificates(folder):
    make = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost",
            "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1", "-keyout", f"{folder}/key.pem", "-out",
            f"{folder}/cert.pem"]  # fmt: skip
    subprocess.run(make, check=True, capture_output=True)


@pytest.mark.skipif(shutil.which("openssl") is None, reason="no openssl")
def test_with_tls_and_a_user_for_each_pit_no_forged_topic_reaches_anybody(tmp_path):
    _certificates(tmp_path)
    users = {"home": "one", "away": "two", "watchman": "three"}
    passwords = tmp_path / "passwords"
    passwords.write_text("".join(f"{user}:{word}\n" for user, word in users.items()))
    tool = shutil.which("mosquitto_passwd", path=os.path.dirname(MOSQUITTO) + ":/usr/bin")
    subprocess.run([tool, "-U", str(passwords)], check=True, capture_output=True)
    rules = tmp_path / "rules"
    rules.write_text("pattern write sumpbench/%u/#\npattern read sumpbench/%u/receipt/#\n"
                     "user watchman\ntopic read sumpbench/#\n")  # fmt: skip
    more = f"password_file {passwords}\nacl_file {rules}\n"
    keys = f"certfile {tmp_path}/cert.pem\nkeyfile {tmp_path}/key.pem\n"
    with Broker(tmp_path, more, listener=keys, anonymous=False) as bench:
        ca = tmp_path / "cert.pem"

        def join(user, password, host="localhost", **options):
            return connection(f"mqtts://{user}@{host}:{bench.port}", f"c-{user}-{password}", password, ca=ca, **options)

        watchman = join("watchman", "three", subscribe=["sumpbench/#"])
        home, away = join("home", "one"), join("away", "two", subscribe=["sumpbench/home/#"])
        wrong = join("home", "guess")
        wait_for(lambda: all(link.connected for link in (watchman, home, away)) and wrong.refused)
        assert not wrong.connected
        away.publish("sumpbench/home/alarms", topics.pack(1.0, alarms=[]), True)  # forged
        watchman.publish("sumpbench/home/alarms", topics.pack(1.0, alarms=[]), True)  # only reads
        home.publish("sumpbench/home/board", topics.pack(2.0, up=1, since=0), True)
        heard = []
        wait_for(lambda: any(m.topic.endswith("board") for m in heard), lambda: heard.extend(watchman.messages()))
        assert [m.topic for m in heard] == ["sumpbench/home/board"]
        assert not away.messages()  # nor does one pit hear another
        for link in (watchman, home, away, wrong):
            link.close()


def test_a_broker_with_a_wrong_certificate_is_not_believed(tmp_path):
    if shutil.which("openssl") is None:
        pytest.skip("no openssl")
    _certificates(tmp_path)
    other = tmp_path / "other"
    other.mkdir()
    _certificates(other)
    keys = f"certfile {tmp_path}/cert.pem\nkeyfile {tmp_path}/key.pem\n"
    with Broker(tmp_path, listener=keys) as bench:
        good = connection(f"mqtts://127.0.0.1:{bench.port}", "good", ca=tmp_path / "cert.pem")
        bad = connection(f"mqtts://127.0.0.1:{bench.port}", "bad", ca=other / "cert.pem")
        wait_for(lambda: good.connected)
        assert not bad.connected
        good.close()
        bad.close()


def test_a_flood_of_nonsense_fills_nothing(tmp_path, monkeypatch):
    monkeypatch.setattr("hil.remote.broker.MOST_WAITING", 50)
    with Broker(tmp_path) as bench:
        sender = Sender(tmp_path / "o", bench.address, ("fleet",))
        flood = connection(bench.address, "flood")
        wait_for(lambda: sender.link.connected and flood.connected)
        sender.outbox.put(1.0, "alarm", name="high_water")
        lot = random.Random(SEED)
        for _ in range(500):
            flood.publish("sumpbench/home/receipt/fleet", lot.randbytes(lot.randrange(200)))
        wait_for(lambda: sender.link.dropped > 0 or sender.link.heard.qsize() >= 50)
        sender.pump()
        assert sender.outbox.count == 1  # the alarm waits for a real receipt
        sender.kill()
        flood.close()
