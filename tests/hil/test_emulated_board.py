"""The firmware on the emulated Pico: its pins, analog inputs, watchdog and flash, and time that only the chip keeps.

Needs MicroPython's UF2 for RPI_PICO by environment variable; every test skips and says so where none is given.
"""

import pytest
from duplexsump.control import settings as s

from hil.acceptance import procedure
from hil.acceptance.runner import carry_out
from hil.bench.bench import Bench
from hil.kits import wires
from hil.kits.base import Missing
from host_sim.board import readback
from host_sim.board.virtual import FIRMWARE
from host_sim.errors import InputError
from host_sim.run.journal import firmware_checksum
from tests.hil.emulated_chip import uf2

SHORT = ("floats_in_order", "high_water", "watchdog_reset", "alternation")  # also on every kind of engine


@pytest.fixture(scope="module")
def shared():
    path = uf2()
    from hil.kits.emulated.kit import EmulatedKit

    with EmulatedKit(path) as made:
        yield made


@pytest.fixture
def kit(shared):
    shared.reset()
    return shared


def wet(kit, *names):
    """Make exactly these floats wet."""
    closed = kit.settings[s.NORMALLY_CLOSED]
    for name in wires.FLOATS:
        normally_closed = 1 if closed & wires.WIRES[name].bit else 0
        kit.drive(name, (1 if name in names else 0) ^ normally_closed)


def run_to_a_pump(kit):
    """Let the lead float call until a pump runs."""
    kit.run_ms(kit.settings[s.MIN_OFF_MS] + 2000)
    wet(kit, "off", "lead")
    assert kit.run_until(lambda: kit.read("pump_1") or kit.read("pump_2"), 30000)


def test_it_starts_within_the_power_up_hold_and_says_what_it_runs(kit):
    assert kit.now_ms() - kit.starts[-1][0] < 5000
    told = kit.describe()
    assert told["firmware"] == f"{firmware_checksum():08x}"
    assert told["board"] == "emulated" and told["micropython"].startswith("1.")
    assert kit.read("relay") == 1 and kit.read("pump_1") == 0


def test_every_contact_is_read_where_it_is_wired(kit):
    names = ("off", "lead", "lag", "high")
    for name in names:
        kit.drive(name, 1 - kit.driven[name])
        kit.run_ms(300)
        mask = kit.client().states()["closed"]
        assert mask == sum(kit.driven[other] << place for place, other in enumerate(names)), name
    kit.drive("silence", 1)
    kit.run_ms(300)
    assert kit.client().states()["pressed"] == 1


def test_voltages_are_read_as_what_they_stand_for(kit):
    kit.drive("current_1", 8000)
    kit.drive("current_2", 500)
    kit.drive("battery", 12345)
    kit.run_ms(300)
    values = kit.client().values()
    assert abs(values["current_1"] - 8000) <= 8 and abs(values["current_2"] - 500) <= 8
    assert abs(values["battery"] - 12345) <= 9


def test_a_transmitter_takes_the_batterys_pin_when_the_settings_say_so(kit):
    changed = list(kit.settings)
    changed[s.TRANSMITTER] = 1
    kit.client().put_settings(changed)
    kit.drive("level", 12000)
    kit.run_ms(500)
    # 4 to 20 mA over the span: half of it at 12 mA.
    assert abs(kit.client().values()["level"] - changed[s.LEVEL_SPAN_MM] // 2) <= 10


def test_a_float_starts_a_pump_at_the_pin_after_its_debounce(kit):
    run_to_a_pump(kit)
    lead = next(edge.ms for edge in reversed(kit.edges) if edge.wire == "lead")
    pump = kit.edges[-1]
    assert pump.wire in ("pump_1", "pump_2")
    # The debounce, at most one tick until the board looks, and the time of a step.
    late = pump.ms - lead - kit.settings[s.DEBOUNCE_MS]
    assert 0 <= late <= 130


def test_the_latency_from_contact_to_relay_is_a_tick_and_a_step_at_the_most(kit):
    kit.run_ms(kit.settings[s.MIN_OFF_MS] + 2000)
    late = []
    for turn in range(4):
        kit.drive("selector_1", 2)
        assert kit.run_until(lambda: kit.read("pump_1"), 2 * kit.settings[s.MIN_OFF_MS])
        # OFF has no debounce: the relay drops in the step that sees it, whenever in a tick it came.
        kit.run_ms(1000 + 29 * turn)
        began = kit.now_ms()
        kit.drive("selector_1", 1)
        assert kit.run_until(lambda: not kit.read("pump_1"), 1000)
        late.append(kit.edges[-1].ms - began)
    assert max(late) <= 130 and min(late) < max(late), late


def test_the_flash_outlives_a_power_cut_and_the_power_cut_drops_the_relays_at_once(kit):
    run_to_a_pump(kit)
    kit.power(False)
    assert kit.edges[-1].ms == kit.now_ms() and not any(kit.seen.values())
    before = {path for path in kit.files() if path.startswith("/pit/journal/")}
    kit.run_ms(5000)
    kit.power(True)
    assert kit.run_until(lambda: kit.read("relay"), 10000)
    after = {path for path in kit.files() if path.startswith("/pit/journal/")}
    assert before and before < after, "the new life opens a segment beside the old"
    assert kit.client().settings() == kit.settings


def test_a_processor_that_stops_is_reset_by_the_chips_own_watchdog(kit):
    run_to_a_pump(kit)
    kit.hang()
    began = kit.now_ms()
    assert kit.run_until(lambda: not (kit.read("pump_1") or kit.read("pump_2")), 10000)
    assert 7000 <= kit.now_ms() - began <= 8400
    kit.run_ms(5000)
    assert kit.client().values()["reset_cause"] == 1
    assert kit.starts[-1][1] == "watchdog"


def test_the_run_pin_is_neither_power_up_nor_watchdog(kit):
    run_to_a_pump(kit)
    kit.press_run()
    assert not kit.read("pump_1") and not kit.read("pump_2")
    kit.run_ms(5000)
    assert kit.client().values()["signature"] and kit.starts[-1][1] == "RUN pin"


def test_a_stride_is_late_by_what_it_skips_and_the_watchdog_lets_it_be(kit):
    kit.run_ms(2000)
    lives, began = len(kit.starts), kit.now_ms()
    kit.stride_ms(10 * 3600000)
    kit.run_ms(1000)
    assert len(kit.starts) == lives and kit.now_ms() - began >= 10 * 3600000
    assert 600 <= kit.client().values()["uptime"] <= 601
    with pytest.raises(InputError, match="stride"):
        kit.stride_ms(24 * 3600000)


def test_a_wire_that_a_pico_has_not_is_missing_by_name(kit):
    with pytest.raises(Missing, match="moisture_1"):
        kit.drive("moisture_1", 1)


def test_a_firmware_that_does_not_start_says_why(shared, tmp_path):
    import shutil

    from hil.kits.emulated.kit import EmulatedKit

    broken = tmp_path / "firmware"
    shutil.copytree(FIRMWARE, broken)
    path = broken / "lib/duplexsump/station/loop.py"
    sound, spoilt = "        self.reason = reason\n", "        raise ValueError('planted')\n"
    assert sound in path.read_text()
    path.write_text(path.read_text().replace(sound, spoilt, 1))
    with EmulatedKit(uf2(), firmware=broken) as kit, pytest.raises(InputError, match="planted"):
        kit.reset()


def trace(path, settings, **how):
    """Run a minute with a float's call; return (edges, RAM, journal)."""
    from hil.kits.emulated.kit import EmulatedKit

    with EmulatedKit(path, settings=settings, **how) as kit:
        kit.cold_start()
        kit.run_ms(3000)
        wet(kit, "off", "lead")
        kit.run_ms(12000)
        wet(kit)
        kit.run_ms(3000)
        journal = {name: data for name, data in kit.files().items() if name.startswith("/pit/journal/")}
        return kit.edges, bytes(kit.pico.mcu.sram), journal


def pass_ms(pico, ms):
    """Let a bare board run for `ms`."""
    until = pico.now_ns() + ms * 1e6
    while not pico.run_ns(until):
        pass


def test_the_compiled_instructions_run_the_board_as_the_emulator_alone_does():
    from hil.kits.emulated import flash
    from hil.kits.emulated.pico import Pico

    program = flash.read_uf2(uf2())
    program_text = b"x = 0\nfor i in range(300):\n    x = (x * 31 + i % 7) // 3 % 10007\nprint(x)\n"
    image = flash.make_files({"/main.py": program_text})
    ends = []
    for compiled in (True, False):
        pico = Pico(program, image, compiled)
        pass_ms(pico, 200)
        pico.port.terminal(True)
        pass_ms(pico, 100)
        ends.append((bytes(pico.mcu.sram), [int(x) for x in pico.mcu.core.registers], bytes(pico.output)))
    assert ends[0] == ends[1]
    assert b"Type" in ends[0][2], "it must have come to the prompt for the comparison to mean anything"


def test_a_terminal_that_takes_the_port_gets_the_prompt():
    from hil.kits.emulated import flash
    from hil.kits.emulated.pico import Pico

    pico = Pico(flash.read_uf2(uf2()), flash.make_files({"/pit/": b""}))

    pass_ms(pico, 300)
    pico.port.terminal(True)
    pass_ms(pico, 100)
    pico.port.send(b"\x03print(6 * 7)\r\n")
    pass_ms(pico, 100)
    assert b"\r\n42\r\n>>> " in pico.output


def test_the_same_is_done_every_time_and_dozing_changes_nothing():
    path = uf2()
    values = s.defaults()
    first, again = trace(path, values), trace(path, values)
    assert first == again
    awake = trace(path, values, doze=False)
    assert [(e.wire, e.value) for e in awake[0]] == [(e.wire, e.value) for e in first[0]]
    assert all(abs(a.ms - b.ms) <= 10 for a, b in zip(awake[0], first[0], strict=True))
    ours, theirs = (
        [
            (row.time_ms, tuple(row.inputs), tuple(row.outputs))
            for journal in readback.to_journals([readback.read_segment(data) for data in run[2].values()])
            for row in journal.records
            if hasattr(row, "inputs")
        ]
        for run in (first, awake)
    )
    assert ours and ours == theirs


@pytest.mark.parametrize("name", SHORT)
def test_a_procedure_passes_on_the_emulated_board(shared, name):
    chosen = next(one for one in procedure.load() if one.name == name)
    entry = carry_out(Bench(shared), chosen)
    assert entry["verdict"] == "pass", entry
