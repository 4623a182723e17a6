"""Each fault does to the pit what it says, with times and durations, alone and together."""

import math

import pytest
from duplexsump.control import records as r

from host_sim.errors import InputError
from host_sim.run.closed_loop import run
from host_sim.site.faults import REGISTRY, parse_fault, time_of
from tests.plant_sites import BATTERY, GPM, INCH, INFLOW, PIT, SCENARIO, SEPARATE, Still, night, site

WET, NO_INFLOW = PIT.replace("6 in", "20 in"), '[[inflow]]\nkind = "constant"\nrate = "0 gpm"\n'
TRANSMITTER = '[transmitter]\nspan = "1 m"\n'
BITS = {"off": r.OFF, "lead": r.LEAD, "lag": r.LAG, "high": r.HIGH}
FULL, EMPTY = 20, 2  # inches


def still(*names, inches=FULL, inflow=NO_INFLOW, **parts):
    return Still(site(pit=PIT.replace('"6 in"', f'"{inches} in"'), inflow=inflow, **parts), names)


def reads(bench, name):
    """Return whether a contact reads wet on its wires; high is normally closed."""
    closed = bool(bench.raw[r.IN_CONTACTS] & BITS[name])
    return closed != (name == "high")


def pumped(bench, n=0, seconds=5.0):
    """Return what pump n takes out of the pit in a while, m3."""
    before = bench.volume_m3
    bench.command(*(1 if i == n else 0 for i in range(2))).after(seconds)
    return before - bench.volume_m3


def amps(bench, n=0):
    return bench.raw[r.IN_CURRENT_1 + n] / 1000.0


def stuck_wet(name):
    bench = still(f"{name}-stuck-wet@10s+20s", inches=EMPTY)
    assert not reads(bench, name)
    assert reads(bench.after(10), name)
    assert reads(bench.after(19.9), name)
    assert not reads(bench.after(0.1), name)


def stuck_dry(name):
    bench = still(f"{name}-stuck-dry@10s+20s")
    assert reads(bench, name)
    assert not reads(bench.after(10), name)
    assert reads(bench.after(20), name)


def chattering(name):
    bench = still(f"{name}-chattering", inches=EMPTY)
    seen = [reads(bench.after(0.1), name) for _ in range(100)]
    changes = sum(a != b for a, b in zip(seen, seen[1:], strict=False))
    assert changes > 5  # in 10 s: the controller must see it chatter


def wire_broken(name):
    for inches in (EMPTY, FULL):
        bench = still(f"{name}-wire-broken", inches=inches)
        assert not bench.raw[r.IN_CONTACTS] & BITS[name]  # electrically open
        assert reads(bench, name) == (name == "high")


def common_wire_broken():
    bench = still("common-wire-broken")
    assert [reads(bench, name) for name in BITS] == [False, False, False, True]
    bench = still("common-wire-broken", inches=EMPTY)
    assert not reads(bench, "high")


def below_range():
    assert still("transmitter-below-range", more=TRANSMITTER).raw[r.IN_LEVEL] < 3600


def above_range():
    assert still("transmitter-above-range", more=TRANSMITTER).raw[r.IN_LEVEL] > 21000


def healthy_transmitter(bench):
    """What an honest 4-20 mA transmitter of 1 m span reads, in microamperes."""
    return 4000 + 16000 * bench.level_m


def transmitter_frozen():
    bench = still("transmitter-frozen@5s+60s", more=TRANSMITTER)
    before = bench.raw[r.IN_LEVEL]
    assert before == pytest.approx(healthy_transmitter(bench), abs=1)
    bench.after(5)
    pumped(bench)
    assert bench.raw[r.IN_LEVEL] == before
    assert healthy_transmitter(bench) < before - 500
    bench.after(60)
    assert bench.raw[r.IN_LEVEL] == pytest.approx(healthy_transmitter(bench), abs=1)


def transmitter_drifting():
    bench = still("transmitter-drifting=120 mm/h", more=TRANSMITTER).after(1800)
    assert bench.raw[r.IN_LEVEL] == pytest.approx(healthy_transmitter(bench) + 16000 * 0.06, abs=2)


def transmitter_clogged():
    bench = still("transmitter-clogged=100 s", more=TRANSMITTER)
    top = bench.raw[r.IN_LEVEL]
    moved = pumped(bench, seconds=5)
    assert moved > 0
    bench.command(0, 0).after(95)
    low = healthy_transmitter(bench)
    # One time constant after the drop about 1/e of it is still to come.
    assert (bench.raw[r.IN_LEVEL] - low) / (top - low) == pytest.approx(math.exp(-0.975), abs=0.01)


def will_not_start(n):
    bench = still(f"pump{n + 1}-will-not-start")
    assert pumped(bench, n) == 0
    assert amps(bench, n) == 0


def jammed(n):
    bench = still(f"pump{n + 1}-jammed")
    assert pumped(bench, n) == 0
    assert amps(bench, n) > 3 * 8.0
    bench.after(120)
    assert bench.raw[r.IN_THERMAL_1 + n] == 1  # it has grown hot, and its contact has opened
    assert amps(bench, n) == 0
    bench.command(0, 0).after(3600)
    assert bench.raw[r.IN_THERMAL_1 + n] == 0


def air_locked(n):
    bench = still(f"pump{n + 1}-air-locked")
    assert pumped(bench, n) == 0
    assert 0.5 < amps(bench, n) < 0.5 * 8.0


def worn(n):
    good, bad, worse = (pumped(still(*names), n) for names in ((), (f"pump{n + 1}-worn=10%",), (f"pump{n + 1}-worn",)))
    assert good > 1.1 * bad > 1.1 * worse > 0


def clogged(n):
    good, bad = pumped(still(), n), pumped(still(f"pump{n + 1}-clogged=80%"), n)
    assert 0 < bad < 0.75 * good
    shut = still(f"pump{n + 1}-clogged=99%")
    pumped(shut, n)
    assert amps(shut, n) < 0.56 * 8.0


def breaker_open(n):
    bench = still(f"pump{n + 1}-breaker-open")
    assert pumped(bench, n) == 0
    assert pumped(bench, 1 - n) > 0


def relay_welded(n):
    bench = still(f"pump{n + 1}-relay-welded")
    before = bench.volume_m3
    assert before > bench.after(5).volume_m3
    assert amps(bench, n) > 4.0
    bench.schedule.select(bench.now_ms, n, "off")
    assert before > bench.after(1).volume_m3  # the coil's circuit has no say


def thermal_trip(n):
    bench = still(f"pump{n + 1}-thermal-trip+10s")
    assert bench.raw[r.IN_THERMAL_1 + n] == 1
    assert pumped(bench, n) == 0
    assert pumped(bench.after(10), n) > 0


def moisture(n):
    bench = still(f"pump{n + 1}-moisture")
    assert bench.raw[r.IN_MOISTURE_1 + n] == 1
    assert pumped(bench, n) > 0


def sensor_dead(n):
    bench = still(f"pump{n + 1}-sensor-dead")
    assert pumped(bench, n) > 0
    assert amps(bench, n) == 0


def came_back(bench, n, seconds):
    """Return what runs back within a while after a run of pump n, m3."""
    pumped(bench, n)
    bench.command(0, 0)
    before = bench.volume_m3
    return bench.after(seconds).volume_m3 - before


def check_leaking(n):
    line = still().plant.maker.line_m3[n]
    assert came_back(still(), n, 600) == 0
    slow = came_back(still(f"pump{n + 1}-check-leaking=1 gpm"), n, 60)
    # Half the leak under the whole lift, as an emptying line does on average.
    assert slow == pytest.approx(0.5 * GPM * 60, rel=1e-6)
    assert came_back(still(f"pump{n + 1}-check-leaking=1 gpm"), n, 3600) == pytest.approx(line, rel=1e-6)


def check_stuck_shut(n):
    bench = still(f"pump{n + 1}-check-stuck-shut")
    assert pumped(bench, n) == 0
    assert amps(bench, n) == pytest.approx(0.5 * 8.0, rel=0.01)


def check_missing(n):
    bench = still(f"pump{n + 1}-check-missing")
    assert came_back(bench, n, 30) == pytest.approx(bench.plant.maker.line_m3[n], rel=1e-6)
    # On a shared header the other pump's water runs back through it too.
    other = still(f"pump{n + 1}-check-missing")
    assert pumped(other, 1 - n) < 0.9 * pumped(still(), 1 - n)
    own = still(f"pump{n + 1}-check-missing", discharge=SEPARATE).after(60)  # its line has run empty
    same = still(discharge=SEPARATE, inches=own.level_m / INCH)
    assert pumped(own, 1 - n) == pytest.approx(pumped(same, 1 - n), rel=1e-6)


def valve_shut(n):
    bench = still(f"pump{n + 1}-valve-shut")
    assert pumped(bench, n) == 0
    assert pumped(bench, 1 - n) > 0


def left_off(n):
    bench = still(f"pump{n + 1}-left-off")
    assert bench.raw[r.IN_SELECTOR_1 + n] == r.SELECT_OFF
    assert pumped(bench, n) == 0  # the selector opens the coil's circuit in the wiring itself


def left_in_hand(n):
    bench = still(f"pump{n + 1}-left-in-hand+1min")
    assert bench.raw[r.IN_SELECTOR_1 + n] == r.SELECT_HAND
    assert bench.after(60).raw[r.IN_SELECTOR_1 + n] == r.SELECT_AUTO


def discharge_frozen():
    bench = still("discharge-frozen")
    assert pumped(bench, 0) == 0
    assert pumped(bench, 1) == 0
    assert amps(bench, 1) < 0.56 * 8.0


def discharge_burst():
    whole = still("discharge-burst=0%")
    assert pumped(whole) > pumped(still())  # less lift, less pipe
    half = still("discharge-burst=50%")
    assert pumped(half) == pytest.approx(0.5 * pumped(still("discharge-burst=0%")), rel=0.02)
    assert pumped(still("discharge-burst=100%")) == pytest.approx(0, abs=1e-12)


def mains_lost():
    bench = still("mains-lost@10s+20s", more=BATTERY).after(10)
    assert bench.raw[r.IN_MAINS] == 0
    assert bench.raw[r.IN_CHARGER] == 0
    assert pumped(bench, 0) == 0
    assert pumped(bench, 1) > 0  # on its battery
    assert bench.after(20).raw[r.IN_MAINS] == 1


def mains_sense_open():
    bench = still("mains-sense-open@10s+20s").command(1, 0).after(9)
    assert bench.raw[r.IN_MAINS] == 1
    bench.after(2)
    assert bench.raw[r.IN_MAINS] == 0, "the wire is open"
    assert bench.plant.mains and bench.raw[r.IN_CURRENT_1] > 5000, "the mains is there, and the pump runs on it"
    assert bench.after(20).raw[r.IN_MAINS] == 1


def mains_flapping():
    bench = still("mains-flapping=10 s+10min")
    seen = [bench.after(0.1).raw[r.IN_MAINS] for _ in range(6000)]
    changes = sum(a != b for a, b in zip(seen, seen[1:], strict=False))
    assert 30 < changes < 120  # 600 s at a mean of 10 s
    assert bench.after(1).raw[r.IN_MAINS] == 1


def battery_weak():
    strong = still("mains-lost", more=BATTERY).command(0, 1).after(60)
    weak = still("mains-lost", "battery-weak=20%", more=BATTERY).command(0, 1).after(60)
    assert weak.plant.trajectory.head.depth_rate > 4 * strong.plant.trajectory.head.depth_rate
    assert weak.raw[r.IN_BATTERY] < strong.raw[r.IN_BATTERY] - 300


def battery_dead():
    bench = still("battery-dead", "mains-lost", more=BATTERY)
    assert bench.raw[r.IN_BATTERY] < 10500
    assert pumped(bench, 1) == 0


def charger_failed():
    assert still(more=BATTERY).raw[r.IN_CHARGER] == 1
    bench = still("charger-failed", more=BATTERY)
    assert bench.raw[r.IN_CHARGER] == 0
    assert bench.command(0, 1).after(600).plant.trajectory.depth > 0


def lives(trace):
    """Return (seconds, "up" or "down") of the controller's lives."""
    return [(life.time_ms / 1000, life.power) for life in trace.journal.records if hasattr(life, "power")]


def controller_reset():
    trace = night(site(), ["controller-reset@100s"])
    assert lives(trace) == [(0.0, "up"), (100.0, "down"), (100.5, "up")]


def crash_looping():
    trace = night(site(), ["controller-crash-looping=30 s@5min+2min"])
    downs = [time for time, power in lives(trace) if power == "down"]
    assert downs == [300.0, 330.0, 360.0, 390.0]


def expander_silent():
    bench = still("expander-silent+1min", "pump1-moisture", "pump1-left-in-hand", "pump2-left-off", "silence-stuck",
                  "reset-stuck", more=BATTERY)
    behind = (r.IN_CHARGER, r.IN_SILENCE, r.IN_RESET, r.IN_MOISTURE_1, r.IN_GENERATOR)
    assert bench.raw[r.IN_BOARD] == r.FAULT_EXPANDER
    assert [bench.raw[place] for place in behind] == [0] * 5 and bench.raw[r.IN_BATTERY] < 20000
    assert (bench.raw[r.IN_SELECTOR_1], bench.raw[r.IN_SELECTOR_2]) == (r.SELECT_AUTO, r.SELECT_OFF)
    bench.after(60)
    assert bench.raw[r.IN_BOARD] == 0
    assert [bench.raw[place] for place in behind] == [1, 1, 1, 1, 0]
    assert bench.raw[r.IN_SELECTOR_1] == r.SELECT_HAND


def converter_silent():
    bench = still("converter-silent+1min", "mains-lost", "battery-dead", more=BATTERY)
    assert (bench.raw[r.IN_BOARD], bench.raw[r.IN_BATTERY]) == (r.FAULT_CONVERTER, 33000)
    assert bench.after(60).raw[r.IN_BATTERY] < 10500


def adc_stuck():
    bench = still("adc-stuck@10s+1min", more=BATTERY).command(1, 0).after(9)
    before = bench.raw[r.IN_CURRENT_1]
    bench.after(2).command(0, 1).after(30)
    assert bench.raw[r.IN_CURRENT_1] == pytest.approx(before, rel=0.1) and bench.raw[r.IN_CURRENT_2] == 0
    held = bench.raw[r.IN_BATTERY]
    assert bench.after(10).raw[r.IN_BATTERY] == held
    bench.after(30)
    assert bench.raw[r.IN_CURRENT_1] == 0 and bench.raw[r.IN_CURRENT_2] > 5000 and bench.raw[r.IN_BATTERY] != held


def silence_stuck():
    bench = still("silence-stuck+1min")
    assert bench.raw[r.IN_SILENCE] == 1
    assert bench.after(60).raw[r.IN_SILENCE] == 0


def reset_stuck():
    bench = still("reset-stuck+1min")
    assert bench.raw[r.IN_RESET] == 1
    assert bench.after(60).raw[r.IN_RESET] == 0


CLAIMS = {
    "common-wire-broken": common_wire_broken,
    "transmitter-below-range": below_range,
    "transmitter-above-range": above_range,
    "transmitter-frozen": transmitter_frozen,
    "transmitter-drifting": transmitter_drifting,
    "transmitter-clogged": transmitter_clogged,
    "discharge-frozen": discharge_frozen,
    "discharge-burst": discharge_burst,
    "mains-lost": mains_lost,
    "mains-sense-open": mains_sense_open,
    "mains-flapping": mains_flapping,
    "battery-weak": battery_weak,
    "battery-dead": battery_dead,
    "charger-failed": charger_failed,
    "controller-reset": controller_reset,
    "controller-crash-looping": crash_looping,
    "expander-silent": expander_silent,
    "converter-silent": converter_silent,
    "adc-stuck": adc_stuck,
    "silence-stuck": silence_stuck,
    "reset-stuck": reset_stuck,
}
CONTACT_CLAIMS = {
    "stuck-wet": stuck_wet,
    "stuck-dry": stuck_dry,
    "chattering": chattering,
    "wire-broken": wire_broken,
}
PUMP_CLAIMS = {
    "will-not-start": will_not_start,
    "jammed": jammed,
    "air-locked": air_locked,
    "worn": worn,
    "clogged": clogged,
    "breaker-open": breaker_open,
    "relay-welded": relay_welded,
    "thermal-trip": thermal_trip,
    "moisture": moisture,
    "sensor-dead": sensor_dead,
    "check-leaking": check_leaking,
    "check-stuck-shut": check_stuck_shut,
    "check-missing": check_missing,
    "valve-shut": valve_shut,
    "left-off": left_off,
    "left-in-hand": left_in_hand,
}


@pytest.mark.parametrize("name", sorted(REGISTRY))
def test_each_fault_does_to_the_pit_what_it_says(name):
    if name in CLAIMS:
        CLAIMS[name]()
        return
    who, what = name.split("-", 1)
    if who in BITS:
        CONTACT_CLAIMS[what](who)
    else:
        PUMP_CLAIMS[what](int(who[-1]) - 1)


def test_every_fault_says_what_it_does_and_what_to_expect():
    for kind in REGISTRY.values():
        assert len(kind.does) > 15
        assert len(kind.says) > 5
        if kind.parameter:
            assert kind.parameter.least <= kind.parameter.default <= kind.parameter.most


def test_faults_combine_and_leave_nothing_behind():
    bench = still("pump1-worn=20%+60s", "pump1-clogged=80%+30s", "lead-stuck-dry+30s")
    both = pumped(bench, 0)
    assert not reads(bench, "lead")
    bench = still("pump1-worn=20%+60s", "pump1-clogged=80%+30s", "lead-stuck-dry+30s").after(30)
    one = pumped(bench, 0)
    assert reads(bench, "lead")
    bench = still("pump1-worn=20%+60s", "pump1-clogged=80%+30s", "lead-stuck-dry+30s").after(60)
    assert both < one < pumped(bench, 0)
    assert pumped(still("pump1-worn=20%+60s").after(60), 0) == pumped(still(), 0)


def test_two_mains_faults_end_only_together():
    bench = still("mains-lost+30s", "mains-lost@10s+60s")
    assert bench.after(35).raw[r.IN_MAINS] == 0
    assert bench.after(36).raw[r.IN_MAINS] == 1


@pytest.mark.parametrize(
    ("text", "begins_s", "start", "end", "value"),
    [
        ("pump1-jammed", 0, 0.0, None, 0.0),
        ("pump1-jammed@3h", 0, 10800.0, None, 0.0),
        ("lead-stuck-wet@02:10+90min", 20 * 3600, 22200.0, 27600.0, 0.0),
        ("pump1-worn=40%@1h", 0, 3600.0, None, 0.4),
        ("mains-lost @ 10 min + 30 s", 0, 600.0, 630.0, 0.0),
        ("pump2-check-leaking=2 gpm+1h", 0, 0.0, 3600.0, 2 * GPM),
    ],
)
def test_the_grammar_of_faults(text, begins_s, start, end, value):
    fault = parse_fault(text.replace(" @ ", "@").replace(" + ", "+"), begins_s)
    assert fault.start_s == pytest.approx(start)
    assert fault.end_s == (None if end is None else pytest.approx(end))
    assert fault.value == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("pump1-jamed", "did you mean pump1-jammed"),
        ("Pump1 jammed", "NAME[=VALUE][@START][+DURATION]"),
        ("pump1-worn=140%", "allowed 0 % to 95 %"),
        ("pump1-worn=3 gpm", "a share is wanted"),
        ("pump1-jammed=3", "takes no value"),
        ("pump1-jammed@25:00", "00:00 to 23:59"),
        ("pump1-jammed@3 gpm", "a time is wanted"),
        ("pump1-jammed@1h+0s", "0.1 s or more"),
        ("flood", "the faults command lists them all"),
    ],
)
def test_a_fault_that_cannot_be_read_says_what_is_allowed(text, said):
    with pytest.raises(InputError) as error:
        parse_fault(text)
    assert said in "\n".join(error.value.problems)
    assert text in "\n".join(error.value.problems)


def test_a_clock_time_is_the_first_time_the_clock_shows_it():
    assert time_of("02:10", 20 * 3600) == pytest.approx(6 * 3600 + 600)
    assert time_of("21:00", 20 * 3600) == pytest.approx(3600)
    assert time_of("20:00", 20 * 3600) == 0.0


def test_a_single_pump_knows_the_fault_of_its_own_float():
    where = site(inflow=INFLOW, scenario=SCENARIO.replace("20 min", "1 h"))
    assert run(where, controller="single").floor_dry
    stuck = night(where, ["lead-stuck-dry@10min"], controller="single")
    assert not stuck.floor_dry
    assert stuck.totals.highest_m > 24 * INCH
    assert night(where, ["lag-stuck-dry", "controller-reset@5min"], controller="single").floor_dry
