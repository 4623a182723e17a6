"""Exactly like ticking: the event-driven run keeps the journal of stepping every 100 ms, record for record."""

from dataclasses import replace
from functools import cache

import pytest
from hypothesis import HealthCheck, given, note, settings
from hypothesis import strategies as st

from host_sim.plant.equipment import Inflow, Transmitter
from host_sim.run import closed_loop
from host_sim.site import faults
from tests.plant_sites import BATTERY, CONTACTS, GPM, PUMP, SEPARATE, site
from tests.property.examples import in_proportion

NIGHT_S = 1200.0


@cache
def sites():
    """Return a few sites of our own invention that differ in what is fitted."""
    more = BATTERY
    leaky = (
        '[groundwater]\nconductance = "4 gpm/ft"\nlevel = "26 in"\ntwo_way = true\n'
        'holes = [{ level = "5 in", diameter = "0.25 in", count = 30 }]\n'
    )
    stored = (
        '[[inflow]]\nkind = "constant"\nrate = "9 gpm"\n'
        '[groundwater]\nconductance = "20 gpm/ft"\nstorage = { area = "40 ft2", start_level = "12 in" }\n'
    )
    weep = PUMP + 'weep_hole = "3/16 in"\n'
    sensing = '[controller]\nsensing = "nothing"\n'
    feedback = '[controller]\nsensing = "feedback"\n'
    transmitter = (
        '[transmitter]\nspan = "1 m"\nnoise = "3 mm"\n[settings]\nlevel_off = "152 mm"\nlevel_lead = "356 mm"\n'
        'level_lag = "406 mm"\n'
    )
    high = '[contacts]\nhigh = { wet_at = "18 in", dry_at = "17 in", normally_closed = true }\n'
    returning = 'seeps_back = "40 %"\nseeps_back_after = "3 min"'
    return (
        site(more=more),
        site(pump=weep, discharge=SEPARATE, more=sensing),
        site(inflow=leaky, contacts=CONTACTS, more=feedback),
        site(inflow=stored, more='[supply]\ngenerator = { starts_after = "40 s" }\n'),
        site(contacts=high, more=transmitter),
        site(discharge=SEPARATE.replace("[discharge]", "[discharge]\n" + returning)),
    )


@st.composite
def drawn_faults(draw):
    """Return up to four faults that begin in the first quarter of an hour."""
    found = []
    for _ in range(draw(st.integers(0, 4))):
        name = draw(st.sampled_from(sorted(faults.REGISTRY)))
        start = draw(st.integers(0, 9000)) / 10
        lasts = draw(st.one_of(st.none(), st.integers(20, 4000)))
        kind = faults.REGISTRY[name]
        found.append(
            faults.Fault(
                name,
                start,
                None if lasts is None or kind.at_once else start + lasts / 10,
                kind.parameter.default if kind.parameter else 0.0,
            )
        )
    return found


def records(trace):
    """Return the records of a journal as plain tuples."""
    return [
        (r.time_ms, getattr(r, "inputs", None), getattr(r, "outputs", None), getattr(r, "power", None))
        for r in trace.journal.records
    ]


@pytest.mark.long
@settings(max_examples=in_proportion(60), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    which=st.integers(0, 5),
    gpm=st.sampled_from([0, 2, 8, 15, 20, 32, 60]),
    later=st.sampled_from([0, 5, 25]),
    start_m=st.floats(0.0, 0.5),
    wave_mm=st.sampled_from([0, 0, 3]),
    seed=st.integers(0, 1000),
    names=drawn_faults(),
    offset_ms=st.sampled_from([0, (1 << 30) - 600_000]),
)
def test_event_driven_and_ticking_journals_are_equal(which, gpm, later, start_m, wave_mm, seed, names, offset_ms):
    where = sites()[which]
    rates = Inflow([0.0, 611.3], [gpm * GPM, later * GPM], None)
    if where.inflow.heads_m is not None:
        rates.heads_m = [where.inflow.heads_m[0]] * 2
    where = replace(where, duration_s=NIGHT_S, inflow=rates, start_m=start_m, wave_m=wave_mm / 1000)
    note([f"{f.name}@{f.start_s}+{f.end_s}" for f in names])
    jumping = closed_loop.run(where, faults=names, seed=seed, offset_ms=offset_ms)
    ticking = closed_loop.run(where, faults=names, seed=seed, offset_ms=offset_ms, ticking=True)
    ours, theirs = records(jumping), records(ticking)
    assert len(theirs) > 1  # nothing compared is no pass
    for a, b in zip(ours, theirs, strict=False):
        assert a == b
    assert len(ours) == len(theirs)
    assert jumping.totals.balance_relative < 1e-9
    assert ticking.totals.balance_relative < 1e-9


@pytest.mark.parametrize(("which", "name"), [(0, "lead-chattering"), (0, None), (4, None)])
def test_ticks_on_which_waves_noise_or_chatter_change_nothing_are_no_steps(which, name):
    names = [faults.Fault(name, 0.0, None, 0.0)] if name else []
    where = replace(sites()[which], duration_s=NIGHT_S, inflow=Inflow([0.0], [15 * GPM], None), wave_m=0.003)
    jumping = closed_loop.run(where, faults=names, seed=5)
    ticking = closed_loop.run(where, faults=names, seed=5, ticking=True)
    assert records(jumping) == records(ticking)
    assert jumping.totals.steps < 0.5 * ticking.totals.steps


def test_the_comparison_can_fail():
    where = replace(sites()[0], duration_s=NIGHT_S)
    one, other = closed_loop.run(where, seed=1), closed_loop.run(replace(where, start_m=0.2), seed=1)
    assert records(one) != records(other)


def test_a_transmitter_site_is_among_them():
    assert isinstance(sites()[4].transmitter, Transmitter)
