"""`mip` installs the library by package.json: the real mpremote, a board on a pty, this clone on a web server."""

import functools
import http.server
import threading

import pytest
from duplexsump.station.checksum import firmware_checksum

from host_sim.board import deploy as work
from host_sim.board import package
from host_sim.board.virtual import VirtualBoard
from tests.micropython.places import LIB, ROOT
from tests.micropython.virtual_rig import pit, ready

CHECK = """
import sys
sys.path.insert(0, '/lib')
from duplexsump.station.checksum import firmware_checksum
print((firmware_checksum('/mip/duplexsump'),))
"""


class Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_):
        """Say nothing."""


@pytest.fixture
def served():
    """Give the address of this clone on a web server of this machine."""
    handler = functools.partial(Quiet, directory=str(ROOT))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()


@pytest.mark.long
def test_mip_installs_every_file_of_the_library(tmp_path, served, monkeypatch):
    for name in ("http_proxy", "HTTP_PROXY", "all_proxy", "ALL_PROXY"):
        monkeypatch.delenv(name, raising=False)
    with VirtualBoard(pit("1 gpm"), tmp_path / "flash.img") as board:
        ready(board)
        work.enter(board.port, lambda words: None)
        repl = work.Repl(board.port)
        repl.wait()
        repl.call("mip", "install", "--target", "/mip", f"{served}/package.json")
        (there,) = repl.lines(CHECK)[0]
    assert len(package.content()["urls"]) > 40
    # The same files, byte for byte: names and contents are in the checksum.
    assert there == firmware_checksum(str(LIB / "duplexsump"))
