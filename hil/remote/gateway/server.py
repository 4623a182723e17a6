"""Serves the controller to others over a local socket: Modbus ASCII as `sumpbench watch` speaks it, or Modbus TCP.

The first byte of a connection tells which: ":" begins an ASCII frame.  At most MOST_CLIENTS at once, each in a thread
of its own; one that sends nonsense, or nothing for IDLE_S, is dropped.
"""

import contextlib
import socket
import threading

from duplexsump.station.framing import lrc

from hil.remote.gateway.gatekeeper import Desk
from host_sim.errors import InputError

MOST_CLIENTS = 16
IDLE_S = 300.0
LONGEST = 600  # of a frame in ASCII; of Modbus TCP 260
GATEWAY_SILENT = 11  # Modbus exception: the device behind the gateway does not answer


def listen(address):
    """Return a listening socket on "host:port" (port 0: any).  Raises InputError."""
    host, _, port = address.rpartition(":")
    try:
        return socket.create_server((host.strip("[]") or "127.0.0.1", int(port)))
    except (OSError, ValueError, OverflowError) as error:
        raise InputError(f"cannot listen there: {error}; write host:port, as in 127.0.0.1:7502", address) from error


class Server:
    """`Server(listening socket, make_desk)`, then `start()`; `make_desk()` returns the `Desk` of a new client."""

    def __init__(self, listening, port, allowed=(), did=None):
        self.listening, self.port, self.allowed, self.did = listening, port, allowed, did
        self.address = listening.getsockname()
        self.clients = set()
        self.lock = threading.Lock()
        self.closing = False

    def start(self):
        """Serve in the background."""
        threading.Thread(target=self._accept, name="modbus server", daemon=True).start()

    def close(self):
        """Stop serving and drop every client."""
        self.closing = True
        with contextlib.suppress(OSError):
            self.listening.shutdown(socket.SHUT_RDWR)
        self.listening.close()
        with self.lock:
            for client in self.clients:
                with contextlib.suppress(OSError):
                    client.shutdown(socket.SHUT_RDWR)

    def _accept(self):
        while not self.closing:
            try:
                client, _ = self.listening.accept()
            except OSError:
                return
            with self.lock:
                if len(self.clients) >= MOST_CLIENTS:
                    client.close()
                    continue
                self.clients.add(client)
            threading.Thread(target=self._serve, args=(client,), name="modbus client", daemon=True).start()

    def _serve(self, client):
        desk = Desk(self.port, self.allowed, self.did)
        try:
            with client, contextlib.suppress(OSError, ValueError):
                client.settimeout(IDLE_S)
                data = client.recv(1024)
                work = _ascii if data[:1] == b":" else _tcp
                while data:
                    data = work(client, data, desk)
                    more = client.recv(1024)
                    data = data + more if more else b""
        finally:
            with self.lock:
                self.clients.discard(client)


def _answer(desk, pdu):
    try:
        return desk.answer(pdu)
    except InputError:
        return None


def _ascii(client, data, desk):
    # Answers every whole frame in `data`; returns the rest.  A silent controller is silence, as on its own port.
    while b"\r\n" in data:
        frame, _, data = data.partition(b"\r\n")
        try:
            raw = bytes.fromhex(frame.rpartition(b":")[2].decode("ascii"))
        except ValueError:
            continue
        if len(raw) < 3 or lrc(raw, 0, len(raw)):
            continue
        answer = _answer(desk, raw[1:-1])
        if answer is not None:
            reply = raw[:1] + answer
            client.sendall(b":" + (reply + bytes([lrc(reply, 0, len(reply))])).hex().upper().encode() + b"\r\n")
    if len(data) > LONGEST:
        raise ValueError("no frame")
    return data


def _tcp(client, data, desk):
    while len(data) >= 8:
        length = data[4] << 8 | data[5]
        if data[2:4] != b"\0\0" or not 2 < length <= 254:
            raise ValueError("no Modbus TCP")
        if len(data) < 6 + length:
            break
        pdu = data[7 : 6 + length]
        answer = _answer(desk, pdu) or bytes([pdu[0] | 0x80, GATEWAY_SILENT])
        client.sendall(data[:4] + (len(answer) + 1).to_bytes(2, "big") + data[6:7] + answer)
        data = data[6 + length :]
    return data
