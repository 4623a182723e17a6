"""The engine for a page that carries its own Python: texts in, texts out, as over a WebSocket."""

import json

from host_sim.living import share
from host_sim.living.engine import Engine

_running = []


def begin(name="demo"):
    """Begin a session at a packaged site; return the first message as JSON."""
    _running[:] = [Engine(share.of_packaged(name, False))]
    return json.dumps(_running[0].hello())


def hear(text):
    """Carry out one message given as JSON; return the list of answers as JSON."""
    return json.dumps(_running[0].hear(json.loads(text)))


def look(real_ms):
    """Go on by real time; return the message with what is so now as JSON."""
    return json.dumps(_running[0].look(real_ms))
