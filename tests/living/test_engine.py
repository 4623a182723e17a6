"""The engine's messages: what a person does, what a broken or hostile message does, what is told."""

import json

from host_sim.living.engine import LONGEST_TEXT, NEXT_LIMIT_MS, SPEEDS
from tests.living.pages import DEMO, engine


def test_time_goes_on_as_fast_as_was_asked():
    pit = engine()
    for speed in SPEEDS:
        before = pit.session.now_ms
        assert pit.hear({"speed": speed}) == []
        for _ in range(10):
            pit.look(100.0)
        assert pit.session.now_ms - before == 1000 * speed


def test_a_page_that_slept_does_not_make_the_pit_jump():
    pit = engine()
    pit.look(3.6e6)
    assert pit.session.now_ms == 500


def test_a_jam_is_seen_told_and_explained():
    pit = engine()
    pit.hear({"do": "inflow", "value": "20 gpm"})
    pit.hear({"do": "break", "value": "pump1-jammed"})
    story = []
    for _ in range(40):
        pit.hear({"next": True})
        story += [line[1] for line in pit.seen()["story"]["lines"]]
    seen = pit.seen()["state"]["pair"]
    assert any("pump 1 jammed" in line for line in story)
    assert [alarm["name"] for alarm in seen["alarms"]] == ["pump_1_unavailable"]
    assert "Unplug" in seen["alarms"][0]["do"] + seen["alarms"][0]["never"] or "unplug" in seen["alarms"][0]["never"]
    assert seen["outputs"]["service"] == 0  # it calls by dropping


def test_why_a_pump_runs_is_told_with_its_clause():
    pit = engine()
    pit.hear({"do": "inflow", "value": "20 gpm"})
    while not any(pit.seen()["state"]["pair"]["pumps"]):
        pit.session.advance(pit.session.now_ms + 1000)
    why = pit.seen()["state"]["pair"]["why"]
    assert [one["clause"] for one in why] == ["D1"]


def test_the_next_event_is_an_hour_away_at_most():
    pit = engine()
    pit.hear({"do": "inflow", "value": "0 gpm"})
    pit.session.advance(7_200_000)
    before = pit.session.now_ms
    pit.hear({"next": True})
    assert before < pit.session.now_ms <= before + NEXT_LIMIT_MS


def test_every_message_that_cannot_be_is_told_and_changes_nothing():
    pit = engine()
    pit.look(100.0)
    before = pit.session.site_text()
    junk = [None, 7, [], "x", {}, {"do": "explode"}, {"do": None}, {"do": ["break"]}, {"speed": 7}, {"speed": True},
            {"speed": "fast"}, {"back": -1}, {"back": 1 << 60}, {"back": "x"}, {"system": "cubits"}, {"open": 7},
            {"open": "name = 'x'"}, {"open": "[[["}, {"open": "x" * (LONGEST_TEXT + 1)},
            {"do": "inflow", "value": "9" * 4000 + " gpm"}]  # fmt: skip
    for message in junk:
        answers = pit.hear(message)
        assert [set(answer) for answer in answers] == [{"error"}], message
        assert pit.session.site_text() == before
    json.dumps(pit.seen())


def test_a_site_file_from_a_page_reads_no_file_of_this_machine():
    pit = engine()
    text = DEMO.read_text(encoding="utf-8") + '\n[[inflow]]\nkind = "hydrograph"\nfile = "/etc/passwd"\n'
    answers = pit.hear({"open": text})
    assert "names the file '/etc/passwd'" in answers[0]["error"]


def test_a_saved_session_opens_again_and_is_the_same():
    pit = engine()
    pit.hear({"do": "inflow", "value": "20 gpm"})
    pit.session.advance(600_000)
    pit.hear({"do": "break", "value": "lead-stuck-dry"})
    pit.session.advance(1_800_000)
    saved = pit.hear({"save": True})[0]["site"]
    other = engine()
    assert "about" in other.hear({"open": saved})[0]
    other.session.advance(1_800_000)
    assert list(map(repr, other.session.journal().records)) == list(map(repr, pit.session.journal().records))


def test_after_going_back_the_story_is_told_anew():
    pit = engine()
    pit.hear({"do": "inflow", "value": "20 gpm"})
    pit.session.advance(3_600_000)
    whole = pit.seen()["story"]
    assert pit.hear({"back": 1_800_000}) == [{"fresh": True}]
    half = pit.seen()["story"]
    assert half["pair"] == [point for point in whole["pair"] if point[0] <= half["pair"][-1][0]]
    assert pit.session.now_ms == 1_800_000
