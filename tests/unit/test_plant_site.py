"""The site file: units as people write them; everything that is wrong with it said at once."""

from importlib.util import find_spec

import pytest
from duplexsump.control import settings as s

from host_sim import units
from host_sim.board import settings_file
from host_sim.errors import InputError
from host_sim.site.load import load_site, packaged, read_site
from tests.plant_sites import BATTERY, CONTACTS, DISCHARGE, GPM, INCH, INFLOW, PIT, PUMP, SCENARIO, site, text


@pytest.mark.parametrize(
    ("given", "kind", "si"),
    [
        ("18 in", "length", 0.4572),
        ("1-1/2 in", "length", 0.0381),
        ("1 1/2 in", "length", 0.0381),
        ("10 ft 6 in", "distance", 3.2004),
        ("3.2 m", "length", 3.2),
        ("45 gpm", "flow", 45 * GPM),
        ("2700 gph", "flow", 45 * GPM),
        ("2 L/s", "flow", 0.002),
        ("600 ft2", "area", 55.741824),
        ("2 gpm/ft", "conductance", 2 * GPM / 0.3048),
        ("2 in/h", "rate", 2 * INCH / 3600),
        ("100 Ah", "charge", 360000.0),
        ("20 %", "share", 0.2),
        (0.2, "share", 0.2),
        ("90 min", "time", 5400.0),
        ("500 mA", "current", 0.5),
        ("12 mohm", "resistance", 0.012),
    ],
)
def test_units_are_read_as_people_write_them(given, kind, si):
    assert units.read(given, kind) == pytest.approx(si, rel=1e-9)


@pytest.mark.parametrize(
    ("given", "kind", "said"),
    [
        ("18", "length", "has no unit"),
        (18, "length", "has no unit"),
        ("18 gpm", "length", "a length is wanted"),
        ("wet", "flow", "begin with a number"),
        ("18 furry", "length", "cannot be read"),
        ("1e999 m", "length", "not a finite number"),
        (True, "share", "is not a share"),
        (["1 in"], "length", "is not a length"),
    ],
)
def test_a_quantity_that_cannot_be_read_says_what_is_wanted(given, kind, said):
    with pytest.raises(ValueError, match=said):
        units.read(given, kind)


def test_quantities_are_shown_in_either_system():
    assert units.show(0.4572, "length") == "18 in"
    assert units.show(0.4572, "length", "si") == "457 mm"
    assert units.show(45 * GPM, "flow") == "45 gpm"
    assert units.show(0.002, "flow", "si") == "2 L/s"
    assert units.show(2000000.0, "power") == "2000000 W"


def problems(given):
    """Return what is said about a site's text, one text."""
    with pytest.raises(InputError) as error:
        read_site(given)
    assert str(error.value).count("\n") == len(error.value.problems)
    return error.value.problems


CASES = [
    (PIT, PIT.replace('depth = "24 in"\n', ""), "pit.depth: missing: a length"),
    (PIT, PIT.replace("24 in", "24 gpm"), 'pit.depth: "24 gpm" is in gpm: a length is wanted'),
    (PIT, PIT.replace("24 in", "-24 in"), "pit.depth: -24 in: must be at least 6 in"),
    (PIT, PIT.replace("depth", "dept"), 'pit.dept: unknown key; did you mean "depth"?'),
    (PIT, PIT.replace("cylinder", "cilinder"), 'did you mean "cylinder"?'),
    (PIT, PIT.replace('"6 in"', '"30 in"'), "pit.start_level: must be at or below the floor, 24 in"),
    (CONTACTS, CONTACTS.replace('"14 in"', '"17 in"'), "contacts.lag: out of order: lead and lag trip at 17 in"),
    (CONTACTS, CONTACTS.replace('"18 in"', '"25 in"'), "contacts.high.wet_at: 25 in: must be at or below the floor"),
    (CONTACTS, CONTACTS.replace('dry_at = "13 in"', 'dry_at = "14 in"'), "contacts.lead.dry_at: must be above"),
    (CONTACTS, CONTACTS.replace("high =", "hihg ="), 'contacts.hihg: unknown key; did you mean "high"?'),
    (PUMP, PUMP.replace("23 ft", "8 ft").replace("20 ft", "7 ft").replace("15 ft", "6 ft").replace("10 ft", "5 ft"),
     "pump1.curve: shut-off head 8 ft, but the static head is 8.83 ft even with the pit full"),
    (PUMP, PUMP.replace("15 ft", "21 ft"), "the head rises from 20 ft at 15 gpm to 21 ft at 33 gpm"),
    (PUMP, PUMP.replace('"3 in"', '"9 in"'), "pump1.intake: 9 in: must be at or below the level at which the off"),
    (PUMP, PUMP.replace('"8 A"', '"8 V"'), "a current is wanted"),
    (PUMP, PUMP + 'supply = "battery"\n', 'pump1.supply: "battery" needs a battery'),
    (DISCHARGE, DISCHARGE.replace("1-1/2 in", "1-3/8 in"), "the sizes at hand are 1, 1.25, 1.5"),
    (DISCHARGE, DISCHARGE.replace("elbow_90 = 2", "elbow_9 = 2"), 'elbow_9: unknown key; did you mean "elbow_90"'),
    (DISCHARGE, DISCHARGE.replace("elbow_90 = 2", 'elbow_90 = "two"'), "a whole number from 0 to 100 is wanted"),
    (DISCHARGE, DISCHARGE.replace("130 in", "20 in"), "discharge.outlet: must be above the floor, 24 in"),
    (INFLOW, "", "inflow: missing"),
    (INFLOW, INFLOW.replace("10 gpm", "-10 gpm"), "inflow[1].rate: -10 gpm: must be at least 0 gpm"),
    (INFLOW, INFLOW.replace("constant", "flood"), '"flood": one of "constant", "hydrograph", "storm"'),
    (INFLOW, '[[inflow]]\nkind = "hydrograph"\nflows = [["0 h", "1 gpm"], ["0 h", "2 gpm"]]\n', "increase from row"),
    (INFLOW, '[[inflow]]\nkind = "hydrograph"\nfile = "nowhere.csv"\n', 'inflow[1].file: "nowhere.csv"'),
    (INFLOW, '[groundwater]\nconductance = "1 gpm/ft"\n', "groundwater.level: missing: the water table"),
    (INFLOW, '[groundwater]\nconductance = "1 gpm"\nlevel = "3 ft"\n', "a flow for each length of head is wanted"),
    (SCENARIO, SCENARIO + 'faults = ["pump1-jamed", "lead-stuck-wet@99:00"]\n', "did you mean pump1-jammed"),
    (SCENARIO, SCENARIO + 'faults = ["pump1-jamed", "lead-stuck-wet@99:00"]\n', "not a clock time"),
    (SCENARIO, SCENARIO.replace('"20:00"', '"evening"'), 'scenario.begins: "evening": a clock time is wanted'),
    (SCENARIO, SCENARIO.replace("seed = 1", "seed = -1"), "scenario.seed: -1: a whole number from 0"),
    (SCENARIO, SCENARIO + '[settings]\ndebonce = "1 s"\n', 'debonce: unknown setting; did you mean "debounce"'),
    (SCENARIO, SCENARIO + '[settings]\ndebounce = "1 A"\n', "settings.debounce: "),
    (SCENARIO, SCENARIO + '[settings]\ndebounce = "9 s"\n', "settings.debounce = 9000: a whole number from 200 to"),
    (SCENARIO, SCENARIO + '[settings]\nlag_min_off = "90 s"\n', "must be at most min_off = 60000"),
    (SCENARIO, SCENARIO + '[[action]]\nat = "1 h"\ndo = "shout"\n', 'action[1].do: "shout": one of'),
    (SCENARIO, SCENARIO + '[[action]]\nat = "1 h"\ndo = "selector1"\n', "action[1].to: missing"),
    (SCENARIO, SCENARIO + '[supply]\ncharger = { current = "3 A" }\n', "needs [supply.battery]"),
    (SCENARIO, SCENARIO + "[tank]\n", "tank: unknown key"),
]  # fmt: skip


@pytest.mark.parametrize(("part", "broken", "said"), CASES, ids=range(len(CASES)))
def test_each_fault_of_a_site_names_key_value_and_what_is_allowed(part, broken, said):
    given = text().replace(part, broken)
    assert given != text() or part == broken
    assert any(said in line for line in problems(given)), problems(given)


def test_all_faults_of_a_file_are_reported_at_once():
    given = text(
        pit=PIT.replace("24 in", "24 gpm"),
        contacts=CONTACTS.replace("hihg", "high").replace('"16 in"', '"12 in"'),
        pump=PUMP.replace("15 ft", "21 ft"),
        inflow=INFLOW.replace("10 gpm", "ten gpm"),
        scenario=SCENARIO + 'faults = ["sabotage"]\n[settings]\ndebounce = "9 s"\n',
    )
    found = "\n".join(problems(given))
    for key in ("pit.depth", "contacts.lag", "curve", "inflow[1].rate", "sabotage", "settings.debounce"):
        assert key in found


def test_what_is_no_toml_and_no_file_is_said_so(tmp_path):
    assert "is not valid TOML" in problems("pit = [")[0]
    with pytest.raises(InputError, match="cannot be read"):
        load_site(tmp_path / "nowhere.toml")
    with pytest.raises(InputError, match="there are demo, water_table"):
        packaged("demon")


def test_settings_follow_from_the_site_and_are_overridden_by_name():
    plain = site()
    assert plain.settings[s.FITTED] == 15
    assert plain.settings[s.NORMALLY_CLOSED] == 8
    assert plain.settings[s.RATED_1_MA] == plain.settings[s.RATED_2_MA] == 8000
    assert s.check(plain.settings) == []
    fed = site(more=BATTERY)
    assert fed.settings[s.SUPPLY_2] == s.BATTERY
    assert fed.settings[s.CHARGER_FITTED] == 1
    assert [fed.settings[s.RATED_1_MA + n] for n in (0, 1)] == [8000, 20000]
    assert [fed.settings[s.OVERLOAD_1_MA + n] for n in (0, 1)] == [9600, 24000]
    assert [fed.settings[s.SENSOR_RANGE_1_MA + n] for n in (0, 1)] == [30000, 75000]
    words = 'min_off = "75 s"\noverload_2 = "11 A"\nduty = 2\nbattery_low = "12.1 V"\nexercise = "10 days"\n'
    own = site(more="[settings]\n" + words)
    changed = (s.MIN_OFF_MS, s.OVERLOAD_2_MA, s.DUTY, s.BATTERY_LOW_MV, s.EXERCISE_DAYS)
    assert [own.settings[i] for i in changed] == [75000, 11000, 2, 12100, 10]


@pytest.mark.parametrize("name", ["no_current", "underload", "rated", "overload"])
def test_a_setting_that_both_pumps_once_shared_is_refused_and_the_new_names_are_offered(name):
    words = f'each pump has its own: "{name}_1" and "{name}_2"'
    with pytest.raises(InputError, match=words):
        site(more=f"[settings]\n{name} = 5000\n")
    with pytest.raises(InputError, match=words):
        settings_file.put_over(s.defaults(), {name: 5000}, "old.toml")


def test_the_pump_down_time_is_that_of_the_plant():
    from tests.plant_sites import Still

    where = site(pit=PIT.replace("6 in", "13 in"), inflow='[[inflow]]\nkind = "constant"\nrate = "0 gpm"\n')
    bench = Still(where).command(1, 0).after(where.settings[s.PUMP_DOWN_LEAD_MS] / 1000)
    assert bench.level_m == pytest.approx(6 * INCH, abs=0.001)


def test_floats_on_a_tether_swing_about_their_pivot():
    swing = CONTACTS.replace('{ wet_at = "14 in", dry_at = "13 in" }', '{ pivot = "13 in", travel = "3 in" }')
    lead = site(contacts=swing).contacts[1]
    assert lead.wet_m == pytest.approx(14.5 * INCH)
    assert lead.dry_m == pytest.approx(11.5 * INCH)


@pytest.mark.parametrize(
    ("shape", "litres"),
    [
        ('shape = "square"\nside = "0.5 m"\ndepth = "0.6 m"', 250 * 0.5),
        ('shape = "basin"\nbottom_diameter = "0.4 m"\ntop_diameter = "0.6 m"\ndepth = "0.6 m"', 92.65),
        ('shape = "table"\nareas = [["0 m", "0.2 m2"], ["0.3 m", "0.2 m2"], ["0.6 m", "0.4 m2"]]', 60 + 53.333),
    ],
)
def test_pits_of_other_shapes(shape, litres):
    pit = f'\n[pit]\n{shape}\nfloor_area = "50 m2"\n'
    found = site(pit=pit).pit
    assert found.floor_m == 0.6
    # Frustum of 0.4 to 0.5667 m over 0.5 m; trapezium of 0.2 to 0.3333 m2 over 0.2 m.
    assert found.volume_m3(0.5) * 1000 == pytest.approx(litres, rel=3e-3)
    assert found.level_m(found.volume_m3(0.37)) == pytest.approx(0.37, abs=1e-9)
    assert found.area_m2(0.7) > 50.0


@pytest.mark.parametrize("name", ["demo"])
def test_packaged_scenarios_read(name):
    found = load_site(packaged(name))
    assert "invented" in found.about
    assert s.check(found.settings) == []


def test_the_measured_scenario_reads_and_names_its_source():
    if find_spec("gensor") is None:
        pytest.skip("gensor (the measured water table) is not installed")
    found = load_site(packaged("water_table"))
    assert found.duration_s >= 90 * 86400
    assert found.inflow.times_s[0] == 0.0
    assert max(found.inflow.heads_m) > found.pit.floor_m  # the cellar lies below the water table
    words = packaged("water_table").read_text(encoding="utf-8")
    for word in ("gensor 0.4.1", "MIT", "defects", "invented"):
        assert word in words


def test_without_the_package_the_measured_scenario_says_what_to_install(monkeypatch):
    monkeypatch.setattr("host_sim.plant.water_table.find_spec", lambda name: None)
    with pytest.raises(InputError, match=r'pip install "sumpbench\[measured\]"'):
        load_site(packaged("water_table"))
