"""The served page: who may speak to it, who may not, and many at once; another client than the page's own."""

import asyncio
import json
import socket

import pytest

pytest.importorskip("tornado", reason="tornado is not installed")

from tornado.httpclient import AsyncHTTPClient, HTTPClientError, HTTPRequest
from tornado.websocket import websocket_connect

from host_sim.living import npm, server
from tests.living.pages import LAST_RESORT_S, engine, serving


def run(work, make=engine):
    """Run `work(port)` against a served pit."""

    async def all_of_it():
        async with serving(make) as port:
            await asyncio.wait_for(work(port), LAST_RESORT_S)

    asyncio.run(all_of_it())


async def states(line, wanted):
    """Return so many messages of a line that have a state."""
    found = []
    while len(found) < wanted:
        message = json.loads(await line.read_message())
        if "state" in message:
            found.append(message)
    return found


def test_the_page_and_its_parts_are_served_and_nothing_else():
    async def work(port):
        client = AsyncHTTPClient()
        for name in ("", "page.js", "pit.js", "charts.js", "units.js", "page.css", "uplot.js"):
            answer = await client.fetch(f"http://127.0.0.1:{port}/{name}")
            assert answer.code == 200 and "default-src 'self'" in answer.headers["Content-Security-Policy"]
        for name in ("../server.py", "..%2fserver.py", "server.py", "%2e%2e/session.py", "nothing.js"):
            with pytest.raises(HTTPClientError, match="404"):
                await client.fetch(f"http://127.0.0.1:{port}/{name}")

    run(work)


def test_only_its_own_page_may_speak_to_it():
    async def work(port):
        url = f"ws://127.0.0.1:{port}/pit"
        with pytest.raises(HTTPClientError, match="403"):
            await websocket_connect(HTTPRequest(url, headers={"Origin": "http://elsewhere.example"}))
        line = await websocket_connect(HTTPRequest(url, headers={"Origin": f"http://127.0.0.1:{port}"}))
        assert "about" in json.loads(await line.read_message())

    run(work)


def test_a_name_that_was_made_to_point_here_may_not_speak_to_it():
    async def work(port):
        url = f"ws://127.0.0.1:{port}/pit"
        for name in ("elsewhere.example", f"elsewhere.example:{port}", "127.0.0.1.elsewhere.example"):
            with pytest.raises(HTTPClientError, match="403"):
                await websocket_connect(HTTPRequest(url, headers={"Origin": f"http://{name}", "Host": name}))

    run(work)


def test_one_that_asks_for_much_and_never_reads_is_heard_no_further():
    asked, heard = 20_000, []

    def counted():
        pit = engine()
        hear = pit.hear

        def count(message):
            heard.append(1)
            return hear(message)

        pit.hear = count
        return pit

    async def work(port):
        line = socket.socket()
        line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        line.connect(("127.0.0.1", port))
        line.setblocking(False)
        _reader, mute = await asyncio.open_connection(sock=line, limit=4096)
        mute.write(handshake(port))
        text = b'{"save":true}'
        mute.write((bytes([0x81, 0x80 | len(text)]) + b"\0\0\0\0" + text) * asked)  # a mask of nothing
        good = await websocket_connect(f"ws://127.0.0.1:{port}/pit")
        before = -1
        while len(heard) != before or not before:
            before = len(heard)
            await states(good, 10)
        assert 0 < len(heard) < asked
        mute.close()

    run(work, counted)


def handshake(port):
    """Return what a browser sends to open a WebSocket."""
    return (f"GET /pit HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n"
            "Sec-WebSocket-Version: 13\r\n\r\n").encode()  # fmt: skip


def test_micropython_for_the_proof_is_served_and_nothing_else_of_its_folder(tmp_path, monkeypatch):
    folder = tmp_path / "node_modules" / npm.MICROPYTHON
    folder.mkdir(parents=True)
    for name in ("micropython.mjs", "micropython.wasm", "package.json"):
        (folder / name).write_bytes(b"there")
    for name, kind in (("micropython.mjs", "text/javascript"), ("micropython.wasm", "application/wasm")):
        body, told = server.content(f"micropython/{name}", tmp_path)
        assert body == b"there" and told.startswith(kind)
    for name in ("package.json", "../package.json", "../../../secret.json"):
        assert server.content(f"micropython/{name}", tmp_path) is None
    assert server.content("micropython/micropython.wasm", tmp_path / "nowhere") is None


def test_fifty_pages_have_a_pit_each_and_one_that_never_reads_holds_nobody_up():
    async def work(port):
        url = f"ws://127.0.0.1:{port}/pit"
        _reader, mute = await asyncio.open_connection("127.0.0.1", port)
        mute.write(handshake(port))
        lines = [await websocket_connect(url) for _ in range(50)]
        for n, line in enumerate(lines):
            line.write_message(json.dumps({"do": "inflow", "value": f"{n + 1} gpm"}))
        for n, line in enumerate(lines):
            while abs((await states(line, 1))[0]["state"]["pair"]["inflow_m3s"] * 15850.323 - (n + 1)) > 0.01:
                pass
        mute.close()

    run(work)


def test_what_is_no_message_is_answered_and_too_much_of_it_ends_that_page_alone():
    async def work(port):
        url = f"ws://127.0.0.1:{port}/pit"
        good, bad = await websocket_connect(url), await websocket_connect(url)
        bad.write_message("{{{")
        while "error" not in json.loads(await bad.read_message()):
            pass
        bad.write_message("x" * 10_000_000)
        while await bad.read_message() is not None:
            pass
        assert len(await states(good, 3)) == 3

    run(work)
