"""Ports that are swapped, busy, silent, somebody else's, or far away behind a URL: clear words or plain work."""

import pytest
from duplexsump.station.framing import lrc
from typer.testing import CliRunner

from hil.cli import rig
from hil.kits import real_rig, select
from hil.kits.real_rig import RealKit, check_ports, fitted
from host_sim.board.client import Client, TermiosError
from host_sim.cli.app import app
from host_sim.errors import InputError
from tests.hil.loom import Loom, Relay
from tests.hil.rig_loom import SPEED, Stranger, give_settings, kit_on
from tests.micropython.places import micropython


@pytest.fixture(scope="module")
def loom(tmp_path_factory):
    micropython()
    with Loom(tmp_path_factory.mktemp("loom"), speed=SPEED) as loom:
        give_settings(loom)
        kit_on(loom).close()
        yield loom


def test_rig_and_board_swapped_is_said_in_so_many_words(loom):
    with pytest.raises(InputError) as caught:
        RealKit(loom.rig_port, loom.port)
    assert caught.value.problems == [
        f"rig and board are swapped: the rig answers at {loom.rig_port} and the controller at {loom.port}: "
        "swap the two ports"
    ]


def test_one_port_cannot_be_both(loom):
    with pytest.raises(InputError, match="cannot be the controller and the rig at the same time"):
        check_ports(loom.port, loom.port)
    with pytest.raises(InputError, match="cannot be the board and the rig at the same time"):
        select.check(select.Choice(port=loom.port, rig_port=loom.port))


def test_a_stranger_is_told_by_its_signature(loom):
    with Stranger(0x1234) as port:
        with pytest.raises(InputError, match=r"neither \(0x1234\) answers at .*, where the rig should be"):
            check_ports(loom.port, port)
        with pytest.raises(InputError, match=r"neither \(0x1234\) answers at .*, where the controller should be"):
            check_ports(port, loom.rig_port)


def test_two_of_a_kind_are_told(loom):
    # A second rig is played by a stranger with a rig's signature.
    with Stranger(0x5249) as port, pytest.raises(InputError, match=r"the rig answers at .*, where the controller"):
        check_ports(port, loom.rig_port)
    with Stranger(0x5342) as port, pytest.raises(InputError, match=r"a controller answers at .*, where the rig should"):
        check_ports(loom.port, port)


def test_a_busy_port_a_silent_one_and_none_at_all(loom):
    with Client(loom.rig_port), pytest.raises(InputError, match="the port is busy: another program holds it"):
        check_ports(loom.port, loom.rig_port)
    with pytest.raises(InputError) as caught:
        check_ports("/dev/no-such-port", "/dev/no-such-rig")
    assert [problem.split(": ")[:2] for problem in caught.value.problems] == [
        ["/dev/no-such-port", "there is no such port"], ["/dev/no-such-rig", "there is no such port"]]


def test_a_kit_that_cannot_be_opened_holds_no_port(loom):
    with pytest.raises(InputError):
        RealKit(loom.port, loom.rig_port, board="posix")
    kit_on(loom).close()
    kit_on(loom).close()


@pytest.mark.long
def test_ports_may_be_far_away_behind_a_url(loom):
    with Relay(loom.port) as far, Relay(loom.rig_port) as far_rig:
        check_ports(far.url, far_rig.url)
        with RealKit(far.url, far_rig.url, silence_ms=60000) as kit:
            kit.reset()
            kit.drive("lead", 1)
            assert kit.run_until(lambda: kit.client().states()["closed"] & 2, 60000)
            kit.power(False)
            assert kit.run_until(lambda: not kit.read("relay"), 60000)
            kit.reset()
    with pytest.raises(InputError, match=r"socket://.*no serial port|socket://.*there is no such port"):
        check_ports(far.url, far_rig.url)


@pytest.mark.long
def test_the_command_proves_the_wires_and_says_what_is_wrong(loom, monkeypatch):
    monkeypatch.setattr(real_rig, "SILENCE_MS", 60000)
    if not any(group.name == "rig" for group in app.registered_groups):
        rig.add_to(app)
    loom.swap("lead", "lag")
    run = CliRunner().invoke(app, ["rig", "test", "--port", loom.port, "--rig-port", loom.rig_port])
    loom.mend()
    assert isinstance(run.exception, InputError)
    assert "'lead' and 'lag' are swapped" in str(run.exception)
    assert "Never line voltage on the rig" in run.output
    said = run.output
    assert 0 <= said.index("Unplug both pumps, or lock out their circuits, before") < said.index("power:")


def test_boards_that_no_rig_can_be_wired_to_are_refused():
    assert fitted("pico")[9][0] == fitted("pico")[4][0] == 28
    for board in ("posix", "toaster"):
        with pytest.raises(InputError, match=f'board "{board}"'):
            fitted(board)
    with pytest.raises(InputError, match='power by "battery": relay, run, none'):
        RealKit("a", "b", power_by="battery")


class Line:
    """An open line that answers each request with what it was given, in pieces."""

    name = "a line"

    def __init__(self, answers):
        self.answers = list(answers)
        self.in_waiting = 0

    def write(self, data):
        self.asked = data

    def read(self, size):
        return self.answers.pop(0) if self.answers else b""

    def reset_input_buffer(self):
        """Nothing waits here."""


def framed(*data):
    """Return an ASCII frame of bytes."""
    return b":" + bytes([*data, lrc(bytes(data), 0, len(data))]).hex().upper().encode() + b"\r\n"


def test_an_answer_to_an_earlier_request_is_not_taken_for_this_one():
    late = framed(1, 4, 2, 0x53, 0x42)  # one word, where two are asked for
    right = framed(1, 4, 4, 0x53, 0x42, 0, 1)
    client = Client(Line([late[:5], late[5:] + right[:4], right[4:]]), patience_s=5.0)
    assert client.words(0, 2) == [0x5342, 1]
    echo, other = framed(1, 15, 0, 3, 0, 1), framed(1, 15, 0, 2, 0, 1)
    client = Client(Line([other, echo]), patience_s=5.0)
    client.write_bits(3, [1])
    assert client.line.answers == [], "the echo of another write was taken"
    client = Client(Line([framed(1, 0x84, 2)]), patience_s=5.0)
    with pytest.raises(InputError, match="no such register"):
        client.words(0, 2)


@pytest.mark.long
def test_a_port_that_fails_while_it_is_flushed_went_away():
    line = Line([])
    line.reset_input_buffer = lambda: (_ for _ in ()).throw(TermiosError(5, "Input/output error"))
    with pytest.raises(InputError, match="the port went away"):
        Client(line).words(0, 1)
