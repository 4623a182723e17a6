"""`sumpbench live`: what it is given, and what it opens."""

import inspect
import json
import re
import subprocess
import sys
import urllib.request

import pytest

pytest.importorskip("tornado", reason="tornado is not installed")

from hil.cli import live
from host_sim.errors import InputError
from host_sim.living import server
from host_sim.site.load import packaged


@pytest.mark.parametrize(
    ("page", "address"),
    [("127.0.0.1:8137", ("127.0.0.1", 8137)), ("[::1]:0", ("::1", 0)), (":8080", ("127.0.0.1", 8080)),
     ("0.0.0.0:65535", ("0.0.0.0", 65535))],
)  # fmt: skip
def test_where_the_page_is_served(page, address):
    assert live._address(page) == address


@pytest.mark.parametrize("page", ["", "localhost", "localhost:", "localhost:65536", "localhost:-1", "a:b"])
def test_an_address_that_is_none_is_told(page):
    with pytest.raises(InputError, match="host:port is wanted"):
        live._address(page)


def test_it_listens_on_loopback_unless_told():
    assert live._address(inspect.signature(live.live).parameters["page"].default)[0] in server.LOOPBACK


def test_a_packaged_site_can_be_shared_by_name_and_a_site_file_is_carried_along(tmp_path):
    make, close, _ = live._pit(None, False)
    assert make().hear({"share": True})[0]["share"]["site"] == {"packaged": "demo"}
    own = tmp_path / "mine.toml"
    own.write_text(packaged("demo").read_text(encoding="utf-8"), encoding="utf-8")
    make, close, _ = live._pit(str(own), False)
    assert set(make().hear({"share": True})[0]["share"]["site"]) == {"text"}
    assert make() is not make()
    close()


def test_a_site_that_cannot_be_read_is_told_before_anything_is_opened(tmp_path):
    (tmp_path / "bad.toml").write_text("name = 7")
    for site in (str(tmp_path / "bad.toml"), "nowhere"):
        with pytest.raises(InputError):
            live._pit(site, False)


@pytest.mark.long
def test_the_command_opens_the_page_on_loopback_and_ends_at_an_interrupt(tmp_path):
    command = [sys.executable, "-u", "-m", "hil", "live", "--page", "127.0.0.1:0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as running:
        try:
            url = re.search(r"http://127\.0\.0\.1:\d+/", running.stdout.readline()).group()
            assert b"The living pit" in urllib.request.urlopen(url).read()
            assert json.load(urllib.request.urlopen(url + "firmware.json"))["duplexsump/control/controller.py"]
        finally:
            running.send_signal(2)
        assert "Ended." in running.stdout.read()
    assert running.returncode == 0
