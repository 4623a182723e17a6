"""What a person asks of a board by command: over its port, or through a gateway that allows it."""

import json
import time
import urllib.error
import urllib.request
from pathlib import Path

from duplexsump.station import registers as r

from hil.remote.gateway.port import Port
from hil.remote.gateway.run import act
from host_sim.board.client import RefusedError, connect
from host_sim.errors import InputError

TIMEOUT_S = 10.0


def do(what, port, gateway, who, text, book):
    """Do "silence", "inspect" or "clock"; who and why are kept by the gateway, or in the file `book`.

    Raises InputError for neither or both of port and gateway, a refusal, or no answer.
    """
    if (port is None) == (gateway is None):
        raise InputError("say where: --port of the board, or --gateway with a gateway's page", what)
    if gateway is not None:
        _post(gateway, what, who, text)
        return
    holder = Port(port)
    try:
        act(holder, what, time.time())
    except RefusedError as error:
        raise InputError(f"refused: a gateway in between must be started with --allow {what}", port) from error
    finally:
        holder.close()
    _keep(book, {"at": round(time.time()), "what": what, "who": who, "text": text, "port": port})


def _keep(book, row):
    try:
        with Path(book).open("a", encoding="utf-8") as file:
            file.write(json.dumps(row) + "\n")
    except OSError as error:
        raise InputError(f"done on the board, but not written down: {error}", str(book)) from error


def _post(gateway, what, who, text):
    if not gateway.startswith(("http://", "https://")):
        raise InputError(f'"{gateway}": write http://host:port, as the gateway prints it', "--gateway")
    body = json.dumps({"who": who, "text": text}).encode()
    request = urllib.request.Request(f"{gateway.rstrip('/')}/{what}", body, {"X-Sumpbench": "1"})
    try:
        urllib.request.urlopen(request, timeout=TIMEOUT_S).close()
    except urllib.error.HTTPError as error:
        raise InputError(error.read(300).decode("utf-8", "replace").strip(), gateway) from error
    except (OSError, ValueError) as error:
        raise InputError(f"the gateway does not answer: {error}", gateway) from error


def get(gateway, name):
    """Return what a gateway's page serves as `name`.json.  Raises InputError."""
    try:
        with urllib.request.urlopen(f"{gateway.rstrip('/')}/{name}.json", timeout=TIMEOUT_S) as answer:
            return json.loads(answer.read(4_000_000))
    except (OSError, ValueError) as error:
        raise InputError(f"the gateway does not answer: {error}", gateway) from error


def show_clock(port):
    """Return the board's clock as a text.  Raises InputError."""
    if port is None:
        raise InputError("say where: --port of the board, or socket://host:port of a gateway", "clock")
    with connect(port) as client:
        high, low = client.words(r.CLOCK_AT, 2, 3)
    seconds = high << 16 | low
    if not seconds:
        return "the clock is not set: sumpbench clock --set"
    off = seconds - time.time()
    moment = time.strftime("%Y-%m-%d %H:%M", time.localtime(seconds))
    return f"{moment}, {abs(off):.0f} s {'ahead' if off > 0 else 'behind'}"
