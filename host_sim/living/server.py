"""The served engine: the page and its WebSocket on one port of this machine; each page has a pit of its own."""

import asyncio
import contextlib
import json
import time
from pathlib import Path

from host_sim.errors import InputError
from host_sim.living import files, npm

FRAME_S = 0.05
LOOPBACK = ("127.0.0.1", "::1", "localhost")
LARGEST = 300_000  # bytes of one message
TYPES = {
    "html": "text/html; charset=utf-8", "js": "text/javascript; charset=utf-8", "mjs": "text/javascript; charset=utf-8",
    "css": "text/css; charset=utf-8", "txt": "text/plain; charset=utf-8", "py": "text/plain; charset=utf-8",
    "json": "application/json", "wasm": "application/wasm",
}  # fmt: skip
POLICY = ("default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self' 'unsafe-inline'; "
          "connect-src 'self'; img-src 'self' data:; frame-ancestors 'none'")  # fmt: skip
SHADOW = "micropython/"


def serve(engine, host, port, told, given=None):
    """Serve until interrupted.  `engine()` makes the engine of one page; `told(url)` is called once the port is open.

    `given` is a folder into which npm has installed MicroPython for the proof
    in the page.  Raises InputError where the library is missing or the port
    cannot be had.
    """
    try:
        import tornado.web  # noqa: F401 - only whether it is there
    except ImportError as error:
        raise InputError('the served page needs one more package: pip install ".[live]"', "live") from error
    asyncio.run(_serve(application(engine, given, host in LOOPBACK), host, port, told))


async def _serve(app, host, port, told):
    try:
        server = app.listen(port, address=host)
    except OSError as error:
        raise InputError(f"port {port} at {host} cannot be opened: {error.strerror}; choose another", "live") from error
    told(f"http://{host}:{port_of(server)}/")
    await asyncio.Event().wait()


def port_of(server):
    """Return the port at which a tornado HTTPServer listens."""
    return next(iter(server._sockets.values())).getsockname()[1]


def content(name, given=None):
    """Return (bytes, type) of one file of the page, or None where there is none of that name."""
    kind = TYPES.get(name.rsplit(".", 1)[-1])
    if kind is None:
        return None
    if name.startswith(SHADOW):
        folder, inside = npm.find(npm.MICROPYTHON, given), name.removeprefix(SHADOW)
        path = Path(folder or ".") / inside
        found = folder is not None and inside in ("micropython.mjs", "micropython.wasm") and path.is_file()
        return (path.read_bytes(), kind) if found else None
    body = files.content(name)
    return None if body is None else (body, kind)


def _hostname(host):
    return host.rsplit(":", 1)[0].strip("[]") if not host.endswith("]") else host.strip("[]")


def application(engine, given=None, only_here=True):
    """Return the tornado Application; `engine()` makes the engine of one page, `given` is a folder of npm's.

    `only_here`: the page must have been asked for by a name of this machine itself.
    """
    from tornado import web, websocket

    class Page(web.RequestHandler):
        def get(self, name):
            found = content(name or "index.html", given)
            if found is None:
                raise web.HTTPError(404)
            self.set_header("Content-Type", found[1])
            self.set_header("Content-Security-Policy", POLICY)
            self.set_header("X-Content-Type-Options", "nosniff")
            self.finish(found[0])

    class Pit(websocket.WebSocketHandler):
        def check_origin(self, origin):
            # Only this server's own page may speak to it: another site open in the same browser may not.
            return origin.split("://", 1)[-1] == self.request.host

        def prepare(self):
            # Nor may one whose name has been made to point at this machine.
            if only_here and _hostname(self.request.host) not in LOOPBACK:
                raise web.HTTPError(403)

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

        async def on_message(self, text):
            # Its next message is read once the answers to this one are on their way: who never reads sends no more.
            try:
                message = json.loads(text)
            except (ValueError, RecursionError):
                message = None
            with contextlib.suppress(websocket.WebSocketClosedError):
                for answer in self.engine.hear(message):
                    await self.write_message(json.dumps(answer))

        def on_close(self):
            if self.task is not None:
                self.task.cancel()

    return web.Application([(r"/pit", Pit), (r"/(.*)", Page)], websocket_max_message_size=LARGEST)
