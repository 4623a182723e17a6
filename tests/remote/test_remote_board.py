"""The gateway on the real firmware: a virtual board that hangs, loses its power, reboots; others served through it."""

import contextlib
import json
import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from dataclasses import replace

import pytest
from remote_rig import wait_for

from hil.remote import demo, person
from hil.remote.gateway.run import Options, Running
from host_sim.board import history, readback
from host_sim.board.client import Client, RefusedError
from host_sim.board.virtual import VirtualBoard
from host_sim.errors import InputError
from host_sim.site.load import load_site, packaged

# One board for all, in this order: what one leaves behind the next one finds.
pytestmark = [pytest.mark.skipif(os.name != "posix", reason="no pty on this system"), pytest.mark.long]


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A board with the demo's settings, and a gateway that makes its passes in the background."""
    folder = tmp_path_factory.mktemp("board")
    site = replace(load_site(packaged("demo")), faults=[], actions=[])
    with VirtualBoard(site, folder / "flash.img", 1) as board:
        demo.put_settings(board, site)
        options = Options(board.port, "home", folder / "gateway", site, serve="127.0.0.1:0", page="127.0.0.1:0",
                          allowed=("silence", "inspect"))  # fmt: skip
        running, stop = Running(options), threading.Event()

        def work():
            while not stop.wait(0.3):
                running.once()

        thread = threading.Thread(target=work)
        thread.start()
        wait_for(lambda: running.gateway.up is True)
        yield board, running
        stop.set()
        thread.join()
        running.close()


def port_of(running):
    host, port = running.server.address[:2]
    return f"socket://{host}:{port}"


def test_a_hung_board_and_a_power_cut_are_noticed_and_so_is_the_return(bench):
    board, running = bench
    os.kill(board.process.pid, signal.SIGSTOP)
    try:
        wait_for(lambda: running.gateway.up is False)
    finally:
        os.kill(board.process.pid, signal.SIGCONT)
    wait_for(lambda: running.gateway.up is True)
    lives = board.lives
    board.power_cut()
    wait_for(lambda: running.gateway.up is False)
    board.power_on()
    wait_for(lambda: running.gateway.up is True and board.lives > lives)
    names = [(row["name"], row["event"]) for row in _log(running) if row["kind"] == "alarm" and "event" in row]
    assert names.count(("board_silent", "raised")) == names.count(("board_silent", "cleared")) == 2


def _log(running):
    with running.port.lock:
        rows = running.outbox.base.execute("select kind, body from waiting order by n").fetchall()
    return [{"kind": kind, **json.loads(body)} for kind, body in rows]


def test_resets_in_mid_message_lose_nothing_but_time(bench):
    board, running = bench
    for _ in range(3):
        lives = board.lives
        with board.lock:
            board._reset(2)  # whatever is on the line is cut off where it is
        wait_for(lambda lives=lives: board.lives > lives and running.gateway.up is True)
    at = running.gateway.heard_at
    wait_for(lambda: running.gateway.heard_at > at + 1.0)
    assert running.gateway.settings == list(running.options.site.settings)


def test_watch_and_a_journal_through_the_gateway_are_the_boards(bench):
    _board, running = bench
    wait_for(lambda: running.gateway.up is True)
    with Client(port_of(running)) as client:
        client.identify()
        assert client.settings() == list(running.options.site.settings)
        values = client.values()
        number = values["journal_first"]
        through = client.segment(number)
    direct = running.port.use(lambda own: own.segment(number))
    assert through == direct and readback.read_segment(through).number == number
    command = [sys.executable, "-m", "hil", "watch", "--once", "--port", port_of(running)]
    said = subprocess.run(command, capture_output=True, text=True, check=False, timeout=200)
    assert said.returncode == 0 and "pumps called" in said.stdout and "inspection" in said.stdout


def test_another_maker_of_modbus_reads_it_too(bench):
    tcp = pytest.importorskip("pymodbus.client", reason="pymodbus is not installed").ModbusTcpClient
    _board, running = bench
    host, port = running.server.address[:2]
    client = tcp(host, port=port, timeout=5)
    assert client.connect()
    found = client.read_input_registers(0, count=2)
    assert found.registers[0] == 0x5342
    refused = client.write_coil(1, True)
    assert refused.isError()
    client.close()


def _cut(board, running):
    """Cut the board's power and wait until the gateway has read its next life."""
    lives = board.lives
    board.power_cut()
    wait_for(lambda: running.gateway.up is False)
    board.power_on()
    wait_for(lambda: running.gateway.up is True and board.lives > lives)


def test_closed_segments_are_kept_and_a_persons_acts_recorded(bench):
    board, running = bench
    _cut(board, running)
    first = running.gateway.reading.values["journal_first"]
    last = running.gateway.reading.values["journal_last"]
    assert last > first, "a power cut closes a segment"
    wait_for(lambda: set(range(first, last)) <= set(running.book.segment_sizes("1")) - {_open(running)})
    for number, body in running.book.segments("1"):
        if number < last:
            assert running.port.use(lambda own, number=number: own.segment(number)) == body
    whole = dict(_whole(running))
    assert whole and all(segment.number == number for number, segment in whole.items())
    page = "http://{}:{}".format(*running.page.address[:2])
    person.do("inspect", None, page, "Pat", "cleaned the inlet", None)
    wait_for(lambda: running.book.notes("inspect"))
    assert running.book.notes("inspect")[0][1:] == ("Pat", "cleaned the inlet")
    with pytest.raises(InputError, match="not started with --allow clock"):
        person.do("clock", None, page, "", "", None)
    with pytest.raises(InputError, match="--allow clock"):
        person.do("clock", port_of(running), None, "", "", None)
    with Client(port_of(running)) as client, pytest.raises(RefusedError):
        client.write_bits(1, [1])  # reset
    assert time.time() - running.gateway.heard_at < 60.0 and board.lives


def _open(running):
    return running.book.kept("open_segment")


def _whole(running):
    # A power cut in a segment's first write leaves one that nobody can read.
    for number, body in running.book.segments("1"):
        with contextlib.suppress(InputError):
            yield number, readback.read_segment(body)


def test_the_kept_journal_carries_dates_that_the_gateway_gave(bench):
    board, running = bench
    _cut(board, running)
    wait_for(lambda: running.gateway.up is True and len(running.book.segment_sizes("1")) > 1)
    segments = [segment for _, segment in _whole(running)]
    dated = [h.at for h in history.happenings(segments) if h.at is not None]
    assert dated and all(abs(at - time.time()) < 3600.0 for at in dated) and board.lives


def test_a_cable_that_is_pulled_is_silence_and_no_more(tmp_path):
    far, near = os.openpty()
    try:
        name = os.ttyname(near)
        with Client(name, patience_s=0.2) as client:
            os.close(far)
            with pytest.raises(InputError):
                client.values()
        running = Running(Options(name, "home", tmp_path))
        running.once()
        assert running.gateway.up is None and "no such port" in running.gateway.error
        running.close()
    finally:
        for end in (far, near):
            with contextlib.suppress(OSError):
                os.close(end)


def test_a_page_of_another_origin_can_do_nothing(bench):
    _board, running = bench
    page = "http://{}:{}".format(*running.page.address[:2])
    for headers in ({}, {"X-Sumpbench": "1", "Host": "evil.example:80"}):
        request = urllib.request.Request(f"{page}/silence", b"{}", headers)
        with pytest.raises(urllib.error.HTTPError) as caught:
            urllib.request.urlopen(request, timeout=10)
        assert caught.value.code == 403


def test_nonsense_on_the_served_port_harms_nobody(bench):
    _board, running = bench
    lot = random.Random(7)
    for head in (b":", b"\0", b"G"):
        with socket.create_connection(running.server.address[:2], 5.0) as client:
            client.sendall(head + lot.randbytes(3000))
    at = running.gateway.heard_at
    wait_for(lambda: running.gateway.heard_at > at + 1.0)
    with Client(port_of(running)) as client:
        client.identify()
