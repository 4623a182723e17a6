"""The gateway's own page and its doors for programs, on a local address.

GET / the page, /status.json what is published now, /daily.json the daily look, /alarms.json the alarms of a year.
POST /inspect, /silence, /clock where that was allowed; a browser's page of another origin cannot, for it may not send
the header X-Sumpbench, and a foreign host name is refused.
"""

import contextlib
import json
import time
from importlib import resources

from jinja2 import Environment

from hil.remote import words
from hil.remote.door import Door
from host_sim.errors import InputError

MOST_BODY = 4096
LOCAL = ("127.0.0.1", "localhost", "::1")
YEAR_S = 366 * 86400.0


class Page(Door):
    """`Page("127.0.0.1:8502", pit, gateway, allowed, act)`; `act(what, who, text)` does what was allowed.

    Raises InputError where it cannot listen.
    """

    def __init__(self, address, pit, gateway, allowed, act, units="us"):
        self.pit, self.gateway, self.allowed, self.act, self.units = pit, gateway, frozenset(allowed), act, units
        source = resources.files("hil.remote.gateway").joinpath("page.html").read_text(encoding="utf-8")
        self.template = Environment(autoescape=True).from_string(source)
        super().__init__(address, "127.0.0.1:8502", "page", self.get, self.post)

    def get(self, request):
        """Answer a GET."""
        gateway, now = self.gateway, self.gateway.clock()
        if request.path == "/":
            _send(request, 200, self.html(now).encode(), "text/html; charset=utf-8")
        elif request.path == "/status.json":
            _json(request, {name: {"at": at, **fields} for name, (at, fields) in list(gateway.states.items())})
        elif request.path == "/daily.json" and gateway.look is not None:
            _json(request, gateway.look(gateway, now))
        elif request.path == "/alarms.json":
            names = ("began", "name", "priority", "ended", "acknowledged")
            rows = gateway.book.alarms(now - YEAR_S, now + 1)
            _json(request, [dict(zip(names, row, strict=True)) for row in rows])
        else:
            _send(request, 404, b"no such page\n")

    def post(self, request):
        """Answer a POST."""
        what = request.path.lstrip("/")
        host = (request.headers.get("Host") or "").rpartition(":")[0].strip("[]")
        if request.headers.get("X-Sumpbench") != "1" or (self.address[0] in LOCAL and host not in LOCAL):
            _send(request, 403, b"refused: not from a command of sumpbench\n")
            return
        if what not in self.allowed:
            _send(request, 403, f"refused: this gateway was not started with --allow {what[:20]}\n".encode())
            return
        try:
            size = int(request.headers.get("Content-Length") or 0)
            if not 0 <= size <= MOST_BODY:
                raise ValueError("too long")
            body = json.loads(request.rfile.read(size) or b"{}")
            who, text = str(body.get("who", "")), str(body.get("text", ""))
        except (ValueError, AttributeError):
            _send(request, 400, b"refused: the body must be a JSON object\n")
            return
        try:
            self.act(what, who, text)
        except InputError as error:
            _send(request, 502, f"{error}\n".encode())
            return
        _send(request, 200, b"done\n")

    def html(self, now):
        """Return the page as it is at `now`."""
        states = {name: fields for name, (_at, fields) in list(self.gateway.states.items())}
        alarms = states.get("alarms", {"alarms": []})["alarms"]
        shown = [
            {**alarm, "state": alarm["state"].replace("_", ", "), "since": words.moment(alarm["since"])}
            for alarm in alarms
        ]
        well, headline = words.headline(states)
        silent = not self.gateway.up and self.gateway.reading is not None
        stale = f" when last read, {words.moment(self.gateway.reading.at)}" if silent else ""
        return self.template.render(
            pit=self.pit,
            when=words.moment(now),
            well=well,
            headline=headline,
            alarms=shown,
            rows=words.rows(states, self.units),
            stale=stale,
        )


def _json(request, body):
    _send(request, 200, json.dumps(body, indent=1).encode(), "application/json")


def _send(request, code, body, kind="text/plain; charset=utf-8"):
    with contextlib.suppress(OSError):
        request.send_response(code)
        request.send_header("Content-Type", kind)
        request.send_header("Content-Length", str(len(body)))
        request.send_header("Cache-Control", "no-store")
        request.end_headers()
        request.wfile.write(body)


def now_s():
    """Return the time in s since 1970-01-01."""
    return time.time()
