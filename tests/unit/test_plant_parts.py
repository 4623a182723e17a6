"""The parts of the simulated night: inflow, measured water table, journal, supply, trace, benchmark."""

import json
from dataclasses import replace
from importlib.util import find_spec

import pytest
from duplexsump.control.records import IN_BATTERY

from host_sim.benchmark import speed
from host_sim.errors import InputError
from host_sim.plant import battery as batteries
from host_sim.plant import inflow, noise, storm, water_table
from host_sim.plant.equipment import Battery
from host_sim.run import closed_loop
from host_sim.run.journal import Life, firmware_checksum, read_journal
from host_sim.site import faults
from host_sim.site.load import load_site, packaged
from tests.plant_sites import BATTERY, CONTACTS, GPM, INCH, INFLOW, PIT, SCENARIO, Still, night, site

DAY = 86400.0


def test_steps_of_a_hydrograph_carry_its_water_exactly():
    points = [(0.0, 0.0), (600.0, 1.0), (1200.0, 1.0), (3000.0, 0.25)]
    exact = 300.0 + 600.0 + 1800.0 * 0.625
    flow = inflow.combine([inflow.steps_of_flow(points)])
    assert inflow.volume_m3(flow, 4000.0) == pytest.approx(exact, rel=1e-9)
    assert max(abs(b - a) for a, b in zip(flow.rates_m3s, flow.rates_m3s[1:], strict=False) if b) <= 1.01 / 200
    assert flow.rates_m3s[-1] == 0.0
    flat = inflow.steps_of_flow([(0.0, 1.0), (1e6, 1.0)])
    assert len(flat) == 2  # a flat stretch costs nothing


def test_flows_add_up():
    one, two = [(0.0, 1.0), (10.0, 0.0)], [(5.0, 2.0)]
    assert inflow.combine([one, two]).rates_m3s == [1.0, 3.0, 2.0]


def test_a_hydrograph_is_read_from_a_file(tmp_path):
    path = tmp_path / "flow.csv"
    path.write_text("# invented\ntime [min],flow [gpm]\n0,1\n10,5\n60,2\n")
    assert storm.read_hydrograph(path) == [
        (0.0, pytest.approx(GPM)),
        (600.0, pytest.approx(5 * GPM)),
        (3600.0, pytest.approx(2 * GPM)),
    ]
    for broken, said in (("time,flow\n0,1\n1,2\n", "unit in brackets"), ("time [min],flow [gpm]\n0,1\n", "two rows")):
        path.write_text(broken)
        with pytest.raises(ValueError, match=said):
            storm.read_hydrograph(path)


needs_gensor = pytest.mark.skipif(find_spec("gensor") is None, reason="gensor (the measured water table) is missing")


@needs_gensor
@pytest.mark.parametrize("well", ["a", "b"])
def test_the_defects_of_the_measured_water_table_are_handled(well):
    points, notes = water_table.water_columns(well)
    columns = [column for _, column in points]
    assert 13000 < len(points) < 16000
    assert 1.0 < min(columns) < max(columns) < 4.0  # the logger out of the water reads near 0
    assert [time for time, _ in points] == sorted({time for time, _ in points})
    out = int(notes[0].split()[0])
    assert 4 <= out <= 30
    near = [abs(b[1] - a[1]) for a, b in zip(points, points[1:], strict=False) if (b[0] - a[0]).total_seconds() < 4000]
    assert max(near) < 0.3


@needs_gensor
def test_a_run_beyond_the_measurements_is_refused():
    points, _ = water_table.water_columns("a")
    with pytest.raises(ValueError, match="the measurements run from 2020-07-04"):
        water_table.levels(points, points[-1][0], DAY, 1.0)
    levels = water_table.levels(points, points[100][0], 10 * DAY, 1.0, 2.0)
    assert levels[0][0] <= 0.0
    assert levels[-1][0] >= 10 * DAY
    assert levels[1][1] == pytest.approx(2.0 * (points[100][1] - 1.0))


def test_a_water_table_of_ones_own_is_read_from_a_file(tmp_path):
    (tmp_path / "table.csv").write_text("time,level\n2024-01-01T00:00,2.0\n2024-01-02T00:00,2.5\n")
    path = tmp_path / "site.toml"
    from tests.plant_sites import text

    series = (
        '[groundwater]\nconductance = "1 gpm/ft"\n[groundwater.series]\nsource = "file"\nfile = "table.csv"\n'
        'begins = "2024-01-01T00:00"\nzero = "1.6 m"\n'
    )
    path.write_text(text(inflow=series))
    heads = load_site(path).inflow.heads_m
    assert heads[0] == pytest.approx(0.4, abs=0.003)
    path.write_text(text(inflow=series.replace("2024-01-01", "2023-01-01")))
    with pytest.raises(InputError, match="the measurements run from"):
        load_site(path)


@needs_gensor
def test_three_weeks_beside_the_measured_water_table_keep_the_floor_dry():
    where = load_site(packaged("water_table"))
    trace = closed_loop.run(replace(where, duration_s=21 * DAY, faults=[], actions=[]))
    assert trace.floor_dry
    assert trace.totals.balance_relative < 1e-9


def test_noise_is_the_same_in_whatever_order_it_is_asked_for():
    forward = [noise.uniform(3, i, 1) for i in range(1000)]
    assert forward == [noise.uniform(3, i, 1) for i in reversed(range(1000))][::-1]
    assert abs(sum(forward)) < 60
    assert min(forward) < -0.9
    assert max(forward) > 0.9
    assert forward != [noise.uniform(4, i, 1) for i in range(1000)]
    waves = [noise.wave(3, i, 0.005) for i in range(1000)]
    assert max(abs(w) for w in waves) <= 0.005
    assert max(waves) > 0.004


def test_the_journal_is_written_and_read_back(tmp_path):
    trace = night(site(more=BATTERY), ["controller-reset@5min", "lead-stuck-dry@6min"])
    path = tmp_path / "journal.jsonl"
    trace.journal.write(path)
    again = read_journal(path)
    assert again.settings == trace.journal.settings
    assert again.checksum == firmware_checksum()
    assert len(again.records) == len(trace.journal.records) > 20
    for ours, theirs in zip(trace.journal.records, again.records, strict=True):
        if isinstance(ours, Life):
            assert ours == theirs
        else:
            assert (ours.time_ms, tuple(ours.inputs), tuple(ours.outputs)) == (
                theirs.time_ms, theirs.inputs, theirs.outputs,
            )  # fmt: skip
    lines = path.read_text().splitlines()
    assert json.loads(lines[0])["format"] == "sumpbench-journal"
    path.write_text("\n".join([lines[0], lines[1], "{}"]))
    with pytest.raises(ValueError, match="line 3"):
        read_journal(path)
    path.write_text('{"format": "other"}\n')
    with pytest.raises(ValueError, match="line 1"):
        read_journal(path)


def test_the_journal_replays_to_the_same_outputs():
    from duplexsump.control.controller import Controller
    from duplexsump.control.ticks import diff

    trace = night(site(more=BATTERY), ["off-stuck-wet@3min+5min", "pump1-jammed@8min", "mains-lost@12min+3min"])
    records = trace.journal.records
    life = records[0]
    controller = Controller(trace.journal.settings)
    controller.power_up(life.now_ms, life.retained)
    now, compared, inputs = 0, 0, None
    for record in records[1:]:
        while inputs is not None:
            due = now + diff(controller.next_due(now), now)
            if due >= record.time_ms:
                break
            now = due
            controller.step(now, list(inputs), True)
        now, inputs = record.time_ms, record.inputs
        assert list(controller.step(now, list(inputs), True)) == record.outputs
        compared += 1
    assert compared > 30


def test_a_generator_takes_over_and_gives_back():
    where = site(more='[supply]\ngenerator = { starts_after = "40 s" }\n', pit=PIT)
    trace = night(where, ["mains-lost@5min+5min"])
    assert [(span.name, span.start_s, span.end_s) for span in trace.supply] == [
        ("mains", 0.0, 300.0), ("none", 300.0, 340.0), ("generator", 340.0, 600.0), ("mains", 600.0, 1200.0),
    ]  # fmt: skip
    assert any(record.inputs[10] for record in trace.journal.records if not isinstance(record, Life))


def test_an_inverter_that_is_too_small_does_not_start_the_pump():
    words = BATTERY.replace("rated_current", "# rated_current").replace('volts = "12 V"\n', "").replace(
        'supply = "battery"', 'supply = "either"'
    ).replace("power_factor = 1.0\n", "")
    for limit, runs in (("6 kW", True), ("2 kW", False)):
        where = site(more=words + f'inverter = {{ efficiency = "85 %", limit = "{limit}" }}\n')
        bench = Still(where, ["mains-lost"])
        before = bench.after(1).volume_m3
        assert (bench.command(0, 1).after(10).volume_m3 < before) == runs


def test_a_controller_on_the_mains_dies_with_it_and_keeps_what_survives():
    trace = night(site(), ["mains-lost@5min+2min"])
    lives = [(r.time_ms, r.power) for r in trace.journal.records if isinstance(r, Life)]
    assert lives == [(0, "up"), (300000, "down"), (420000, "up")]
    assert trace.journal.records[-1].time_ms > 420000
    retained = [r.retained for r in trace.journal.records if isinstance(r, Life) and r.power == "up"]
    assert retained[0] is None
    assert retained[1] is not None
    assert ("controller", 300.0, 420.0) in [(s.name, s.start_s, s.end_s) for s in trace.outputs]


def test_what_people_do_is_seen_by_the_controller():
    words = """
[[action]]
at = "20:02"
do = "selector1"
to = "off"
[[action]]
at = "10 min"
do = "selector1"
to = "auto"
[[action]]
at = "12 min"
do = "silence"
for = "4 s"
[[action]]
at = "13 min"
do = "mains"
to = "off"
"""
    trace = night(site(more=words))
    assert not [run for run in trace.runs if run.pump == 1 and 120.0 < run.start_s < 600.0]
    assert [run for run in trace.runs if run.pump == 1 and run.start_s > 600.0]
    presses = [(e.time_s, e.data["pressed"]) for e in trace.events if e.kind == "button"]
    assert presses == [(720.0, True), (724.0, False)]
    assert trace.supply[-1].name == "none"


def test_the_trace_tells_the_night():
    where = site(more=BATTERY + '[settings]\nmains_grace = "10 s"\n')
    trace = night(where, ["mains-lost@5min+4min", "lead-stuck-dry@10min", "pump1-jammed@12min"])
    totals = trace.totals
    assert len(trace.time_s) == len(trace.level_m) == len(trace.inflow_m3s) == len(trace.battery_v)
    assert trace.time_s == sorted(trace.time_s)
    assert trace.time_s[0] == 0.0
    assert trace.time_s[-1] == trace.duration_s
    assert max(b - a for a, b in zip(trace.time_s, trace.time_s[1:], strict=False)) <= 5.01
    assert totals.highest_m >= max(trace.level_m) - 1e-9
    assert totals.inflow_m3 == pytest.approx(10 * GPM * 1200.0, rel=1e-9)
    assert sum(run.moved_m3 for run in trace.runs) == pytest.approx(totals.pumped_m3, rel=1e-9)
    assert [sum(run.end_s - run.start_s for run in trace.runs if run.pump == n) for n in (1, 2)] == pytest.approx(
        totals.run_s
    )
    assert [len([run for run in trace.runs if run.pump == n]) for n in (1, 2)] == totals.starts
    assert {span.name for span in trace.faults} == {"mains-lost", "lead-stuck-dry", "pump1-jammed"}
    alarms = {alarm.name: alarm for alarm in trace.alarms}
    assert alarms["mains_lost"].raised_s == pytest.approx(310.0, abs=0.2)
    assert alarms["mains_lost"].cleared_s == pytest.approx(555.0, abs=0.2)
    assert [span.contact for span in trace.suspects] == ["lead"]
    assert totals.first_alarm_s == pytest.approx(310.0, abs=0.2)
    assert any(e.kind == "motor" and e.data == {"pump": 1, "what": "stalled"} for e in trace.events)
    assert trace.contact_changes["lead"][0][0] == 0.0
    assert trace.floor_dry


def test_water_on_the_floor_is_counted_from_when_to_when():
    flood = '[[inflow]]\nkind = "constant"\nrate = "30 gpm"\nuntil = "8 min"\n'
    names = ["pump1-breaker-open+12min", "pump2-breaker-open+12min"]
    trace = night(site(inflow=flood, scenario=SCENARIO.replace("20 min", "1 h")), names)
    volume = site().pit.floor_m3 - site().pit.volume_m3(6 * INCH)
    assert trace.totals.floor_first_s == pytest.approx(volume / (30 * GPM), rel=1e-6)
    assert not trace.floor_dry
    wet = [e.time_s for e in trace.events if e.kind == "floor"]
    assert wet[1] - wet[0] == pytest.approx(trace.totals.floor_wet_s, abs=0.2)
    assert [e.data["wet"] for e in trace.events if e.kind == "floor"] == [True, False]


def test_waves_change_the_journal_but_not_the_water():
    # Floats on a short tether: waves of 8 mm cross their dead band of 5 mm several times.
    short = CONTACTS.replace("13 in", "13.8 in").replace('dry_at = "6 in"', 'dry_at = "6.8 in"')
    calm, rough = site(contacts=short), site(contacts=short, more='[waves]\nheight = "8 mm"\n')
    one, two = closed_loop.run(calm), closed_loop.run(rough)
    assert len(two.journal.records) > len(one.journal.records)
    assert two.totals.inflow_m3 == pytest.approx(one.totals.inflow_m3)


def test_a_run_is_the_same_every_time_and_another_seed_is_another_night():
    where = site(inflow=INFLOW, more='[waves]\nheight = "8 mm"\n')
    records = [[(r.time_ms, str(vars(r))) for r in closed_loop.run(where, seed=s).journal.records] for s in (1, 1, 2)]
    assert records[0] == records[1] != records[2]


def test_another_controller_is_refused():
    with pytest.raises(InputError, match='"duplex" or "single"'):
        closed_loop.run(site(), controller="triplex")


def test_progress_is_told():
    seen = []
    closed_loop.run(site(), ticking=True, progress=seen.append)
    assert seen[-1] == 1.0
    assert seen == sorted(seen)
    assert len(seen) >= 6


@pytest.mark.long
def test_the_demo_night_is_kept_dry_by_two_pumps_and_not_by_one():
    where = load_site(packaged("demo"))
    pair, single = closed_loop.run(where), closed_loop.run(where, controller="single")
    assert pair.floor_dry
    assert pair.totals.highest_m < 20 * INCH
    assert single.totals.floor_wet_s > 3600.0
    assert {f.name for f in pair.faults} == {"mains-lost", "lead-stuck-dry", "pump1-jammed"}
    assert pair.totals.first_alarm_s is not None
    assert max(pair.inflow_m3s) < 25 * GPM  # one pump alone carries the peak


def test_the_ordinary_year_has_at_most_24_cycles_a_day():
    year = speed.ordinary_year(load_site(packaged("demo")))
    week = replace(year, duration_s=4 * DAY, inflow=replace(year.inflow, rates_m3s=[max(year.inflow.rates_m3s)] * 365))
    trace = closed_loop.run(week)
    assert 20 * 4 <= sum(trace.totals.starts) <= 24 * 4
    row = speed.Row("x", 3600.0, 0.5, 1000)
    assert row.us_per_step == 500.0
    assert row.ms_per_hour == 500.0
    assert row.times_real == 7200.0


def test_every_pair_of_hydraulic_faults_can_be_run():
    names = [name for name in faults.REGISTRY if name.startswith(("pump1", "discharge"))]
    where = site(scenario=SCENARIO.replace("20 min", "90 s"), more=BATTERY)
    for i, one in enumerate(names):
        trace = night(where, [one, names[(i * 7 + 3) % len(names)], "pump2-check-missing"])
        assert trace.totals.balance_relative < 1e-9


def test_a_battery_never_shows_less_than_nothing():
    # An invented battery of 1 ohm under 20 A: by resistance alone it would show -8 V.
    cell = Battery(360_000.0, resistance_ohm=1.0)
    assert batteries.volts(cell, 0.5, 20.0, 1.0, False) == 0.0
    assert batteries.volts(cell, 0.5, 2.0, 1.0, False) == pytest.approx(12.05 - 2.0)


def test_a_feeble_battery_reads_nothing_and_skipping_sees_it_when_ticking_does():
    words = BATTERY.replace("peukert = 1.2", 'peukert = 1.2, resistance = "1 ohm"')
    bench = Still(site(more=words), ["mains-lost"]).after(60.0)
    assert bench.raw[IN_BATTERY] > 12_000
    assert bench.command(0, 1).after(10.0).raw[IN_BATTERY] == 0
    # A load under which the rest of the voltage wears away within the night: 12.1 V lost of 12.7 at first.
    words = BATTERY.replace("peukert = 1.2", 'peukert = 1.2, resistance = "0.6 ohm", discharged = "40 %"')
    runs = [night(site(more=words), ["mains-lost@3min"], ticking=ticking) for ticking in (False, True)]
    assert runs[0].journal.records == runs[1].journal.records
    assert min(runs[0].battery_v) >= 0.0
