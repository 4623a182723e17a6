"""The plant in the loop: the same night in the simulator and on a virtual board gives the same journal."""

from dataclasses import replace

import pytest

from hil.kits.virtual import VirtualKit
from hil.rehearsal.pit_in_loop import PitInLoop
from host_sim.board import readback
from host_sim.replay import exact
from host_sim.run import closed_loop
from host_sim.run.journal import Life
from host_sim.run.schedule import RESET_MS
from host_sim.site.faults import parse_fault
from host_sim.site.load import load_site, packaged
from tests.micropython.places import micropython
from tests.sampled import sampled


def as_rows(journal):
    """Return a journal as rows of (ms, "up" or "down") and (ms, inputs, outputs)."""
    rows = []
    for record in journal.records:
        if isinstance(record, Life):
            rows.append((record.time_ms, record.power))
        else:
            rows.append((record.time_ms, tuple(record.inputs), tuple(record.outputs)))
    return rows


def on_a_board(site, faults=(), boot_ms=None):
    """Take a virtual board through a site's night; return (the loop, the journals that the board kept)."""
    with VirtualKit(settings=site.settings) as kit:
        if boot_ms is not None:
            kit.board.boot_ms = boot_ms
        night = PitInLoop(kit, site, faults)
        night.begin()
        night.run_ms(round(site.duration_s * 1000.0))
        segments = [readback.read_segment(data) for data in readback.fetch(kit.client())]
        return night, segments


@pytest.mark.long
def test_the_demo_night_gives_the_same_journal_record_for_record():
    micropython()
    site = load_site(packaged("demo"))
    simulated = closed_loop.run(site).journal
    _, segments = on_a_board(site)
    journals = readback.to_journals(segments)
    assert len(journals) == 1
    mine, theirs = as_rows(journals[0]), as_rows(simulated)
    assert len(theirs) > 2000
    # Not a tick is between them: the same instants, inputs and outputs.
    assert mine == theirs
    assert readback.replay(segments).differences == []
    passed = exact.replay(journals[0])
    assert (passed.passed, passed.reason) == (True, "identical")


def short(hours):
    site = load_site(packaged("demo"))
    return replace(site, duration_s=hours * 3600.0, faults=[], actions=[])


@pytest.mark.long
@pytest.mark.parametrize("supply", sampled(["battery", "mains"], 2))
def test_a_mains_failure_takes_the_controller_with_it_or_not_as_the_site_says(supply):
    micropython()
    site = short(2.0)
    site = replace(site, supply=replace(site.supply, controller=supply))
    fault = [parse_fault("mains-lost@1h+20min", site.begins_s)]
    simulated = closed_loop.run(site, fault).journal
    # The simulator knows no boot: the board's is left out here, so that the two may be laid side by side.
    night, segments = on_a_board(site, fault, boot_ms=0)
    lives = [row for row in as_rows(simulated) if len(row) == 2]
    assert [what for _, what in night.lost] == ([] if supply == "battery" else ["power lost", "power returns"])
    assert len(lives) == (1 if supply == "battery" else 3)
    mine = [record for journal in readback.to_journals(segments) for record in as_rows(journal)]
    theirs = as_rows(simulated)
    if supply == "battery":
        assert mine == theirs
        return
    # The journal does not know how long the board was dead: the two lives are compared each from its own beginning.
    assert split(mine) == split(theirs)
    assert len(split(mine)) == 2 and all(len(life) > 20 for life in split(mine))


def split(rows):
    """Return the records of each life, times from its beginning."""
    found = []
    for row in rows:
        if row[1:] == ("up",):
            found.append([])
            began_ms = row[0]
        elif len(row) == 3:
            found[-1].append((row[0] - began_ms, *row[1:]))
    return found


@pytest.mark.long
def test_a_reset_by_a_fault_begins_a_new_life():
    micropython()
    site = short(0.5)
    fault = [parse_fault("controller-reset@10min", site.begins_s)]
    simulated = closed_loop.run(site, fault).journal
    night, segments = on_a_board(site, fault, boot_ms=0)
    assert night.lost == [(600000, "power lost"), (600000 + RESET_MS, "power returns")]
    mine = [record for journal in readback.to_journals(segments) for record in as_rows(journal)]
    assert len(split(mine)) == 2
    assert split(mine) == split(as_rows(simulated))


@pytest.mark.long
def test_another_firmware_gives_another_journal(tmp_path):
    """The comparison can fail: a longer debounce in the settings of the board alone."""
    micropython()
    site = short(0.5)
    settings = list(site.settings)
    settings[0] += 100
    with VirtualKit(settings=settings) as kit:
        night = PitInLoop(kit, site)
        night.begin()
        night.run_ms(round(site.duration_s * 1000.0))
        segments = [readback.read_segment(data) for data in readback.fetch(kit.client())]
    mine = as_rows(readback.to_journals(segments)[0])
    theirs = as_rows(closed_loop.run(site).journal)
    assert len(mine) > 5 and mine != theirs
