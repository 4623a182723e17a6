"""A living pit for a test, served or as plain files, and a browser before it."""

import asyncio
import contextlib
import functools
import http.server
import json
import threading
from pathlib import Path

from host_sim.living import server, share, static
from host_sim.living.engine import Engine
from host_sim.site.load import packaged
from tests.chromium import BOXES, Browser, overlaps

DEMO = packaged("demo")
LAST_RESORT_S = 600.0  # ends a test that hangs; no claim rests on it


def engine(own=False):
    """Return an Engine at the demo's pit."""
    return Engine(share.of_packaged("demo", own))


NPM = Path(__file__).resolve().parents[2] / ".npm"


@contextlib.asynccontextmanager
async def serving(make=engine, given=NPM):
    """Serve pages on a free port of this machine, the demo's pit if nothing else is named; gives the port."""
    served = server.application(make, given).listen(0, address="127.0.0.1")
    try:
        yield server.port_of(served)
    finally:
        served.stop()


class Served:
    """Served pages in a thread of its own; `with Served() as url:`."""

    def __init__(self, make=engine, given=NPM):
        self.make, self.given = make, given

    def __enter__(self):
        ready = threading.Event()
        self.thread = threading.Thread(target=lambda: asyncio.run(self._run(ready)), daemon=True)
        self.thread.start()
        assert ready.wait(LAST_RESORT_S)
        return self.url

    async def _run(self, ready):
        self.loop, self.stop = asyncio.get_running_loop(), asyncio.Event()
        async with serving(self.make, self.given) as port:
            self.url = f"http://127.0.0.1:{port}/"
            ready.set()
            await self.stop.wait()

    def __exit__(self, *left):
        self.loop.call_soon_threadsafe(self.stop.set)
        self.thread.join(LAST_RESORT_S)


class Quiet(http.server.SimpleHTTPRequestHandler):
    """Python's own server of files, without a word on every file."""

    def log_message(self, *words):
        pass


def built(folder, given=NPM):
    """Return the folder, with the page of plain files in it."""
    static.build(folder, given)
    return folder


class Files:
    """A folder served by Python's own server of files; `with Files(folder) as url:`."""

    def __init__(self, folder):
        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(folder)))

    def __enter__(self):
        threading.Thread(target=self.server.serve_forever, daemon=True).start()
        return f"http://127.0.0.1:{self.server.server_address[1]}/"

    def __exit__(self, *left):
        self.server.shutdown()
        self.server.server_close()


class Window(Browser):
    """A browser's window at an address."""

    def go(self, url, width_px=1280):
        """Open an address in a window of a width."""
        self.width_of(width_px)
        self._call("Page.navigate", url=url)
        while self._hear().get("method") != "Page.loadEventFired":
            pass

    def begin(self, url, width_px=1280):
        """Open an address anew, whatever was open before, and wait until its pit lives; `home` is kept."""
        self.home = url.split("#")[0]
        self.go("about:blank", width_px)
        self.go(url, width_px)
        self.until("performance.getEntriesByName('live').length"
                   " && /[0-9]/.test(document.querySelector('#clock').value)")  # fmt: skip

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


IN = "document.getElementById({!r})"
TEXT = IN + ".textContent"


def click(window, name):
    """Click what has this id."""
    window.value(f"{IN.format(name)}.click()")


def speed(window, times):
    """Click the button of a speed."""
    window.value(f"document.querySelector('[data-speed=\"{times}\"]').click()")


def choose(window, name, value):
    """Give a control another value, as a person does."""
    window.value(f"(() => {{ const one = {IN.format(name)}; one.value = {value!r}; "
                 "one.dispatchEvent(new Event('change')); })()")  # fmt: skip


def break_it(window, fault):
    """Choose a fault and break it."""
    choose(window, "faults", fault)
    click(window, "break")


def until(window, name, words):
    """Wait until a part of the page has these words."""
    window.until(f"{TEXT.format(name)}.includes({words!r})")


def crowded(window, width_px):
    """Return the texts that lie on each other at a width; waits until nothing leaves the page sideways."""
    # What is scrolled out of a box is not in the way; so the boxes are opened.
    window.value("document.querySelectorAll('#lines, .wide').forEach(one => { one.style.maxHeight = 'none'; })")
    window.width_of(width_px)
    window.until(f"document.documentElement.scrollWidth <= {width_px}")
    found = [tuple(box) for box in json.loads(window.value(BOXES)) if not box[0].startswith("drawing")]
    assert len(found) > 40
    return overlaps(found)
