"""A living pit: what was done by hand, saved as a site file, is the same night."""

import random
import tomllib

import pytest

from host_sim.errors import InputError
from host_sim.living.deeds import SELECTORS
from host_sim.living.session import Session
from host_sim.run.closed_loop import run
from host_sim.site.faults import REGISTRY
from host_sim.site.load import packaged, read_site

DEMO = packaged("demo")
BREAKS = sorted(name for name, kind in REGISTRY.items() if not kind.at_once and name != "controller-reset")


def session(own=False):
    """Return a session at the demo's pit."""
    return Session(tomllib.loads(DEMO.read_text(encoding="utf-8")), DEMO.parent, own=own)


def someone(pit, seed, deeds=14):
    """Do as a person might, at random instants; return what was refused."""
    draw, refused = random.Random(seed), 0
    for _ in range(deeds):
        pit.advance(pit.now_ms + draw.choice((70, 1300, 33333, 600000, 1800000)))
        what = draw.choice(("break", "break", "repair", "inflow", "mains", *SELECTORS, "silence", "reset"))
        value = {
            "break": lambda: draw.choice(BREAKS),
            "repair": lambda: draw.choice(sorted(pit.broken()) or ["lead-stuck-dry"]),
            "inflow": lambda: f"{draw.uniform(0, 40):.2f} gpm",
            "mains": lambda: draw.choice(("on", "off")),
            "selector1": lambda: draw.choice(("auto", "off", "hand")),
            "selector2": lambda: draw.choice(("auto", "off", "hand")),
        }.get(what, lambda: "")()
        try:
            pit.do(what, value)
        except InputError:
            refused += 1
    pit.advance(pit.now_ms + 90000)
    return refused


def records(journal):
    """Return what a journal says, to compare."""
    return [repr(record) for record in journal.records]


@pytest.mark.long
@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("own", [False, True], ids=["a quiet pit", "the demo's own night"])
def test_a_session_saved_as_a_site_file_is_the_same_night(seed, own):
    pit = session(own)
    someone(pit, seed)
    saved = read_site(pit.site_text(), DEMO.parent)
    trace = run(saved)
    last = pit.now_ms
    lived = records(pit.journal())
    replayed = [repr(record) for record in trace.journal.records if record.time_ms <= last]
    assert len(lived) > 10
    assert lived == replayed


def test_going_back_is_the_same_run_again_and_a_branch_is_another():
    pit = session()
    pit.do("inflow", "20 gpm")
    pit.advance(600000)
    at_ten_minutes = records(pit.journal())
    pit.do("break", "pump1-jammed")
    pit.advance(3600000)
    with_the_jam = records(pit.journal())
    pit.back_to(600000)
    assert records(pit.journal()) == at_ten_minutes
    assert pit.broken() == {}
    pit.advance(3600000)
    without = records(pit.journal())
    assert without[: len(at_ten_minutes)] == at_ten_minutes
    assert without != with_the_jam


def test_the_water_follows_the_inflow_that_was_set():
    pit = session()
    pit.do("selector1", "off")
    pit.do("selector2", "off")
    pit.do("inflow", "6 gpm")
    pit.advance(10000)
    before = pit.pair.night.plant.look(10.0)[0]
    pit.advance(70000)
    after = pit.pair.night.plant.look(70.0)[0]
    # 6 US gal in a cylinder 18 in wide, less nothing: 231 in3 a gallon (NIST Handbook 44), 254.5 in2.
    assert (after - before) / 0.0254 == pytest.approx(6 * 231 / (3.14159265 * 81), rel=1e-6)


@pytest.mark.parametrize(
    ("what", "value", "says"),
    [
        ("explode", "", '"explode" cannot be done'),
        ("break", "pump9-gone", "is unknown"),
        ("break", "pump1-jammed@3h", "begins now"),
        ("break", "controller-reset", "one instant"),
        ("repair", "pump1-jammed", "is not broken here"),
        ("repair", "roof", "is unknown"),
        ("inflow", "6", "has no unit"),
        ("inflow", "-6 gpm", "0 to 300 gpm"),
        ("inflow", "9000 gpm", "0 to 300 gpm"),
        ("inflow", "6,5 gpm", "comma"),
        ("mains", "maybe", "one of on, off"),
        ("selector1", "sideways", "one of auto, off, hand"),
    ],
)
def test_what_cannot_be_done_is_refused_and_changes_nothing(what, value, says):
    pit = session()
    pit.advance(5000)
    with pytest.raises(InputError, match=says):
        pit.do(what, value)
    assert pit.deeds == []
