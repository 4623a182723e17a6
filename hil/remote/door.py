"""A page's door: an HTTP server of its own thread on a local address."""

import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from host_sim.errors import InputError


class Door:
    """Answers GET by `get(request)` and, where there is one, POST by `post(request)`; `name` is the thread's.

    `example` is an address to show.  Raises InputError where it cannot listen.
    """

    def __init__(self, address, example, name, get, post=None):
        host, _, port = address.rpartition(":")

        class Handler(BaseHTTPRequestHandler):
            timeout = 10

            def do_GET(self):
                get(self)

            def log_message(self, *_):
                """Keep quiet."""

        if post is not None:
            Handler.do_POST = lambda self: post(self)
        try:
            self.server = ThreadingHTTPServer((host or "127.0.0.1", int(port)), Handler)
        except (OSError, ValueError, OverflowError) as error:
            raise InputError(f"cannot listen there: {error}; write host:port, as in {example}", address) from error
        self.server.daemon_threads = True
        self.address = self.server.server_address
        self.name = name

    def start(self):
        """Serve in the background."""
        threading.Thread(target=self.server.serve_forever, args=(0.2,), name=self.name, daemon=True).start()

    def close(self):
        """Stop serving."""
        self.server.shutdown()
        self.server.server_close()
