"""Our own sizing against our own simulator, no source: its settings give the promised cycle time and starts."""

import random
import statistics

import pytest

from host_sim.run import closed_loop
from host_sim.site.load import read_site
from host_sim.sizing import confirm
from host_sim.sizing.document import edited
from host_sim.sizing.model import size
from host_sim.sizing.site_out import text
from tests.sizing_sites import SOUND, random_site

SITES = 24


@pytest.mark.long
def test_promise_and_simulation_agree_within_two_percent_on_random_sites(record_property):
    draw, worst_of = random.Random(71), []
    for _ in range(SITES):
        checks = confirm.confirm(size(random_site(draw)))
        assert checks
        worst_of.append(max(check.disagreement for check in checks))
    share = sum(gap <= 0.02 for gap in worst_of) / SITES
    record_property("share within 2 %", share)
    median, worst = statistics.median(worst_of), max(worst_of)
    print(f"promise against simulation: {share:.0%} of {SITES} within 2 %, median {median:.3%}, worst {worst:.3%}")
    assert share == 1.0


def test_an_unlike_pair_and_a_fixed_lead_keep_the_promise():
    unlike = {"pump1.curve": [["0 gpm", "30 ft"], ["40 gpm", "18 ft"], ["70 gpm", "0 ft"]], "pump2.supply": "mains"}
    for edits in (unlike, {**unlike, "settings": {"duty": 1, "primary": 2}}):
        result = size(edited(SOUND, {**edits, "supply": {}}))
        for check in confirm.confirm(result):
            assert check.agrees


def test_a_transmitter_s_levels_turn_where_the_controller_s_steps_do():
    # Its levels are read in steps of 10 mm, each left 4 mm outside: lead at 330 mm turns wet at 334, off at 126 dry at
    # 126.  Taken as they stand in the settings, the cycle came out 2.3 % short.
    level = {"transmitter": {"span": "1 m", "zero": "1 in"}, "sizing.floats": {"kind": "transmitter"}}
    for depth in ("30 in", "31 in", "33.3 in"):
        result = size(edited(SOUND, {**level, "pit.depth": depth}))
        found = confirm.check(result, 0.5 * result.design.inflow_m3s)
        assert found.disagreement < 0.003, (depth, found)


def test_a_promise_that_is_wrong_is_not_confirmed():
    result = size(SOUND)
    result.cycling.lead_m3 *= 1.1  # the promise of a wider band than the site has
    assert not confirm.check(result, result.design.inflow_m3s).agrees


@pytest.mark.parametrize("share", [0.3, 0.6])
def test_the_sized_site_goes_through_its_night_as_it_is(share):
    result = size(random_site(random.Random(5), share=share))
    site = read_site(text(result))
    assert site.settings == result.settings
    trace = closed_loop.run(site)
    assert trace.floor_dry
    assert trace.totals.starts[0] > 2 and abs(trace.totals.starts[0] - trace.totals.starts[1]) <= 1


def test_pump_down_times_are_those_of_the_simulated_draw_down():
    result = size(SOUND)
    trace = closed_loop.run(read_site(text(result)))
    promised = result.cycling.run_empty_s(0)
    first = min(trace.runs, key=lambda run: run.end_s - run.start_s)
    # The night's least inflow is a tenth of the design's, so a run is a little longer than one with none.
    assert promised < first.end_s - first.start_s < 1.1 * promised
