"""What the hose test works out from the board's changes, and what it measures against."""

import json
from types import SimpleNamespace

import pytest
from duplexsump.control import settings as s

from hil.commission import expected_values, measure, simulated
from hil.commission.pit_person import MOST_ASKED, PitPerson
from host_sim.errors import InputError
from host_sim.sizing import site_out
from host_sim.sizing.command import load
from host_sim.sizing.model import size
from tests.sizing_sites import sound

CYCLE = [
    (0, "off", 1), (60000, "lead", 1), (60000, "pump_1", 1), (65000, "lead", 0), (90000, "off", 0),
    (90000, "pump_1", 0), (102000, "off", 1), (162000, "lead", 1),
]  # fmt: skip


def test_a_cycle_gives_draw_down_fill_and_refill():
    assert measure.draw_down(CYCLE, 1) == (65000, 90000)
    assert measure.fill(CYCLE) == (102000, 162000)
    assert measure.refill(CYCLE) == (90000, 102000)


def test_a_draw_down_belongs_to_the_pumps_that_made_all_of_it():
    assert measure.draw_down(CYCLE, 2) is None
    joined = [*CYCLE[:4], (70000, "pump_2", 1), *CYCLE[4:]]
    assert measure.draw_down(joined, 1) is None and measure.draw_down(joined, 3) is None
    rising = [*CYCLE[:4], (70000, "lead", 1), *CYCLE[4:]]
    assert measure.draw_down(rising, 1) is None


def test_no_time_spans_a_gap_in_the_looking():
    def gap(place):
        return [*CYCLE[:place], (CYCLE[place - 1][0] + 1, "gap", 1), *CYCLE[place:]]

    assert measure.draw_down(gap(4), 1) is None
    assert measure.refill(gap(6)) is None
    assert measure.fill(gap(7)[5:]) is None
    assert measure.draw_down(gap(2), 1) == (65000, 90000)  # the gap lies before it


def test_a_fill_with_a_pump_on_tells_no_inflow():
    assert measure.fill([(0, "pump_2", 1), (1, "off", 1), (60000, "lead", 1)]) is None


def test_the_rate_is_the_volume_over_the_time_and_what_ran_in():
    # 100 L in 50 s against 0.5 L/s.
    assert measure.rate_m3s(50000, 0.1, 0.0005) == pytest.approx(0.0025)
    assert measure.inflow_m3s(200000, 0.1) == pytest.approx(0.0005)


def test_a_good_check_valve_refills_by_the_inflow_alone():
    # 5 L between off dry and off wet, 2 L pumped on while off was debounced: 14 s at 0.5 L/s.
    good = measure.refill_share(14000, 0.005, 0.0005, 0.0025, 1000)
    assert good == pytest.approx(1.0)
    assert measure.refill_share(6000, 0.005, 0.0005, 0.0025, 1000) < 0.5


def test_amps_are_the_median_of_one_pump_within_the_time():
    samples = [(0, 0, 40000), (3000, 0, 7800), (3100, 1, 20000), (4000, 0, 7900), (5000, 0, 8000), (9000, 0, 1)]
    assert measure.amps(samples, 0, 3000, 6000) == pytest.approx(7.9)
    assert measure.amps(samples, 1, 4000, 6000) is None


def test_a_site_promises_what_the_physics_give():
    found = expected_values.read(simulated.SITE, None)
    # A round pit of 24 in: 7 in of water from off wet to lead wet are 51.9 L, geometry by hand.
    assert found.fill_m3 == pytest.approx(0.0519, rel=0.01)
    assert found.draw_m3 == pytest.approx(found.fill_m3)
    assert found.refill_m3 == pytest.approx(found.fill_m3 / 7.0)
    assert found.rates_m3s[0] == found.rates_m3s[1] < found.rates_m3s[2] < 2.0 * found.rates_m3s[0]
    assert found.plate_a == [8.0, 20.0] and found.per_amp == [1.0, 1.0]
    assert found.settings == list(simulated.site().settings)


def test_a_sized_site_has_the_contacts_that_the_sizing_wrote(tmp_path):
    # `sizing.written` lists them; they were dropped, and the rate was asked for by bucket.
    result = size(sound())
    path = tmp_path / "site.toml"
    path.write_text(site_out.text(result), encoding="utf-8")
    found = expected_values.read(path, None)
    off, lead = result.contacts[:2]
    volume = result.inputs.pit.volume_m3
    assert found.draw_m3 == pytest.approx(volume(lead.dry_m) - volume(off.dry_m), rel=0.01)
    assert found.rates_m3s[0] and found.settings == list(result.settings)


def test_the_board_alone_promises_what_its_settings_hold():
    values = s.defaults()
    found = expected_values.read(None, values)
    assert found.rates_m3s[0] == pytest.approx(values[s.BAND_VOLUME_ML] / 1e3 / values[s.PUMP_DOWN_LEAD_MS])
    assert found.rates_m3s[2] is None and found.settings is None
    values[s.BAND_VOLUME_ML] = 0
    assert expected_values.read(None, values).rates_m3s == [None, None, None]


def test_a_sizing_promises_its_settings(tmp_path):
    (tmp_path / "site.toml").write_text(simulated.SITE.read_text(encoding="utf-8"), encoding="utf-8")
    report = {"made_by": "sumpbench size", "settings": {"min_off": 70000}}
    (tmp_path / "sizing.json").write_text(json.dumps(report), encoding="utf-8")
    found = expected_values.read(tmp_path, None)
    assert found.settings[s.MIN_OFF_MS] == 70000
    assert found.rates_m3s == expected_values.from_site(load(simulated.SITE), "x").rates_m3s


@pytest.mark.parametrize(("name", "text", "told"), [
    ("sizing.json", "{}", "not a sizing.json that `sumpbench size` wrote"),
    ("sizing.json", "nonsense", "cannot be read"),
    ("sizing.json", '{"made_by": "sumpbench size"}', "site.toml that the sizing wrote is not beside it"),
    ("site.toml", "[pit]\nshape = 3", "pit"),
    ("site.toml", "no toml", "is not TOML"),
])  # fmt: skip
def test_what_cannot_be_measured_against_is_refused(tmp_path, name, text, told):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=told):
        expected_values.read(path, s.defaults())


def test_a_simulated_person_without_an_answer_that_fits_skips():
    plant = SimpleNamespace(trajectory=SimpleNamespace(inflow=None), fault_state=None)
    person = PitPerson(SimpleNamespace(plant=plant), answers={"weather": "fault"})
    said = [person.read("weather", "? ") for _ in range(MOST_ASKED + 1)]
    assert said[:-1] == ["fault"] * MOST_ASKED and said[-1].startswith("skip simulated pit")
    assert person.read("late", "? ") == "fault"
