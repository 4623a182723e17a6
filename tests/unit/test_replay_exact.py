"""J2: simulate, record, replay: identical; one bit changed anywhere: found, and shown with the state around it."""

import dataclasses
import shutil
from pathlib import Path

import pytest
from duplexsump.control import settings as s
from duplexsump.control.records import IN_CONTACTS, OUT_HORN, OUT_LATE, OUT_PUMP_1

from host_sim.errors import InputError
from host_sim.replay import changes, exact, other_firmware
from host_sim.replay.reading import sources
from host_sim.run.journal import Journal, Life, Record, read_journal
from tests.replay_nights import demo, night

CONTROL = Path(exact.own_controller.__file__).parent


@pytest.fixture(scope="module")
def journal():
    """Give the journal of four hours with a power cut, a stuck float and a jammed pump."""
    site = demo(4.0)
    return night(site, "mains-lost@40min+30min", "controller-reset@2h", "lead-stuck-dry@80min+40min",
                 "pump1-jammed@3h", "high-chattering@100min+1min").journal  # fmt: skip


def changed(journal, place, **fields):
    """Return the journal with one record changed."""
    records = list(journal.records)
    records[place] = dataclasses.replace(records[place], **fields)
    return dataclasses.replace(journal, records=records)


def a_step(journal, least=100):
    """Return the place of a step after which more steps follow."""
    return next(i for i, r in enumerate(journal.records) if i >= least and isinstance(r, Record))


def test_simulate_record_replay_is_identical(journal):
    found = exact.replay(journal)
    assert found.passed and found.reason == "identical"
    assert found.compared == sum(isinstance(r, Record) for r in journal.records)
    assert found.power_ups == 2
    assert found.steps > found.compared


def test_the_written_journal_replays_as_well(journal, tmp_path):
    journal.write(tmp_path / "journal.jsonl")
    again = read_journal(tmp_path / "journal.jsonl")
    assert exact.replay(again).passed


def test_one_output_bit_is_found_at_its_instant_with_the_state_around_it(journal):
    place = a_step(journal, 200)
    record = journal.records[place]
    out = list(record.outputs)
    out[OUT_HORN] ^= 1
    found = exact.replay(changed(journal, place, outputs=tuple(out)))
    assert not found.passed
    assert found.difference.time_ms == record.time_ms
    assert found.difference.expected == {"horn": out[OUT_HORN]}
    assert found.difference.replayed == {"horn": record.outputs[OUT_HORN]}
    assert "pump 1" in found.difference.state
    assert len(found.difference.before) == exact.CONTEXT_RECORDS
    assert found.difference.after[0][0] == record.time_ms


def test_an_output_that_moved_between_two_records_is_found(journal):
    # A record of an output edge is lost: the firmware turns by itself where the record says nothing.
    for place, record in enumerate(journal.records):
        before = journal.records[place - 1]
        steps = place > 100 and isinstance(record, Record) and isinstance(before, Record)
        if steps and record.inputs == before.inputs and record.outputs[OUT_PUMP_1] != before.outputs[OUT_PUMP_1]:
            break
    records = [r for i, r in enumerate(journal.records) if i != place]
    found = exact.replay(dataclasses.replace(journal, records=records))
    assert found.difference is not None and found.difference.time_ms == record.time_ms
    assert "pump_1" in found.difference.replayed


def test_an_input_bit_that_matters_is_found(journal):
    place = next(i for i, r in enumerate(journal.records)
                 if i > 50 and isinstance(r, Record) and r.inputs[IN_CONTACTS] == 3)  # fmt: skip
    inputs = list(journal.records[place].inputs)
    inputs[IN_CONTACTS] = 15
    assert not exact.replay(changed(journal, place, inputs=tuple(inputs))).passed


def test_a_changed_kept_record_is_found_as_another_state_at_power_up(journal):
    place = next(i for i, r in enumerate(journal.records) if isinstance(r, Life) and r.retained is not None)
    retained = list(journal.records[place].retained)
    retained[-1] += 1
    found = exact.replay(changed(journal, place, retained=tuple(retained)))
    assert found.difference.what == "state at power-up"
    assert list(found.difference.expected) == list(found.difference.replayed)


def test_a_replay_may_start_in_mid_life_from_a_snapshot(journal):
    place = a_step(journal, 300)
    whole = exact._Runner(journal, journal.settings, exact.own_controller, False)
    for record in journal.records[:place]:
        if isinstance(record, Life):
            exact._life(whole, record, True)
        else:
            whole.until(record.time_ms)
            whole.step(record.time_ms, record.inputs)
    last = journal.records[place - 1]
    opening = Life(last.time_ms, "up", whole.controller.now, None, tuple(whole.controller.snapshot()))
    rest = dataclasses.replace(journal, records=[opening, *journal.records[place:]])
    found = exact.replay(rest)
    assert found.passed, found.difference
    assert found.compared == sum(isinstance(r, Record) for r in journal.records[place:])


def test_nothing_compared_is_no_pass():
    found = exact.replay(Journal(s.defaults()))
    assert not found.passed and "nothing was compared" in found.reason


def test_a_log_in_which_no_pump_ever_ran_is_no_pass():
    site = demo(0.2)
    site.inflow.rates_m3s = [0.0] * len(site.inflow.rates_m3s)
    found = exact.replay(night(site).journal)
    assert found.compared and found.difference is None
    assert not found.passed and "no pump ever ran" in found.reason


def test_other_settings_are_told_channel_by_channel_with_their_lag(journal):
    before = exact.replay(journal, collect=True)
    assert exact.recorded(journal) == before.outputs
    slower = list(journal.settings)
    slower[s.DEBOUNCE_MS] = 1500
    after = exact.replay(journal, settings=slower)
    found = {c.name: c for c in changes.compare(before.outputs, after.outputs, journal.duration_ms)}
    first = found["pump_1"].moved[0]
    assert first[2] == 500  # half a second more of debounce
    assert not found["pump_1"].same
    told = "\n".join(changes.describe(found["pump_1"], str))
    assert "500 ms later" in told


def test_the_same_settings_change_nothing(journal):
    before = exact.replay(journal, collect=True)
    after = exact.replay(journal, settings=list(journal.settings))
    assert all(c.same for c in changes.compare(before.outputs, after.outputs, journal.duration_ms))


def test_another_firmware_is_loaded_from_its_folder_and_told_apart(journal, tmp_path):
    shutil.copytree(CONTROL, tmp_path / "duplexsump" / "control", ignore=shutil.ignore_patterns("__pycache__"))
    same = other_firmware.load(tmp_path)
    before = exact.replay(journal, collect=True)
    after = exact.replay(journal, module=same)
    assert all(c.same for c in changes.compare(before.outputs, after.outputs, journal.duration_ms))
    pair = tmp_path / "other" / "control"
    shutil.copytree(CONTROL, pair, ignore=shutil.ignore_patterns("__pycache__"))
    text = (pair / "controller.py").read_text()
    assert "self.out[OUT_HORN] = alarms.horn" in text
    (pair / "controller.py").write_text(text.replace("self.out[OUT_HORN] = alarms.horn", "self.out[OUT_HORN] = 0"))
    mute = exact.replay(journal, module=other_firmware.load(tmp_path / "other"))
    found = {c.name: c for c in changes.compare(before.outputs, mute.outputs, journal.duration_ms)}
    assert found["horn"].gone and found["pump_1"].same


def test_a_folder_without_firmware_is_refused(tmp_path):
    with pytest.raises(InputError, match="holds no firmware"):
        other_firmware.load(tmp_path)


def test_settings_that_the_firmware_refuses_are_refused(journal):
    wrong = list(journal.settings)
    wrong[s.DEBOUNCE_MS] = wrong[s.SEQUENCE_TIME_MS]
    with pytest.raises(InputError, match="debounce"):
        exact.replay(journal, settings=wrong)


def test_a_journal_torn_by_a_power_cut_is_read_up_to_its_last_whole_line(journal, tmp_path):
    path = tmp_path / "journal.jsonl"
    journal.write(path)
    path.write_bytes(path.read_bytes()[:-20])
    found, issues = sources.journal(path)
    assert [f.kind for f in issues] == ["incomplete line"]
    assert len(found.records) == len(journal.records) - 1
    assert exact.replay(dataclasses.replace(found, duration_ms=0)).passed


def test_a_journal_damaged_in_the_middle_is_refused_with_its_line(journal, tmp_path):
    path = tmp_path / "journal.jsonl"
    journal.write(path)
    lines = path.read_text().splitlines(keepends=True)
    lines[40] = lines[40][:-10] + "\n"
    path.write_text("".join(lines))
    with pytest.raises(InputError, match="line 41"):
        sources.journal(path)


def test_steps_that_came_late_are_replayed_late(journal):
    # A busy board serves some due instants 0.3 s late; each such step is recorded, as the narrative's J2 asks.
    controller = exact.own_controller.Controller(list(journal.settings))
    opening = journal.records[0]
    controller.power_up(opening.now_ms)
    records, last, late, now = [opening], None, 0, 0
    shift = opening.now_ms - opening.time_ms

    def step(time_ms, inputs, late_ms=0):
        nonlocal last, late
        out = tuple(controller.step(time_ms + shift, list(inputs), True))
        late += out[OUT_LATE]
        if last is None or (tuple(inputs), out) != last or out[OUT_LATE]:
            records.append(Record(time_ms, tuple(inputs), out))
            records[-1].late_ms = late_ms
        last = (tuple(inputs), out)

    inputs = None
    for number, record in enumerate(journal.records[1:1200]):
        if isinstance(record, Life):
            break
        while inputs is not None and (due := controller.next_due(now + shift) - shift) < record.time_ms:
            # Late only where the next record does not come in between.
            now = due + 300 if number % 7 == 3 and due + 400 < record.time_ms else due
            step(now, inputs, now - due)
        now, inputs = record.time_ms, record.inputs
        step(now, inputs)
    found = exact.replay(dataclasses.replace(journal, records=records, duration_ms=0))
    assert late > 10
    assert found.passed, found.difference
