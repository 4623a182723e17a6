"""M5, the last resort: what two pumps do by their floats alone, and that it agrees with what it must not import."""

import ast
import importlib
import sys
import types
from pathlib import Path

import pytest
from duplexsump import marks
from duplexsump.control import records as r
from duplexsump.control import settings as s
from duplexsump.station import minimal as m
from duplexsump.station import store

OFF, ALL = 1, 15
FED = m.MAINS


def floats(**options):
    """Return a rule that has been powered for 70 s, and its time."""
    rule = m.FloatsOnly(0, **options)
    return rule, run(rule, 0, 70, 0)[1]


def run(rule, wet, seconds, now, bits=FED):
    """Hold the contacts wet; return (outputs, time)."""
    for _ in range(int(seconds * 10)):
        out = rule.step(now, (wet ^ rule.normally_closed) | bits)
        now = now + 100 & 0x3FFFFFFF
    return out, now


def test_it_pumps_between_lead_and_off():
    rule, now = floats()
    out, now = run(rule, OFF | m.LEAD, 1, now)
    assert out == 1
    out, now = run(rule, OFF, 10, now)
    assert out == 1
    assert run(rule, 0, 1, now)[0] == 0


def test_it_runs_both_and_sounds_with_high():
    rule, now = floats()
    assert run(rule, ALL, 5, now)[0] == 3 | m.ALARM


def test_with_high_wet_from_power_up_a_pump_runs_after_the_hold_and_the_second_after_the_spacing():
    rule = m.FloatsOnly(0)
    assert run(rule, ALL, m.HOLD_MS // 1000, 0)[0] == m.ALARM
    out, now = run(rule, ALL, 0.1, m.HOLD_MS)
    assert out == 1 | m.ALARM
    out, now = run(rule, ALL, m.SPACING_MS // 1000 - 0.1, now)
    assert out == 1 | m.ALARM
    assert run(rule, ALL, 0.1, now)[0] == 3 | m.ALARM


def test_it_ends_on_a_stuck_off_after_a_blind_run():
    rule, now = floats()
    _, now = run(rule, OFF | m.LEAD, 1, now)
    out, now = run(rule, OFF, 34, now)
    assert out == 1
    assert run(rule, OFF, 3, now)[0] == 0


@pytest.mark.parametrize("fault", [m.SELECT_OFF, m.HOT])
def test_a_pump_that_is_off_or_hot_is_left_alone_and_the_other_takes_its_turn(fault):
    rule, now = floats()
    assert run(rule, OFF | m.LEAD, 1, now, FED | fault)[0] == 2
    assert run(rule, ALL, 9, now, FED | 3 * fault)[0] == m.ALARM
    rule, now = floats()
    _, now = run(rule, OFF | m.LEAD, 1, now)
    assert run(rule, OFF | m.LEAD, 1, now, FED | fault)[0] == 0, "the start spacing"
    assert run(rule, OFF | m.LEAD, 2, now + 1000, FED | fault)[0] == 2, "while it runs"


def test_a_pump_without_its_supply_is_left_alone_until_high_is_wet():
    rule, now = floats()
    out, now = run(rule, OFF | m.LEAD | m.LAG, 9, now, 0)
    assert out == 0
    assert run(rule, ALL, 9, now, 0)[0] == 3 | m.ALARM, "an open wire at the mains relay must not drown the pit"
    rule, now = floats(on_mains=1)
    assert run(rule, OFF | m.LEAD, 9, now, 0)[0] == 2, "pump 2 has a battery"


@pytest.mark.parametrize(("wet", "rest_ms"), [(OFF | m.LEAD, 20000), (OFF | m.LEAD | m.LAG, 20000), (ALL, 10000)])
def test_a_pump_rests_before_it_starts_again(wet, rest_ms):
    rule, now = floats()
    _, now = run(rule, OFF | m.LEAD, 9, now)
    out, now = run(rule, 0, 1, now)
    stopped = now - 1000
    while not out & 1:
        out, now = run(rule, wet, 0.1, now, FED | m.SELECT_OFF << 1)
    assert now - 100 - stopped == rest_ms


def test_it_counts_on_across_the_wrap_and_after_a_month_of_quiet():
    rule = m.FloatsOnly(0x3FFFFFFF - 5000)
    out, _ = run(rule, ALL, 10.2, 0x3FFFFFFF - 5000)
    assert out & 1
    rule, now = floats()
    for _ in range(40):
        now = now + 80000000 & 0x3FFFFFFF
        rule.step(now, m.NORMALLY_CLOSED | FED)
    assert run(rule, OFF | m.LEAD, 0.1, now)[0] == 1


def test_it_imports_nothing_of_the_firmware():
    tree = ast.parse(Path(m.__file__).read_text(encoding="utf-8"))
    found = {name.name for node in ast.walk(tree) if isinstance(node, ast.Import) for name in node.names}
    found |= {f"{'.' * node.level}{node.module}" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert found == {"sys", "time", "os", "binascii", "machine", "micropython", "array"}


def test_what_is_built_in_agrees_with_the_settings_defaults_and_the_marks():
    assert m.BENCH_INPUTS == r.N_INPUTS  # a record that grew left the last resort out of step with the bench
    values = s.defaults()
    assert (values[s.NORMALLY_CLOSED], values[s.FITTED]) == (m.NORMALLY_CLOSED, m.FITTED)
    named = {s.BLIND_RUN_MS: m.BLIND_RUN_MS, s.BOOT_HOLD_MS: m.HOLD_MS, s.START_SPACING_MS: m.SPACING_MS,
             s.MIN_OFF_MS: m.REST_MS, s.LAG_MIN_OFF_MS: m.REST_LAG_MS, s.FLOOD_MIN_OFF_MS: m.REST_FLOOD_MS}  # fmt: skip
    assert {place: values[place] for place in named} == named
    assert m.known("/no/such/folder") == (8, 15, 3, 35000)
    assert (m.LEAD, m.LAG, m.HIGH) == (r.LEAD, r.LAG, r.HIGH)
    for mark in (0, m.ASKED, m.MAINTENANCE, m.FAULT):
        assert m.marked(m.MAGIC + 0x200, mark) == marks.marked(marks.MAGIC + 0x200, mark)
    for name in ("MAGIC", "ASKED", "MAINTENANCE", "FAULT"):
        assert getattr(m, name) == getattr(marks, name)


@pytest.mark.parametrize(("platform", "name"), [("rp2", "pico"), ("esp32", "esp32")])
def test_its_pins_are_those_of_the_wiring_table(monkeypatch, platform, name):
    monkeypatch.setitem(sys.modules, "machine", types.ModuleType("machine"))
    for module in ("wired", name):
        monkeypatch.delitem(sys.modules, f"duplexsump.boards.{module}", raising=False)
    board = importlib.import_module(f"duplexsump.boards.{name}")
    by_wire = {row[4]: row[1] for row in board.WIRING}
    for module in ("wired", name):
        sys.modules.pop(f"duplexsump.boards.{module}", None)
    outputs = ("pump 1", "pump 2", "horn", "beacon", "alarm relay")
    contacts = ("float off", "float lead", "float lag", "float high", "selector 1 OFF", "selector 2 OFF", "thermal 1",
                "thermal 2", "mains present")  # fmt: skip
    assert m.PINS[platform] == (tuple(by_wire[w] for w in outputs), tuple(by_wire[w] for w in contacts))


def test_it_takes_floats_and_supplies_from_the_newest_sound_slot(tmp_path):
    kept = store.Store(str(tmp_path))
    values = s.defaults()
    values[s.NORMALLY_CLOSED], values[s.SUPPLY_2], values[s.BLIND_RUN_MS] = 15, 1, 40000
    kept.save(values)
    assert m.known(str(tmp_path)) == (15, 15, 1, 40000)
    values[s.NORMALLY_CLOSED] = 12
    kept.save(values)
    assert m.known(str(tmp_path)) == (12, 15, 1, 40000)
    newest = tmp_path / f"settings.{store.SLOTS[kept.slot]}"
    newest.write_bytes(newest.read_bytes().replace(b"normally_closed 12", b"normally_closed 13"))
    assert m.known(str(tmp_path)) == (15, 15, 1, 40000), "a slot whose sum does not hold is none"
    newest.write_bytes(bytes(2000000))
    assert m.known(str(tmp_path)) == (15, 15, 1, 40000)
