"""The page for everybody: axe-core finds no serious fault, at both engines' page, however it stands."""

import json

import pytest

pytest.importorskip("tornado", reason="tornado is not installed")

from hil.remote.living import Watched
from hil.remote.living_engine import BoardEngine
from host_sim.errors import InputError
from host_sim.living import npm
from tests.chromium import needed
from tests.living.pages import NPM, Files, Served, Window, built

AXE = npm.find("axe-core", NPM)
pytestmark = [needed, pytest.mark.long,
              pytest.mark.skipif(AXE is None, reason="no axe-core from npm under .npm")]  # fmt: skip
FOUND = """axe.run(document, {resultTypes: ['violations']}).then(found => found.violations
    .filter(one => ['serious', 'critical'].includes(one.impact))
    .map(one => [one.id, one.nodes.slice(0, 5).map(node => node.html.slice(0, 200) + ' ' + node.failureSummary)]))"""


def faults(window):
    """Return what axe-core calls serious or critical on the page as it stands."""
    window._call("Runtime.evaluate", expression=(AXE / "axe.min.js").read_text(encoding="utf-8"))
    return window.value(FOUND)


def alarmed(window):
    """Bring the page to where everything is shown: a jam, alarms, a plan, a link."""
    window.until("document.querySelector('#speeds button:enabled')")
    window.value("""(() => { const $ = id => document.getElementById(id);
        document.querySelector('[data-speed="600"]').click();
        $('inflow').value = 30; $('inflow').dispatchEvent(new Event('change'));
        for (const name of ['pump1-jammed', 'pump2-jammed']) { $('faults').value = name; $('break').click(); }
        $('at').value = '2 h'; $('faults').value = 'lead-stuck-dry'; $('break').click(); $('share').click(); })()""")
    window.until("document.querySelector('#alarm-list details.high')")
    window.until("document.querySelector('#planned li') && !document.getElementById('link-label').hidden")
    window.until("document.querySelector('#chart-level canvas')")


def test_axe_finds_what_is_planted(tmp_path):
    with Served() as url, Window(tmp_path) as window:
        window.go(url)
        window.value("(() => { const one = new Image(); one.src = 'page.css'; document.body.append(one); })()")
        assert "image-alt" in json.dumps(faults(window))


def test_the_served_page_has_no_serious_fault(tmp_path):
    with Served() as url, Window(tmp_path) as window:
        window.go(url)
        alarmed(window)
        assert faults(window) == []
        window.go(f"{url}narrative.html", 360)
        assert faults(window) == []


def test_the_page_that_carries_its_own_python_has_no_serious_fault(tmp_path):
    if npm.find(npm.PYODIDE, NPM) is None:
        pytest.skip("no Pyodide from npm under .npm")
    with Files(built(tmp_path / "page", NPM)) as url, Window(tmp_path) as window:
        window.go(url, 360)
        window.until("performance.getEntriesByName('first picture').length")
        assert faults(window) == []
        window.until("performance.getEntriesByName('live').length")
        alarmed(window)
        assert faults(window) == []


def test_a_page_that_shows_a_silent_board_has_no_serious_fault(tmp_path):
    def nobody():
        raise InputError("cannot be opened", "COM7")

    watched = Watched("COM7", opener=nobody)
    watched.once()
    with Served(lambda: BoardEngine(watched)) as url, Window(tmp_path) as window:
        window.go(url)
        window.until("document.getElementById('cap-pair').textContent.includes('all is unknown')")
        assert faults(window) == []
        assert window.value("document.getElementById('hands').checkVisibility()")
        assert not window.value("document.getElementById('break').checkVisibility()")
