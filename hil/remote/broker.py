"""The connection to an MQTT broker: never waits, comes back by itself, hands what it hears to one queue.

paho's own thread does all that can block (name look-up, connecting, TLS); the caller only puts messages in and takes
events out, so a frozen or black-holed broker holds up nothing else.
"""

import contextlib
import queue
import ssl
from dataclasses import dataclass
from urllib.parse import urlsplit

from host_sim.errors import InputError

KEEPALIVE_S = 15  # a broker that has hung is noticed within 1.5 times this
MOST_WAITING = 10000  # messages heard and not yet taken; more are dropped, and counted
IN_FLIGHT = 50


@dataclass(frozen=True)
class Address:
    """Where a broker is: host, port, user, whether with TLS."""

    host: str
    port: int
    tls: bool
    user: str = ""

    def __str__(self):
        return f"{'mqtts' if self.tls else 'mqtt'}://{self.host}:{self.port}"


def parse(text):
    """Return the Address in `mqtt(s)://[user@]host[:port]`.  Raises InputError; a password there is refused."""
    try:
        parts = urlsplit(text)
        port = parts.port
    except ValueError as error:
        raise InputError(f"{error}: write mqtts://host or mqtts://user@host:8883", "--broker") from error
    if parts.scheme not in ("mqtt", "mqtts") or not parts.hostname:
        raise InputError("write mqtts://user@host:8883, or mqtt://host:1883 on your own machine", "--broker")
    if parts.password is not None:
        raise InputError(
            "no password on the command line, where every user of the machine can read it: set SUMPBENCH_MQTT_PASSWORD "
            "or SUMPBENCH_MQTT_PASSWORD_FILE to a file that only you can read",
            "--broker",
        )
    if parts.path not in ("", "/") or parts.query or parts.fragment:
        raise InputError("nothing may follow the port", "--broker")
    tls = parts.scheme == "mqtts"
    return Address(parts.hostname, port or (8883 if tls else 1883), tls, parts.username or "")


class Connection:
    """`connection.start()`, then `publish`, `events()`; `close()` at the end.

    `will` is (topic, payload) that the broker publishes, retained, when it loses us.  `subscribe` is a list of topics.
    `session`: keep a session on the broker under the client's name, so that it holds messages while we are away.
    `manual`: messages are acknowledged by `took(message)` only, after they have been stored.  Raises InputError
    where the MQTT library is missing or the certificate file cannot be used.
    """

    def __init__(self, address, name, password="", will=None, subscribe=(), session=False, ca=None, manual=False,
                 keepalive_s=KEEPALIVE_S):  # fmt: skip
        try:
            import paho.mqtt.client as paho
        except ImportError as error:
            raise InputError('paho-mqtt is missing: python -m pip install "sumpbench[remote]"', "MQTT") from error
        self.address, self.keepalive_s, self.subscribe = address, keepalive_s, list(subscribe)
        self.heard = queue.Queue(MOST_WAITING)
        self.done = queue.SimpleQueue()  # mids that the broker has acknowledged
        self.connected = False
        self.connects = 0
        self.dropped = 0
        self.refused = ""
        client = self.client = paho.Client(
            paho.CallbackAPIVersion.VERSION2, name, clean_session=not session, manual_ack=manual
        )
        client.max_inflight_messages_set(IN_FLIGHT)
        client.reconnect_delay_set(1, 30)
        client.connect_timeout = 5.0
        if address.user:
            client.username_pw_set(address.user, password)
        if address.tls:
            self._set_tls(ca)
        if will is not None:
            client.will_set(will[0], will[1], 1, True)
        client.on_connect, client.on_disconnect = self._on_connect, self._on_disconnect
        client.on_message, client.on_publish = self._on_message, self._on_publish

    def _set_tls(self, ca):
        try:
            context = ssl.create_default_context(cafile=ca)
        except (OSError, ssl.SSLError) as error:
            raise InputError(f"this certificate file cannot be used: {error}", str(ca)) from error
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        self.client.tls_set_context(context)

    def start(self):
        """Begin to connect, and to connect again for ever, in the background."""
        self.client.connect_async(self.address.host, self.address.port, self.keepalive_s)
        self.client.loop_start()

    def publish(self, topic, payload, retain=False):
        """Hand one message over; return its mid.  Only while `connected`: nothing is queued for later here."""
        return self.client.publish(topic, payload, 1, retain).mid

    def messages(self):
        """Return what was heard since the last call, a list of paho messages."""
        return _taken(self.heard)

    def published(self):
        """Return the mids of what the broker has acknowledged since the last call."""
        return _taken(self.done)

    def took(self, message):
        """Acknowledge a message, for a connection with `manual`."""
        self.client.ack(message.mid, message.qos)

    def close(self, quietly=False):
        """Disconnect.  `quietly`: without a word to the broker, so that it publishes the will."""
        if not quietly:
            self.client.disconnect()
        else:
            with contextlib.suppress(OSError, AttributeError):
                self.client.socket().close()
        self.client.loop_stop()
        self.connected = False

    # In paho's thread.

    def _on_connect(self, client, _data, _flags, reason, _properties):
        if reason.is_failure:
            self.refused = str(reason)
            return
        self.refused = ""
        if self.subscribe:
            client.subscribe([(topic, 1) for topic in self.subscribe])
        self.connects += 1
        self.connected = True

    def _on_disconnect(self, _client, _data, _flags, _reason, _properties):
        self.connected = False

    def _on_message(self, _client, _data, message):
        try:
            self.heard.put_nowait(message)
        except queue.Full:
            self.dropped += 1

    def _on_publish(self, _client, _data, mid, _reason, _properties):
        self.done.put(mid)


def _taken(source):
    found = []
    with contextlib.suppress(queue.Empty):
        while True:
            found.append(source.get_nowait())
    return found
