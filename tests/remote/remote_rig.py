"""What the tests of gateway and watchman stand on: a broker that is killed and frozen, a board without a port."""

import contextlib
import shutil
import signal
import socket
import subprocess
import time
from pathlib import Path

import pytest
from duplexsump.control import alarm_table
from duplexsump.control import settings as s
from duplexsump.station import registers as r

from hil.remote import topics
from hil.remote.mosquitto import free_port
from host_sim.errors import InputError

MOSQUITTO = shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin:/usr/bin:/opt/homebrew/sbin")
needs_mosquitto = pytest.mark.skipif(MOSQUITTO is None, reason="no mosquitto: apt-get install mosquitto")
PATIENCE_S = 60.0  # only ends a hang


class Broker:
    """Debian's mosquitto on loopback.  `more`: lines of its configuration; `keep`: with persistence."""

    def __init__(self, folder, more="", keep=False, port=None, listener="", anonymous=True):
        self.port = port or free_port()
        self.file = Path(folder) / "mosquitto.conf"
        allowed = "true" if anonymous else "false"
        kept = f"persistence true\npersistence_location {folder}/\nautosave_interval 1\nautosave_on_changes true\n"
        kept = kept if keep else "persistence false\n"
        self.file.write_text(
            f"per_listener_settings false\nallow_anonymous {allowed}\nlog_type error\nuser root\n"
            f"max_queued_messages 0\nmax_inflight_messages 0\n{kept}{more}\n"
            f"listener {self.port} 127.0.0.1\n{listener}"
        )
        self.process = None

    def __enter__(self):
        self.start()
        return self

    def __exit__(self, *_):
        self.kill()

    @property
    def address(self):
        return f"mqtt://127.0.0.1:{self.port}"

    def start(self):
        self.process = subprocess.Popen([MOSQUITTO, "-c", str(self.file)], stderr=subprocess.DEVNULL)

        def up():
            with contextlib.suppress(OSError):
                socket.create_connection(("127.0.0.1", self.port), 1.0).close()
                return True
            assert self.process.poll() is None, "mosquitto ended"
            return False

        wait_for(up)

    def kill(self):
        if self.process is not None:
            self.freeze(False)
            self.process.kill()
            self.process.wait()
            self.process = None

    def freeze(self, on=True):
        self.process.send_signal(signal.SIGSTOP if on else signal.SIGCONT)


def wait_for(done, step=None):
    """Wait until `done()`; `step()` is called meanwhile.  A hang fails."""
    until = time.monotonic() + PATIENCE_S
    while not done():
        assert time.monotonic() < until, "nothing happened"
        if step is not None:
            step()
        time.sleep(0.02)


class FakeLink:
    """A `broker.Connection` without a broker: what is published is acknowledged at once while `connected`."""

    def __init__(self):
        self.connected, self.connects, self.mid = True, 1, 0
        self.sent, self.heard, self.done, self.refused = [], [], [], ""

    def publish(self, topic, payload, retain=False):
        self.mid += 1
        self.sent.append((topic, payload, retain))
        self.done.append(self.mid)
        return self.mid

    def published(self):
        done, self.done = self.done, []
        return done

    def messages(self):
        heard, self.heard = self.heard, []
        return heard

    def took(self, message):
        """Acknowledge nothing."""

    def bodies(self, pit, name):
        """Return what was published on a topic, as objects."""
        wanted = topics.topic(pit, name)
        return [topics.unpack(payload) for topic, payload, _ in self.sent if topic == wanted]


class FakeClient:
    """A board's client whose registers are plain fields; `silent` stands for a board that does not answer."""

    def __init__(self, settings=None):
        self.values_ = dict.fromkeys((row[0] for row in r.WORD_ROWS), 0)
        self.values_.update(signature=r.SIGNATURE, map_version=r.MAP_VERSION, battery=13200, inflow=8000, rate_1=120000,
                            rate_2=110000, journal_first=1, journal_last=1, uptime=5, clock=0)  # fmt: skip
        self.states_ = dict.fromkeys((row[0] for row in r.BIT_ROWS), 0)
        self.states_.update(mains=1, available=3, wet=1, believed=1, charging=1)
        self.alarm_states = [0] * alarm_table.COUNT
        self.settings_ = list(settings or s.defaults())
        self.silent = False
        self.written = []
        self.closed = 0

    def _answer(self):
        if self.silent:
            raise InputError("no answer in Modbus", "the board")

    def identify(self):
        self._answer()

    def words(self, at, count, function=4):
        self._answer()
        if at == r.ALARM_STATES_AT:
            return list(self.alarm_states)
        return [0] * count  # an empty journal

    def values(self):
        self._answer()
        return dict(self.values_)

    def states(self):
        self._answer()
        return dict(self.states_)

    def settings(self):
        self._answer()
        return list(self.settings_)

    def write_words(self, at, values):
        self._answer()
        self.written.append((at, list(values)))
        if at == r.CLOCK_AT:
            self.values_["clock"] = values[0] << 16 | values[1]

    def ask(self, pdu, tries=3):
        self._answer()
        self.written.append(bytes(pdu))
        return bytes(pdu[:5])

    def close(self):
        self.closed += 1


class Clock:
    """A clock that only moves when told."""

    def __init__(self, now=1_800_000_000.0):
        self.now = now

    def __call__(self):
        return self.now
