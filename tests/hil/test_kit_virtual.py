"""The virtual board in lockstep: its time is the bench's, its watchdog its own, and it does the same every time."""

import shutil

import pytest

from hil.bench.bench import Bench
from hil.kits import wires
from hil.kits.base import ABILITIES, Edge, Missing
from hil.kits.virtual import VirtualKit, bench_settings
from host_sim.board import lockstep, readback
from host_sim.board.virtual import FIRMWARE
from host_sim.errors import InputError
from tests.micropython.places import micropython


@pytest.fixture(scope="module")
def shared():
    micropython()
    with VirtualKit() as made:
        yield made


@pytest.fixture
def kit(shared):
    shared.reset()
    return shared


def cycle(kit):
    """Fill and drain a pit twice, at instants off the controller's grid; return (edges, the journal's bytes)."""
    kit.reset()
    began_ms, first = kit.now_ms(), len(kit.edges)
    bench = Bench(kit)
    bench.draw_normally()
    kit.run_ms(61237)
    for _ in range(2):
        for contacts in (("off",), ("off", "lead"), ("off",), ()):
            bench.water(*contacts)
            kit.run_ms(20519)
        kit.run_ms(60003)
    kit.listeners.clear()
    edges = [Edge(edge.ms - began_ms, edge.wire, edge.value) for edge in kit.edges[first:]]
    return edges, readback.fetch(kit.client())


def test_the_same_run_gives_the_same_edges_and_the_same_journal(kit):
    edges, journal = cycle(kit)
    again, same = cycle(kit)
    assert edges == again
    assert journal == same
    starts = [edge.wire for edge in edges if edge.wire.startswith("pump") and edge.value]
    assert starts == ["pump_1", "pump_2"]
    replayed = readback.replay([readback.read_segment(data) for data in journal])
    assert replayed.differences == [] and replayed.records > 10


def test_time_stands_still_while_the_link_is_served(kit):
    before = kit.now_ms()
    values = kit.client().values()
    assert kit.client().settings() == bench_settings()
    assert kit.now_ms() == before
    # And it goes on by as much as is granted, on the board as on the bench.
    kit.run_ms(123400)
    assert kit.client().values()["now"] - values["now"] == 123400


def test_an_output_changes_at_the_controllers_own_instant(kit):
    bench = Bench(kit)
    bench.ready()
    kit.run_ms(33)
    bench.water("off", "lead")
    on_ms = bench.when("pump_1", 1, 5.0)
    late_ms = on_ms - bench.mark_ms - bench.setting("debounce")
    assert 0 <= late_ms <= 200, "debounce, and at most two ticks"
    assert kit.read("pump_1") == 1


def test_a_hang_is_found_by_the_watchdog_in_board_time(kit):
    bench = Bench(kit)
    bench.ready()
    bench.water("off", "lead")
    bench.when("pump_1", 1, 5.0)
    hung_ms = kit.now_ms()
    kit.hang()
    with pytest.raises(InputError, match="no answer"):
        kit.client().words(0, 2)
    off_ms = bench.when("pump_1", 0, 10.0)
    assert lockstep.WATCHDOG_MS - 200 <= off_ms - hung_ms <= lockstep.WATCHDOG_MS, "it was fed a pass ago"
    kit.run_ms(1000)
    assert kit.client().values()["reset_cause"] == 1
    assert kit.board.causes[-2:] == [0, 1]


@pytest.mark.long
def test_a_firmware_that_really_loops_is_found_by_its_processor_time(tmp_path, monkeypatch):
    micropython()
    monkeypatch.setattr(lockstep, "HANG_CPU_S", 1.0)
    broken = tmp_path / "firmware"
    shutil.copytree(FIRMWARE, broken, ignore=shutil.ignore_patterns("__pycache__"))
    path = broken / "lib/duplexsump/control/history.py"
    text = path.read_text()
    spoilt = text.replace('ran."""\n', 'ran."""\n        while out:\n            pass\n', 1)
    assert spoilt != text
    path.write_text(spoilt)
    with VirtualKit(firmware=broken) as kit:
        kit.reset()
        bench = Bench(kit)
        bench.ready()
        bench.water("off", "lead")
        on_ms = bench.when("pump_1", 1, 5.0)
        off_ms = bench.when("pump_1", 0, 20.0)
        assert kit.board.hangs == 1
        assert lockstep.WATCHDOG_MS - 200 <= off_ms - on_ms <= lockstep.WATCHDOG_MS
        kit.run_ms(1000)
        assert kit.board.causes[-1] == 1
        assert kit.read("relay") == 1, "it lives again"


def test_a_firmware_that_does_not_even_start_is_found_asleep(tmp_path, monkeypatch):
    micropython()
    monkeypatch.setattr(lockstep, "ASLEEP_LOOKS", 2)
    monkeypatch.setattr("hil.kits.virtual.ANSWER_MS", 3000)
    broken = tmp_path / "firmware"
    shutil.copytree(FIRMWARE, broken, ignore=shutil.ignore_patterns("__pycache__"))
    # boot.py would see that main.py is not what it was, and keep the pit by its floats.
    (broken / "main.py").write_text("raise ValueError('planted')\n")
    (broken / "boot.py").write_text("")
    with VirtualKit(firmware=broken) as kit:
        with pytest.raises(InputError, match="no answer in Modbus"):
            kit.reset()
        assert kit.board.hangs == 1
        assert "planted" in kit.log()
        assert [kit.read(name) for name in wires.OUTPUTS] == [0] * len(wires.OUTPUTS)


def test_a_power_cut_drops_the_outputs_at_once_and_keeps_the_flash(kit):
    bench = Bench(kit)
    bench.ready()
    bench.water("off", "lead")
    bench.when("pump_1", 1, 5.0)
    kit.run_ms(2000)
    starts = kit.client().values()["starts_1"]
    cut_ms = kit.now_ms()
    kit.power(False)
    assert [kit.read(name) for name in wires.OUTPUTS] == [0] * len(wires.OUTPUTS)
    assert Edge(cut_ms, "pump_1", 0) in kit.edges
    with pytest.raises(InputError, match="no answer"):
        kit.client().identify()
    kit.power(True)
    kit.run_ms(1000)
    assert starts == 1
    assert kit.client().values()["starts_1"] == 1
    # A fresh start forgets it.
    kit.reset()
    assert kit.client().values()["starts_1"] == 0


def test_in_maintenance_the_outputs_are_safe_and_it_comes_back_by_itself(kit):
    from duplexsump.station import registers as r

    kit.run_ms(20000)
    kit.client().write_words(r.MAINTENANCE_AT, [r.MAINTENANCE_KEY])
    kit.run_ms(2000)
    assert kit.read("relay") == 0
    kit.run_ms(590000)
    assert kit.read("relay") == 0
    kit.run_ms(12000)
    assert kit.read("relay") == 1
    assert kit.client().values()["reset_cause"] == 2


def test_hours_pass_in_one_stride(kit):
    kit.run_ms(1000)
    before = kit.client().values()
    kit.stride_ms(20 * 3600 * 1000)
    kit.run_ms(200)
    after = kit.client().values()
    assert after["uptime"] - before["uptime"] == 20 * 60
    assert after["passes"] - before["passes"] < 20
    assert kit.board.causes[-1] == 0, "the watchdog does not count a stride"


def test_wires_are_checked(kit):
    with pytest.raises(InputError, match='no wire "leed"'):
        kit.drive("leed", 1)
    with pytest.raises(InputError, match='"pump_1" is an output of the controller'):
        kit.drive("pump_1", 1)
    with pytest.raises(InputError, match="a whole number from 0 to 2"):
        kit.drive("selector_1", 3)
    with pytest.raises(InputError, match="from 0 to 200000 mA"):
        kit.drive("current_1", 1.5)
    assert all(kit.read(name) == kit.rest[name] for name in wires.INPUTS)


def test_the_wires_of_a_raw_record_are_those_that_made_it():
    values = wires.rest_values()
    assert values["high"] == 1 and values["lead"] == 0, "high is normally closed"
    values |= {"lag": 1, "level": 12345, "selector_2": 2, "thermal_1": 1}
    assert wires.from_raw(wires.raw_record(values)) == values


def test_a_kit_says_what_it_lacks(kit):
    class Poor(VirtualKit):
        wires = frozenset({"lead", "pump_1", "current_1"})
        abilities = frozenset({"power"})

        def __init__(self):
            pass

    poor = Poor()
    for need in ("power", "lead"):
        poor.need(need)
    for need, words in (("hang", 'cannot do "hang"'), ("lag", 'no wire "lag"'), ("current", 'no wire "current_2"')):
        with pytest.raises(Missing, match=words):
            poor.need(need)
    for need in (*ABILITIES, "current", *wires.WIRES):
        kit.need(need)


def test_settings_that_the_firmware_refuses_make_no_board():
    micropython()
    values = bench_settings()
    values[0] = 1
    with pytest.raises(InputError, match="debounce = 1: a whole number from 200 to 5000 ms"):
        VirtualKit(settings=values)
