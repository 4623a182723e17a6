"""The rig's firmware on MicroPython: wires and edges over its port, letting go, restarts, deployment by mpremote."""

import pytest

from hil.kits import rig_deploy
from hil.kits.base import Vanished
from hil.rig.lib.sumprig import registers as r
from hil.rig.lib.sumprig import wires as w
from host_sim.board.client import Client
from host_sim.errors import InputError
from tests.hil.loom import Loom, freeze
from tests.hil.rig_loom import rig_on, wait_for
from tests.micropython.places import ROOT, micropython
from tests.unit.test_style_core import breaches, f_strings, long_functions, not_on_board


@pytest.fixture
def loom(tmp_path):
    micropython()
    with Loom(tmp_path, controller=False) as loom:
        yield loom


def until_edges(rig, count):
    """Poll until so many edges have come; return them."""
    found = []
    wait_for(lambda: found.extend(rig.poll()) or len(found) >= count)
    return found


def test_wires_are_driven_and_edges_come_in_order_timed_by_the_rig(loom):
    with rig_on(loom) as rig:
        rig.begin(60000)
        rig.close_contact("lead", 1)
        rig.turn_selector(2, 2)
        rig.give("current_1", 880)
        wait_for(lambda: loom.raw()[2] == 8000)
        assert loom.raw()[0] == 2
        assert (loom.raw()[11], loom.raw()[12]) == (0, 2)
        for outputs in (1, 3, 2, 22):
            loom.switch(outputs)
        edges = until_edges(rig, 8)
        assert [(edge.wire, edge.value) for edge in edges] == [
            ("lead", 1), ("selector_2_hand", 1), ("current_1", 880), ("pump_1", 1), ("pump_2", 1), ("pump_1", 0),
            ("horn", 1), ("relay", 1)]  # fmt: skip
        times = [edge.ms for edge in edges]
        assert times == sorted(times)
        assert times[0] >= 0
        assert rig.now_ms >= times[-1]
        assert rig.relays == 22
        assert rig.given() == {"current_1": 880, "current_2": 0, "level": 0, "battery": 0}
        rig.release()
        wait_for(lambda: loom.coils == 0 and loom.analog == (0, 0, 0, 0))


def test_a_bench_that_falls_silent_is_let_go_of_and_told(loom):
    with rig_on(loom) as rig:
        rig.begin(r.SILENCE_LEAST_MS)
        rig.close_contact("thermal_1", 1)
        wait_for(lambda: loom.coils)
        wait_for(lambda: not loom.coils)
        with pytest.raises(Vanished, match="released its wires: the bench was silent"):
            rig.poll()
        assert rig.state().releases == 1


def test_a_rig_that_restarts_lets_go_and_is_found_out(loom):
    with rig_on(loom) as rig:
        rig.begin(60000)
        wait_for(lambda: rig.poll() or rig.now_ms > 500)
        rig.close_contact("mains", 1)
        rig.write_words(r.RESTART_AT, [r.RESTART_KEY])
        wait_for(lambda: len(loom.rig.causes) == 2)
        assert loom.coils == 0
        with pytest.raises(Vanished, match="the rig has restarted"):
            rig.poll()


def test_more_edges_than_the_log_keeps_are_no_silent_loss(loom):
    with rig_on(loom) as rig:
        rig.begin(60000)
        for i in range(r.LOG_ROOM // w.N_COILS + 2):
            rig.write_bits(0, [1 - i % 2] * w.N_COILS)
        with pytest.raises(Vanished, match=r"edges since the last poll: the rig keeps 256"):
            rig.poll()


def test_a_rig_that_hangs_vanishes(loom):
    with rig_on(loom) as rig:
        rig.begin(60000)
        freeze(loom.rig)
        rig.patience_s = 0.1
        with pytest.raises(Vanished, match="the rig: no answer"):
            rig.poll()


def test_a_plain_modbus_client_finds_what_the_map_says(loom):
    rig_on(loom).close()
    with Client(loom.rig_port) as client:
        assert client.words(0, 2) == [r.SIGNATURE, r.MAP_VERSION]
        with pytest.raises(InputError, match="not a controller of ours"):
            client.identify()
        with pytest.raises(InputError, match="no such register"):
            client.words(50, 2)


@pytest.mark.long
def test_deployment_puts_the_firmware_on_the_board_and_leaves_it_running(loom, tmp_path):
    said = []
    before = rig_on(loom)
    old = before.state().firmware
    before.close()
    checksum = rig_deploy.deploy(loom.rig_port, tmp_path / "build", "posix", said.append)
    assert checksum != old, "compiled files have another checksum"
    with rig_on(loom) as rig:
        assert rig.state().firmware == checksum
    assert loom.rig.causes[-2:] == [2, 2]
    assert any("every SHA-256 holds" in line for line in said)


def test_another_board_is_refused_before_anything_is_copied(loom, tmp_path):
    rig_on(loom).close()
    with pytest.raises(InputError, match='reports "linux", but --board pico is "rp2"'):
        rig_deploy.deploy(loom.rig_port, tmp_path / "build", "pico", lambda words: None)
    with pytest.raises(InputError, match="the rig runs on pico, posix"):
        rig_deploy.assemble(tmp_path / "none", "esp32")


FIRMWARE = sorted((ROOT / "hil" / "rig").rglob("*.py"))


@pytest.mark.parametrize("rule", [not_on_board, long_functions, f_strings], ids=lambda rule: rule.__name__)
def test_the_rigs_firmware_keeps(rule):
    assert len(FIRMWARE) > 8
    assert breaches(FIRMWARE, rule) == []


def test_the_rig_compiles_for_its_board_and_is_small(tmp_path):
    count = rig_deploy.compile_all(rig_deploy.assemble(tmp_path / "source", "pico"), tmp_path / "compiled")
    files = [path for path in (tmp_path / "compiled").rglob("*") if path.is_file()]
    assert count == len(files) - 2
    assert sum(path.stat().st_size for path in files) < 30000
    assert not list((tmp_path / "source").rglob("posix.py"))
