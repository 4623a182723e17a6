"""A served living pit for a test, and a browser before it."""

import asyncio
import contextlib
import json
import threading
import tomllib

from host_sim.living import server
from host_sim.living.engine import Engine
from host_sim.site.load import packaged
from tests.chromium import Browser

DEMO = packaged("demo")
LAST_RESORT_S = 600.0  # ends a test that hangs; no claim rests on it


def engine(own=False):
    """Return an Engine at the demo's pit."""
    return Engine(tomllib.loads(DEMO.read_text(encoding="utf-8")), DEMO.parent, str(DEMO), own)


@contextlib.asynccontextmanager
async def serving():
    """Serve the demo's pit on a free port of this machine; gives the port."""
    served = server.application(engine).listen(0, address="127.0.0.1")
    try:
        yield server.port_of(served)
    finally:
        served.stop()


class Served:
    """The served pit in a thread of its own; `with Served() as url:`."""

    def __enter__(self):
        ready = threading.Event()
        self.thread = threading.Thread(target=lambda: asyncio.run(self._run(ready)), daemon=True)
        self.thread.start()
        assert ready.wait(LAST_RESORT_S)
        return self.url

    async def _run(self, ready):
        self.loop, self.stop = asyncio.get_running_loop(), asyncio.Event()
        async with serving() as port:
            self.url = f"http://127.0.0.1:{port}/"
            ready.set()
            await self.stop.wait()

    def __exit__(self, *left):
        self.loop.call_soon_threadsafe(self.stop.set)
        self.thread.join(LAST_RESORT_S)


class Window(Browser):
    """A browser's window at an address."""

    def go(self, url, width_px=1280):
        """Open an address in a window of a width."""
        self.width_of(width_px)
        self._call("Page.navigate", url=url)
        while self._hear().get("method") != "Page.loadEventFired":
            pass

    def width_of(self, width_px):
        """Give the window another width."""
        self._call("Emulation.setDeviceMetricsOverride", width=width_px, height=900, deviceScaleFactor=1, mobile=False)

    def value(self, script):
        """Return what a script gives, as JSON carries it; a promise is waited for."""
        answer = self._call("Runtime.evaluate", expression=f"(async () => JSON.stringify(await ({script})))()",
                            awaitPromise=True, returnByValue=True)  # fmt: skip
        assert "exceptionDetails" not in answer, answer
        text = answer["result"].get("value")
        return None if text is None else json.loads(text)

    def until(self, script):
        """Wait until a script gives something true, and return it."""
        steps = round(LAST_RESORT_S * 10)
        found = self.value(f"""(async () => {{ for (let i = 0; i < {steps}; i++) {{ const got = ({script});
            if (got) return got instanceof Node || got;
            await new Promise(go => setTimeout(go, 100)); }} return null; }})()""")
        assert found, f"never so: {script}; the page says {self.value('document.body.innerText')[:2000]}"
        return found
