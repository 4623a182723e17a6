"""A2, A3: what `sumpbench alarms` says of horn and relays is what the firmware does when nobody attends."""

import io
import re

import pytest
from duplexsump.control import alarm_table as at
from duplexsump.control import alarms as al
from report_sample import duplex
from rich.console import Console

from host_sim.cli import night, tables
from host_sim.proof.told import judge
from host_sim.report import advice, calls
from host_sim.report.timeline import written
from host_sim.report.units import US
from host_sim.run.trace import Event
from host_sim.site.faults import REGISTRY
from tests.control.alarm_bench import HOUR, MINUTE, Bench

SECOND = 1000


def sounds(bench, until_ms):
    """Return [(ms after now, ms that the horn sounds)] of an alarm that sounds now, in `until_ms`."""
    begin, found = 0 if bench.a.horn else None, []
    for ms, horn in bench.heard(until_ms):
        if horn:
            begin = ms
        else:
            found.append((begin, ms - begin))
    return found


def test_the_words_of_a_medium_alarm_are_what_its_horn_does_until_somebody_acknowledges_it():
    bench = Bench()
    bench.go(on=(at.MAINS_LOST,))
    heard = sounds(bench, 40 * HOUR)
    assert heard[:4] == [(0, 2 * MINUTE), (10 * MINUTE, 20 * SECOND), (30 * MINUTE, 20 * SECOND),
                         (60 * MINUTE, 20 * SECOND)]  # fmt: skip
    late = heard[4:]
    assert len(late) >= 3 and {long for _, long in late} == {MINUTE}
    assert {b[0] - a[0] for a, b in zip(late, late[1:], strict=False)} == {12 * HOUR}
    said = calls.words()["medium"]
    assert "The horn sounds for 2 min, then 20 s at 10, 30 and 60 min, then 1 min every 12 h until somebody" in said


def test_the_words_of_a_high_alarm_are_what_its_horn_does():
    bench = Bench()
    bench.go(on=(at.NOT_KEEPING_UP,))
    heard = sounds(bench, 8 * HOUR)
    assert heard == [(0, 5 * MINUTE), *[(k * HOUR, MINUTE) for k in range(1, 7)]]
    assert "5 min, then 1 min each hour for 6 h, then 1 min every 12 h" in calls.words()["high"]


@pytest.mark.parametrize(("alarm", "setting", "hours"), [(at.HIGH_WATER, "remind_high", 0.5),
                                                         (at.MAINS_LOST, "remind_other", 12)])
def test_an_acknowledged_alarm_sounds_anew_when_the_words_say(alarm, setting, hours):
    bench = Bench()
    bench.go(on=(alarm,))
    bench.go(1000, silence=True)
    assert not bench.a.horn
    assert bench.heard(20 * HOUR)[0] == (hours * HOUR, 1)
    said = calls.words()["medium" if alarm else "high"]
    assert re.search(rf"after {'12 h' if alarm else '30 min'} \(`{setting}`\)", said)


@pytest.mark.parametrize(("alarm", "relay"), [(at.NOT_KEEPING_UP, "relay"), (at.MAINS_LOST, "service")])
def test_what_has_cleared_calls_for_an_hour_and_lights_the_beacon_until_somebody_acknowledges_it(alarm, relay):
    bench = Bench(calls=1)
    bench.go(on=(alarm,))
    bench.go(HOUR + 30 * MINUTE)
    bench.go(1000, off=(alarm,))
    chirps = [(k * MINUTE + ms, on) for k in (10, 30, 60) for ms, on in ((0, 1), (10 * SECOND, 0))]
    assert bench.heard(HOUR) == chirps[:5]
    assert getattr(bench.a, relay) == 0
    assert bench.heard(9 * 24 * HOUR) == [(10 * SECOND, 0)]
    assert (bench.a.state[alarm], bench.a.beacon, getattr(bench.a, relay)) == (al.RETURNED, 1, 1)
    bench.go(1000, silence=True)
    assert bench.a.beacon == 0
    said = calls.words()["medium" if relay == "service" else "high"]
    assert "10 s of horn 10, 30 and 60 min after that and no more; the relay stays dropped" in said
    assert "until then, the beacon stays on until somebody presses SILENCE" in said


def test_a_low_alarm_is_said_to_call_nobody_and_calls_nobody():
    bench = Bench()
    bench.go(on=(at.POUR_AND_TEST,))
    assert (bench.a.horn, bench.a.relay, bench.a.service) == (0, 1, 1)
    assert "No relay drops and no horn sounds" in calls.words()["low"]


def test_the_command_prints_the_words_of_each_priority(monkeypatch):
    screen = io.StringIO()
    monkeypatch.setattr(tables, "console", lambda: Console(file=screen, width=1200, force_terminal=False))
    tables.list_alarms(False)
    for words in calls.words().values():
        assert words in screen.getvalue()


def test_a_night_tells_likely_causes_and_that_what_cleared_still_calls():
    trace = duplex()
    for (_, text), row in zip(advice.advice(trace), advice.raised(trace), strict=True):
        words = advice.alarm_words.of(row[at.NAME])
        assert text == f"{words.wrong} Likely: {words.causes}. Do: {words.do} Caution: {words.never}"
    assert advice.calling(trace)
    assert advice.written(trace)[-1] == calls.UNSEEN
    screen = io.StringIO()
    night.tell(Console(file=screen, width=110, force_terminal=False), trace, None, US)
    said = " ".join(screen.getvalue().split())
    assert "Likely:" in said and calls.UNSEEN in said


def test_the_timeline_names_the_cause_of_a_trip_and_of_a_lockout():
    trace = duplex()
    trace.events = [Event(60.0, "pump_state", {"pump": 1, "state": "retry", "before": "running", "cause": "overload"}),
                    Event(9000.0, "pump_state", {"pump": 1, "state": "locked", "before": "running",
                                                 "cause": "not pumping"})]  # fmt: skip
    said = "\n".join(written(trace, US))
    assert "pump 1: tripped, resting before a retry (overload)" in said
    assert "pump 1: locked out (not pumping)" in said


def test_what_the_faults_promise_are_alarms_of_that_name_and_priority():
    table = {row[at.TEXT]: at.PRIORITIES[row[at.PRIORITY]] for row in at.TABLE}
    promised = 0
    for kind in REGISTRY.values():
        for priority, text in re.findall(r'(high|medium|low) alarm "([^"]+)"', kind.says):
            assert table.get(text) == priority, (kind.name, text)
            promised += 1
    assert promised > 20


@pytest.mark.parametrize(("fault", "house"), [
    ("mains-lost", "backup"), ("battery-dead", "backup"), ("pump1-worn", "pair"), ("pump1-worn=60%", "pair"),
    ("pump1-check-leaking", "pair"), ("pump1-check-missing", "pair"), ("pump1-clogged=80%", "pair"),
])  # fmt: skip
def test_what_a_fault_promises_is_what_the_table_of_months_holds_the_firmware_to(fault, house):
    says = REGISTRY[fault.split("=")[0]].says
    held = judge.row_of(fault, house, "dry").alarms
    said = re.findall(r'alarm "([^"]+)"', says)
    assert said and any(judge.TEXTS[name] in said for name in held), (said, held)


def test_the_faults_promise_no_time_and_no_alarm_that_does_not_come():
    assert "after 5 min (`mains_grace`)" in REGISTRY["mains-lost"].says and "10 s" not in REGISTRY["mains-lost"].says
    assert "high alarm" not in REGISTRY["battery-dead"].says
    for n in (1, 2):
        assert "lockout" in REGISTRY[f"pump{n}-worn"].says
        assert "short cycling" not in REGISTRY[f"pump{n}-check-missing"].says
        assert "begins after commissioning" in REGISTRY[f"pump{n}-check-missing"].says
