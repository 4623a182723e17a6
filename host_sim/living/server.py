"""The served engine: the page and its WebSocket on one port of this machine; each page has a pit of its own."""

import asyncio
import json
import time
from importlib import resources

from host_sim.errors import InputError
from host_sim.living.engine import Engine

FRAME_S = 0.05
LOOPBACK = ("127.0.0.1", "::1", "localhost")
LARGEST = 300_000  # bytes of one message
TYPES = {"html": "text/html", "js": "text/javascript", "css": "text/css", "txt": "text/plain"}
POLICY = "default-src 'self'; style-src 'self' 'unsafe-inline'; connect-src 'self'; img-src 'self' data:"


def serve(data, folder, source, host, port, told, own=False):
    """Serve until interrupted.  `told(url)` is called once the port is open.

    Raises InputError where the library is missing or the port cannot be had.
    """
    try:
        import tornado.web
    except ImportError as error:
        raise InputError('the served page needs one more package: pip install ".[live]"', "live") from error
    asyncio.run(_serve(tornado, data, folder, source, host, port, told, own))


async def _serve(tornado, data, folder, source, host, port, told, own):
    app = application(lambda: Engine(data, folder, source, own))
    try:
        server = app.listen(port, address=host)
    except OSError as error:
        raise InputError(f"port {port} at {host} cannot be opened: {error.strerror}; choose another", "live") from error
    told(f"http://{host}:{port_of(server)}/")
    await asyncio.Event().wait()


def port_of(server):
    """Return the port at which a tornado HTTPServer listens."""
    return next(iter(server._sockets.values())).getsockname()[1]


def application(engine):
    """Return the tornado Application; `engine()` makes the Engine of one page."""
    from tornado import web, websocket

    class Page(web.RequestHandler):
        def get(self, name):
            name = name or "index.html"
            kind = TYPES.get(name.rsplit(".", 1)[-1])
            path = resources.files("host_sim.living") / "web" / name
            if "/" in name or kind is None or not path.is_file():
                raise web.HTTPError(404)
            self.set_header("Content-Type", f"{kind}; charset=utf-8")
            self.set_header("Content-Security-Policy", POLICY)
            self.set_header("X-Content-Type-Options", "nosniff")
            self.finish(path.read_bytes())

    class Pit(websocket.WebSocketHandler):
        def check_origin(self, origin):
            # Only this server's own page may speak to it: another site open in the same browser may not.
            return origin.split("://", 1)[-1] == self.request.host

        async def open(self):
            self.engine, self.task = engine(), None
            await self.write_message(json.dumps(self.engine.hello()))
            self.task = asyncio.create_task(self.go_on())

        async def go_on(self):
            last = time.monotonic()
            while True:
                now = time.monotonic()
                message = self.engine.look((now - last) * 1000.0)
                last = now
                try:
                    # A page that does not read is waited for: its pit stands still, and no memory grows.
                    await self.write_message(json.dumps(message))
                except websocket.WebSocketClosedError:
                    return
                await asyncio.sleep(FRAME_S)

        def on_message(self, text):
            try:
                message = json.loads(text)
            except ValueError:
                message = None
            for answer in self.engine.hear(message):
                self.write_message(json.dumps(answer))

        def on_close(self):
            if self.task is not None:
                self.task.cancel()

    return web.Application([(r"/pit", Pit), (r"/(.*)", Page)], websocket_max_message_size=LARGEST)
