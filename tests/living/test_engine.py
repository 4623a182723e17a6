"""The engine's messages: what a person does, what a broken or hostile message does, what is told."""

import json

from host_sim.living.engine import NEXT_LIMIT_MS, SPEEDS
from host_sim.living.share import LONGEST_TEXT
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


def test_a_fault_planned_for_an_hour_comes_then_and_goes_as_planned():
    pit = engine()
    begins_s = pit.session.site.begins_s
    at = f"{int(begins_s // 3600 + 2) % 24:02d}:30"
    pit.hear({"do": "break", "value": "pump1-jammed", "at": at})
    pit.hear({"do": "repair", "value": "pump1-jammed", "at": "3 h"})
    seen = pit.seen()["state"]
    assert seen["broken"] == {} and [one[1:] for one in seen["planned"]] == [
        ["break", "pump1-jammed"], ["repair", "pump1-jammed"]]  # fmt: skip
    assert seen["planned"][0][0] == round((2.5 * 3600 - begins_s % 3600) * 1000)
    pit.session.advance(seen["planned"][0][0])
    assert pit.seen()["state"]["broken"] == {"pump1-jammed": "pump1-jammed"}
    pit.session.advance(10_900_000)
    seen = pit.seen()["state"]
    assert seen["broken"] == {} and seen["planned"] == []
    other = engine()
    other.hear({"open": pit.hear({"save": True})[0]["site"]})
    other.session.advance(10_900_000)
    assert list(map(repr, other.session.journal().records)) == list(map(repr, pit.session.journal().records))


def test_what_is_planned_keeps_the_order_of_breaking_and_repairing():
    pit = engine()
    assert pit.hear({"do": "break", "value": "pump1-jammed", "at": "1 h"}) == []
    for message in ({"do": "break", "value": "pump1-jammed"}, {"do": "repair", "value": "pump1-jammed"},
                    {"do": "break", "value": "pump1-jammed", "at": "2 h"}, {"do": "silence", "at": "31 days"},
                    {"do": "silence", "at": "25:00"}, {"do": "silence", "at": "soon"}, {"do": "silence", "at": 7}):
        answers = pit.hear(message)
        assert [set(answer) for answer in answers] == [{"error"}], message
    assert len(pit.session.deeds) == 1
    pit.hear({"do": "repair", "value": "pump1-jammed", "at": "2 h"})
    assert pit.hear({"do": "break", "value": "pump1-jammed"})[0]["error"].startswith('"pump1-jammed" is there already')
    assert pit.hear({"do": "break", "value": "pump1-jammed", "at": "3 h"}) == []
    pit.hear({"back": 0})
    assert pit.seen()["state"]["planned"] == []


def test_a_packaged_site_begins_quietly_or_with_its_own_night():
    pit = engine()
    assert "demo" in pit.hello()["sites"]
    for own in (False, True):
        hello, fresh = pit.hear({"packaged": "demo", "own": own})
        assert hello["packaged"] == "demo" and hello["own"] is own and fresh == {"fresh": True}
        assert bool(pit.session.site.faults) is own
    assert "unknown" in pit.hear({"packaged": "../demo"})[0]["error"]
    assert "wanted" in pit.hear({"packaged": ["demo"]})[0]["error"]


def test_the_last_decision_is_told_with_its_clause():
    pit = engine()
    pit.hear({"do": "inflow", "value": "12 gpm"})

    def until(wanted):
        for _ in range(4000):
            pit.session.advance(pit.session.now_ms + 1000)
            last = pit.seen()["state"]["pair"]["decided"][-1]
            if wanted in last[1]:
                return last
        raise AssertionError(wanted)

    assert until("started")[2] == "D1"
    last = until("stopped")
    assert last[2] == "D1" and "off is dry" in last[1] and abs(last[0] - pit.session.now_ms) < 1000
    pit.hear({"do": "break", "value": "pump1-jammed"})
    pit.hear({"do": "break", "value": "pump2-jammed"})
    assert until("too high")[2] == "S7"
    pit.hear({"do": "mains", "value": "off"})
    assert {one[2] for one in pit.seen()["state"]["pair"]["decided"]} >= {"D1", "S7"}


def test_every_clause_that_is_told_stands_in_the_narrative():
    from host_sim.living import narrative, why

    page = narrative.page()
    clauses = {clause for _, clause in (*why.STARTED.values(), *why.TRIPPED.values())} | set(why.RAISED.values())
    for clause in (clauses | {"S4", "D3", "D4", "L3", "L4", "L7", "R4", "A1"}) - {""}:
        assert f'<p id="{clause}"' in page, clause


def test_every_alarm_that_has_a_clause_of_its_own_is_in_the_alarm_table():
    from duplexsump.control import alarm_table

    from host_sim.living import why

    names = {row[alarm_table.NAME] for row in alarm_table.TABLE}
    assert set(why.RAISED) <= names


def test_a_long_session_is_told_in_pieces_and_nothing_is_left_out(monkeypatch):
    from host_sim.living import engine as module

    pit = engine()
    pit.hear({"do": "inflow", "value": "20 gpm"})
    pit.session.advance(3_600_000)
    whole = pit.story.more(pit.session)
    monkeypatch.setattr(module, "MOST_TOLD", 50)
    pit.hear({"system": "us"})
    told = {name: [] for name in whole}
    for _ in range(200):
        for name, rows in pit.seen()["story"].items():
            assert len(rows) <= 50
            told[name] += rows
    assert told == whole and len(whole["pair"]) > 500


def test_a_jammed_pump_is_on_and_moves_no_water():
    pit = engine()
    pit.hear({"do": "inflow", "value": "30 gpm"})
    while not any(pit.seen()["state"]["pair"]["pumps"]):
        pit.session.advance(pit.session.now_ms + 100)
    pit.session.advance(pit.session.now_ms + 3000)
    state = pit.seen()["state"]
    pair = state["pair"]
    running = pair["pumps"].index(1)
    assert pair["out_m3s"][running] > 1e-3 and pair["out_m3s"][1 - running] == 0.0
    for n in (1, 2):
        pit.hear({"do": "break", "value": f"pump{n}-jammed"})
    pit.session.advance(pit.session.now_ms + 400)
    state = pit.seen()["state"]
    assert state["pair"]["pumps"][running] == 1 and state["pair"]["out_m3s"] == [0.0, 0.0]
    assert state["single"]["out_m3s"] == [0.0, 0.0]
