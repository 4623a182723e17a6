"""The rig's firmware on an emulated Pico: its real pins driven and read, edges timed by its clock, PWM, letting go."""

import pytest

from hil.cli import rig as rig_command
from hil.kits import rig_deploy
from hil.kits.base import Vanished
from hil.kits.rig_client import RigClient
from hil.rig.lib.sumprig import wires as w
from host_sim.errors import InputError
from tests.hil.emulated_chip import uf2

MS = 1_000_000
PINS = {wire: pin for _, pin, wire, _ in rig_command.table()}


class Emulated:
    """An emulated Pico with the rig's firmware in its flash, for a `line.Line`: time passes when it is asked."""

    def __init__(self, folder):
        path = uf2()
        from hil.kits.emulated import flash
        from hil.kits.emulated.line import Line
        from hil.kits.emulated.pico import Pico

        rig_deploy.compile_all(rig_deploy.assemble(folder / "source", "pico"), folder / "compiled")
        names = [path for path in (folder / "compiled").rglob("*") if path.is_file()]
        files = {"/" + path.relative_to(folder / "compiled").as_posix(): path.read_bytes() for path in names}
        self.pico = Pico(flash.read_uf2(path), flash.make_files(files))
        self.line = Line(self)

    def now_ns(self):
        return self.pico.now_ns()

    def pass_ns(self, ns, until=None):
        end = self.now_ns() + ns
        while self.now_ns() < end and not (until is not None and until()):
            self.pico.run_ns(end)

    def rig(self):
        """Return a client, once the rig answers."""
        rig = RigClient(self.line)
        for _ in range(10):
            try:
                rig.identify()
                return rig
            except InputError:
                self.pass_ns(100 * MS)
        pytest.fail(f"the rig does not answer: {bytes(self.pico.output[-300:])!r}")


@pytest.fixture(scope="module")
def board(tmp_path_factory):
    return Emulated(tmp_path_factory.mktemp("rig"))


def test_the_rig_on_a_chip(board):
    pico = board.pico
    with board.rig() as rig:
        rig.begin(5000)
        # Let go: contacts are inputs, the relay in the supply is not energised.
        levels = {name: pico.level(PINS[name]) for name in w.COILS}
        assert levels == {**dict.fromkeys(w.COILS, None), "power_cut": 0}
        for name in w.COILS:
            rig.close_contacts(dict.fromkeys(w.COILS, 0) | {name: 1})
            now = {one: pico.level(PINS[one]) for one in w.COILS}
            assert now == {**levels, name: 1 if name == "power_cut" else 0}, name
        rig.release()

        # A relay's edges are timed at the pin, by the rig's own clock.
        rig.poll()
        for name, level, stays_ms in (("pump_1", 1, 50), ("relay", 1, 7), ("pump_1", 0, 20)):
            pico.drive(PINS[name], level)
            board.pass_ns(stays_ms * MS)
        edges = [edge for edge in rig.poll() if edge.wire in w.RELAYS]
        assert [(edge.wire, edge.value) for edge in edges] == [("pump_1", 1), ("relay", 1), ("pump_1", 0)]
        assert abs(edges[1].ms - edges[0].ms - 50) <= 1
        assert abs(edges[2].ms - edges[1].ms - 7) <= 1
        for _ in range(10):
            rig.poll()
        assert rig.state().longest_look_ms <= 8, "an edge could be timed wrong by more than that"

        # Analog outputs: the share of the time that the pin is high.
        for name, millivolts in (("current_1", 880), ("current_2", 3300), ("level", 600), ("battery", 1280)):
            rig.give(name, millivolts)
            channel = pico.mcu.pwm.channels[PINS[name] // 2 % 8]
            compare = channel.cc >> 16 if PINS[name] % 2 else channel.cc & 0xFFFF
            assert channel.csr & 1
            assert 3300 * compare / (channel.top + 1) == pytest.approx(millivolts, abs=4), name

        # A bench that falls silent is let go of.
        rig.close_contact("thermal_1", 1)
        assert pico.level(PINS["thermal_1"]) == 0
        board.pass_ns(5100 * MS)
        assert pico.level(PINS["thermal_1"]) is None
        with pytest.raises(Vanished, match="released its wires"):
            rig.poll()
