"""The page by keyboard alone, with less motion, in both unit systems, with the horn: in a real browser."""

import pytest

pytest.importorskip("tornado", reason="tornado is not installed")

from tests.chromium import needed
from tests.living.pages import TEXT, Served, Window, choose, click, speed, until

pytestmark = [needed, pytest.mark.long]
CODES = {"Tab": 9, "Enter": 13, " ": 32, "ArrowDown": 40, "ArrowRight": 39}


@pytest.fixture(scope="module")
def window(tmp_path_factory):
    with Served() as url, Window(tmp_path_factory.mktemp("browser")) as browser:
        browser.begin(url)
        yield browser


def key(window, name):
    """Press and let go one key, as on a keyboard."""
    text = "\r" if name == "Enter" else name if len(name) == 1 else ""
    values = {"key": name, "windowsVirtualKeyCode": CODES[name]}
    window._call("Input.dispatchKeyEvent", type="keyDown", text=text, **values)
    window._call("Input.dispatchKeyEvent", type="keyUp", **values)


def tab_to(window, wanted):
    """Press Tab until what a script calls true has the focus."""
    for _ in range(120):
        if window.value(f"(one => !!({wanted}))(document.activeElement)"):
            return
        key(window, "Tab")
    raise AssertionError(f"no Tab reaches {wanted}")


def test_the_keyboard_alone_does_everything(window):
    reached = set()
    for _ in range(80):
        key(window, "Tab")
        reached.add(window.value("document.activeElement.id || document.activeElement.dataset.speed || ''"))
    wanted = set(window.value("""[...document.querySelectorAll('button, select, input, [tabindex]')]
        .filter(one => one.checkVisibility() && !one.disabled).map(one => one.id || one.dataset.speed || '')"""))
    assert len(wanted) > 25 and wanted - reached == set()
    tab_to(window, "one.id === 'faults'")
    first = window.value("document.getElementById('faults').value")
    key(window, "ArrowDown")
    fault = window.value("document.getElementById('faults').value")
    assert fault != first
    tab_to(window, "one.id === 'break'")
    key(window, "Enter")
    window.until("document.getElementById('broken').textContent.length")
    assert fault in window.value(TEXT.format("broken"))
    tab_to(window, "one.textContent.startsWith('Repair')")
    key(window, " ")
    window.until("!document.getElementById('broken').childElementCount")
    tab_to(window, "one.dataset.speed === '600'")
    key(window, "Enter")
    window.until("document.querySelector('[data-speed=\"600\"]').getAttribute('aria-pressed') === 'true'")
    tab_to(window, "one.id === 'inflow'")
    before = window.value(TEXT.format("inflow-is"))
    for _ in range(12):
        key(window, "ArrowRight")
    window.until(f"{TEXT.format('inflow-is')} !== {before!r}")


def test_nothing_moves_by_itself_where_less_motion_is_asked_for(window):
    speed(window, 10)
    choose(window, "inflow", "3")
    window.until("document.querySelector('#pit-pair .flow')")
    assert window.value("document.getAnimations().length") > 0
    window._call("Emulation.setEmulatedMedia", features=[{"name": "prefers-reduced-motion", "value": "reduce"}])
    window.until("document.querySelector('#pit-pair .flow')")
    assert window.value("document.getAnimations().length") == 0
    window._call("Emulation.setEmulatedMedia", features=[])


def test_both_unit_systems(window):
    choose(window, "system", "si")
    window.until(rf"/\d mm/.test({TEXT.format('cap-pair')}) && /L\/s$/.test({TEXT.format('inflow-is')})")
    assert window.value("document.getElementById('inflow').max") == "4"
    choose(window, "system", "us")
    window.until(rf"/\d in/.test({TEXT.format('cap-pair')}) && /gpm$/.test({TEXT.format('inflow-is')})")


def test_the_horn_is_heard_on_request_only(window):
    window.begin(window.home)
    window.value("""(() => { const Real = AudioContext; window.gains = [];
        window.AudioContext = class extends Real {
            createGain() { const one = super.createGain(); gains.push(one); return one; } }; })()""")
    choose(window, "inflow", "60")
    choose(window, "selector1", "off")
    choose(window, "selector2", "off")
    speed(window, 600)
    window.until(f"{TEXT.format('outputs')}.includes('horn')")
    speed(window, 0)
    assert window.value("gains.length") == 0
    click(window, "sound")
    window.until("gains.length === 1 && gains[0].gain.value > 0")
    click(window, "sound")
    window.until("gains[0].gain.value === 0")


def test_the_second_column_shows_one_pump_on_one_float_switch(window):
    window.begin(window.home)
    window.until("document.querySelectorAll('#pit-single ellipse').length")
    assert window.value("document.querySelectorAll('#pit-single rect[rx]').length") == 1
    assert window.value("document.querySelectorAll('#pit-single ellipse').length") == 1
    assert window.value("document.querySelectorAll('#pit-pair ellipse').length") == 4
    assert window.value("document.querySelectorAll('#pit-pair rect[rx]').length") == 2


def test_why_has_a_link_to_the_clause_that_decided_last(window):
    speed(window, 600)
    choose(window, "inflow", "20")
    window.until("document.querySelector('#decided a')")
    name, clause = window.value("document.querySelector('#decided a').getAttribute('href')").split("#")
    assert window.value(f"fetch({name!r}).then(got => got.text()).then(text => text.includes('id=\"{clause}\"'))")


def test_without_micropython_the_page_says_how_to_get_it(window, tmp_path):
    with Served(given=tmp_path) as url:
        window.begin(url)
        click(window, "prove")
        until(window, "verdict", "npm install --prefix .npm @micropython/micropython-webassembly-pyscript")
        assert window.value(TEXT.format("verdict")).startswith("Not proved")
        before = window.value("document.getElementById('clock').dataset.ms")
        click(window, "next")
        window.until(f"document.getElementById('clock').dataset.ms > {before}")
