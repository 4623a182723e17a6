"""A session as a link: it comes back bit for bit, and nothing that is not a session does anything."""

import copy
import json

import pytest

from host_sim.living import share
from host_sim.living.session import LONGEST_S, MOST_DEEDS
from tests.living.pages import engine
from tests.living.test_session import records, someone


def shared(pit):
    """Return what an engine gives for a link, as JSON carries it."""
    return json.loads(json.dumps(pit.hear({"share": True})[0]["share"]))


def taken(given):
    """Return an engine that has taken a shared session and has come to its instant, and the notes on the way."""
    pit, notes = engine(), []
    answers = pit.hear({"take": given})
    assert all("error" not in answer for answer in answers), answers
    while pit.session.now_ms < pit.goal_ms or pit.digits:
        notes.append(pit.look(50.0).get("note"))
    return pit, [note for note in notes if note]


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("own", [False, True], ids=["a quiet pit", "the demo's own night"])
def test_a_shared_session_is_the_same_journal_elsewhere(seed, own):
    pit = engine(own)
    someone(pit.session, seed, 8)
    there, notes = taken(shared(pit))
    assert records(there.session.journal()) == records(pit.session.journal())
    assert there.session.now_ms == pit.session.now_ms and there.speed == 0
    assert there.session.broken() == pit.session.broken()
    assert ["same journal" in note for note in notes] in ([True], [])


def test_a_shared_session_goes_on_as_the_first_one_does():
    pit = engine()
    pit.hear({"do": "inflow", "value": "20 gpm"})
    pit.session.advance(1_000_050)
    pit.hear({"do": "break", "value": "pump1-jammed"})
    pit.hear({"do": "repair", "value": "pump1-jammed", "at": "30 min"})
    there, _ = taken(shared(pit))
    for one in (pit, there):
        one.session.advance(4_000_000)
        one.hear({"do": "silence"})
        one.session.advance(5_000_000)
    assert records(there.session.journal()) == records(pit.session.journal())
    assert there.session.deeds == pit.session.deeds


def test_a_session_at_a_site_file_of_ones_own_is_shared_with_the_file():
    pit = engine()
    text = pit.hear({"save": True})[0]["site"].replace('name = "', 'name = "Ours, ')
    assert "about" in pit.hear({"open": text})[0]
    pit.hear({"do": "inflow", "value": "9 gpm"})
    pit.session.advance(600_000)
    given = shared(pit)
    assert "Ours, " in given["site"]["text"]
    assert records(taken(given)[0].session.journal()) == records(pit.session.journal())


def test_another_journal_is_told():
    pit = engine()
    pit.hear({"do": "inflow", "value": "20 gpm"})
    pit.session.advance(900_000)
    given = shared(pit) | {"journal": "0" * share.DIGITS}
    assert "gives another journal" in taken(given)[1][0]


def hostile():
    """Return {what: what somebody may put into a link instead of a session}."""
    pit = engine()
    pit.hear({"do": "inflow", "value": "20 gpm"})
    pit.session.advance(60_000)
    good = shared(pit)

    def but(**changed):
        return copy.deepcopy(good) | changed

    deed = good["deeds"][0]
    return {
        "nothing": None, "a number": 7, "a list": [], "no keys": {}, "one key more": but(more=1),
        "a version to come": but(v=2), "no site": but(site={}), "two sites": but(site={"packaged": "demo", "text": ""}),
        "a file of this machine": but(site={"packaged": "../../../etc/passwd"}),
        "a site that reads a file": but(site={"text": '[[inflow]]\nkind = "hydrograph"\nfile = "/etc/passwd"'}),
        "a script for a site": but(site={"text": "<script>alert(1)</script>"}),
        "a huge site": but(site={"text": "x" * (share.LONGEST_TEXT + 1)}),
        "a deep site": but(site={"text": "x = " + "[" * 50_000}), "a number for a site": but(site={"text": 7}),
        "own as a text": but(own="yes"), "an instant as a text": but(t_ms="later"), "an instant before": but(t_ms=-1),
        "an instant after the end": but(t_ms=round(LONGEST_S * 1000.0)), "an endless instant": but(t_ms=1e400),
        "a bool for an instant": but(t_ms=True), "deeds that are none": but(deeds="all"),
        "too many deeds": but(deeds=[[100 * n, "silence", ""] for n in range(1, MOST_DEEDS + 2)]),
        "a deed off the grid": but(deeds=[[150, "silence", ""]]),
        "a deed at the start": but(deeds=[[0, "silence", ""]]),
        "a deed twice": but(deeds=[deed, deed]), "a deed too short": but(deeds=[[100, "silence"]]),
        "a deed nobody knows": but(deeds=[[100, "explode", ""]]), "a deed of lists": but(deeds=[[100, ["break"], {}]]),
        "a repair of nothing": but(deeds=[[100, "repair", "pump1-jammed"]]),
        "a flow without end": but(deeds=[[100, "inflow", "1e999 gpm"]]), "a journal as a number": but(journal=7),
    }  # fmt: skip


HOSTILE = hostile()


@pytest.mark.parametrize("what", HOSTILE)
def test_what_is_no_session_is_told_and_changes_nothing(what):
    pit = engine()
    pit.hear({"do": "inflow", "value": "5 gpm"})
    pit.session.advance(5_000)
    before = pit.session.site_text()
    answers = pit.hear({"take": HOSTILE[what]})
    assert [set(answer) for answer in answers] == [{"error"}]
    assert pit.session.site_text() == before and pit.goal_ms == 0


def test_a_link_to_the_end_of_a_month_is_made_up_for_in_slices():
    pit = engine()
    given = shared(pit) | {"t_ms": round(LONGEST_S * 1000.0) - 100_000, "journal": ""}
    pit.hear({"take": given})
    first = pit.session.now_ms
    pit.look(50.0)
    assert 0 < first < pit.session.now_ms <= 2 * first
    assert pit.seen()["state"]["goal_ms"] == given["t_ms"]


def test_a_session_whose_site_reads_files_is_not_shared():
    pit = engine()
    pit.origin = share.Origin("x", pit.origin.data | {"inflow": [{"kind": "hydrograph", "file": "flows.csv"}]},
                              pit.origin.folder, False, False)  # fmt: skip
    assert "reads the file 'flows.csv'" in pit.hear({"share": True})[0]["error"]
