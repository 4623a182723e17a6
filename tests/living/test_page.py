"""The page in a real browser: a scripted session, widths from a phone's to a projector's."""

import json

import pytest

pytest.importorskip("tornado", reason="tornado is not installed")

from host_sim.run.closed_loop import run
from host_sim.site.load import read_site
from tests.chromium import needed
from tests.living.pages import TEXT, Served, Window, break_it, choose, click, crowded, speed, until

pytestmark = [needed, pytest.mark.long]


@pytest.fixture(scope="module")
def window(tmp_path_factory):
    with Served() as url, Window(tmp_path_factory.mktemp("browser")) as browser:
        browser.begin(url)
        yield browser


def test_a_person_floods_a_pit_breaks_a_pump_goes_back_and_saves(window):
    speed(window, 600)
    choose(window, "inflow", "30")
    until(window, "why", "D1")
    break_it(window, "pump1-jammed")
    until(window, "alarm-list", "pump 1 unavailable")
    assert window.value("document.querySelector('#alarm-list dd:nth-of-type(3)').textContent.length") > 10
    click(window, "mains")
    until(window, "cap-single", "WATER ON THE FLOOR")
    speed(window, 0)
    window.value("""(() => { HTMLAnchorElement.prototype.click = function () {
        window.saved = decodeURIComponent(this.href.split(',').slice(1).join(',')); }; })()""")
    click(window, "save")
    trace = run(read_site(window.until("window.saved")))
    assert [fault.name for fault in trace.faults] == ["pump1-jammed"]
    assert "pump_1_unavailable" in {alarm.name for alarm in trace.alarms}
    choose(window, "span", "1e12")
    click(window, "back")
    window.until(f"{TEXT.format('elapsed')}.startsWith('0.00 h')")
    assert window.value(TEXT.format("alarm-list")) == "No alarm."
    assert window.value("document.getElementById('broken').childElementCount") == 0


@pytest.mark.parametrize("width", [360, 1024, 1920])
def test_nothing_overlaps_and_nothing_leaves_the_page(window, width):
    speed(window, 60)
    if not window.value("document.getElementById('broken').childElementCount"):
        break_it(window, "pump2-jammed")
    window.until("document.querySelector('#chart-level canvas')")
    assert crowded(window, width) == []


def test_every_control_has_a_name(window):
    nameless = window.value("""[...document.querySelectorAll('button, select, input')].filter(one =>
        !(one.textContent.trim() || one.labels?.length || one.getAttribute('aria-label'))).map(one => one.id)""")
    assert nameless == []
    assert window.value("[...document.querySelectorAll('[tabindex]')].every(one => one.tabIndex >= 0)")
    assert window.value("[...document.querySelectorAll('svg')].every(one => one.getAttribute('aria-label'))")


def test_a_hostile_site_file_is_shown_as_text_and_runs_nothing(window):
    text = "name = '''<img src=x onerror=\"window.hurt = 1\">'''"
    window.value(f"""(() => {{ const list = new DataTransfer(), open = document.getElementById('open');
        list.items.add(new File([{json.dumps(text)}], 'bad.toml'));
        open.files = list.files; open.dispatchEvent(new Event('change')); }})()""")
    window.until("document.getElementById('error').textContent.length > 20")
    assert window.value("window.hurt ?? 0") == 0
    assert window.value("document.querySelectorAll('img').length") == 0


@pytest.mark.parametrize(
    ("made", "says"),
    [
        ("'x'.repeat(10_000_000)", "at most 200 kB"),
        ("'[[['", "not valid TOML"),
        ("'name = 7'", "site file"),
        ("""'[[inflow]]\\nkind = "hydrograph"\\nfile = "/etc/passwd"'""", "opens a site file alone"),
    ],
    ids=["10 MB", "broken", "wrong", "reads a file"],
)
def test_a_site_file_that_cannot_be_used_gets_its_error_in_the_page(window, made, says):
    window.value(f"""(() => {{ document.getElementById('error').textContent = '';
        const list = new DataTransfer(), open = document.getElementById('open');
        list.items.add(new File([{made}], 'bad.toml'));
        open.files = list.files; open.dispatchEvent(new Event('change')); }})()""")
    until(window, "error", says)
