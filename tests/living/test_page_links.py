"""A scripted session in a real browser, saved, shared, opened by somebody else, proved; and links that are hostile."""

import base64
import json
import subprocess
import sys
import zlib

import pytest

pytest.importorskip("tornado", reason="tornado is not installed")

from host_sim.living import share
from host_sim.run.journal import read_journal
from tests.chromium import needed
from tests.living.pages import TEXT, Served, Window, break_it, choose, click, speed, until

MS = "document.getElementById('clock').dataset.ms"
pytestmark = [needed, pytest.mark.long]


@pytest.fixture(scope="module")
def window(tmp_path_factory):
    with Served() as url, Window(tmp_path_factory.mktemp("browser")) as browser:
        browser.begin(url)
        yield browser


def alarms(window):
    """Return the alarms that stand in the page, in words."""
    return window.value("[...document.querySelectorAll('#alarm-list summary')].map(one => one.textContent)")


def next_until(window, name, words):
    """Go from event to event until a part of the page has these words."""
    for _ in range(80):
        before = ms(window)
        click(window, "next")
        window.until(f"{MS} > {before}")
        if words in window.value(TEXT.format(name)):
            return
    raise AssertionError(f"{words}: {window.value(TEXT.format(name))}")


def ms(window):
    """Return the instant that the page shows, in ms from the start."""
    return int(window.value(MS))


def next_past(window, at_ms):
    """Go from event to event until an instant is past."""
    while ms(window) <= at_ms:
        before = ms(window)
        click(window, "next")
        window.until(f"{MS} > {before}")


@pytest.fixture(scope="module")
def scripted(window):
    """Inflow, a jam, silence, back, another branch; gives (the link, the site file) that the page gives."""
    window.begin(window.home)
    speed(window, 0)
    choose(window, "inflow", "30")
    next_past(window, 600_000)
    break_it(window, "pump1-jammed")
    next_until(window, "alarm-list", "pump 1 unavailable (active, unacknowledged)")
    click(window, "silence")
    next_until(window, "alarm-list", "pump 1 unavailable (active, acknowledged)")
    # A fault planned for 50 s from now is an event to stop at: 60 s before it the button was not yet pressed.
    planned = ms(window) + 50_000
    choose(window, "at", "50 s")
    break_it(window, "lag-stuck-dry")
    choose(window, "at", "")
    next_past(window, planned - 100)
    assert planned <= ms(window) <= planned + 100
    choose(window, "span", "60")
    click(window, "back")
    window.until(f"{MS} < {planned - 50_000}")
    next_until(window, "alarm-list", "pump 1 unavailable (active, unacknowledged)")
    click(window, "mains")
    next_until(window, "alarm-list", "mains lost")
    window.value("""(() => { window.saved = ''; HTMLAnchorElement.prototype.click = function () {
        window.saved = decodeURIComponent(this.href.split(',').slice(1).join(',')); }; })()""")
    click(window, "save")
    click(window, "share")
    link = window.until("document.getElementById('link').value")
    return link, window.until("window.saved"), alarms(window)


def test_a_scripted_session_saved_is_the_same_night_bit_for_bit(scripted, tmp_path):
    link, saved, seen = scripted
    assert sorted(one.split(": ")[1].split(" (")[0] for one in seen) == ["mains lost", "pump 1 unavailable"]
    (tmp_path / "session.toml").write_text(saved, encoding="utf-8")
    done = subprocess.run([sys.executable, "-m", "host_sim", "night", str(tmp_path / "session.toml"), "--out",
                           str(tmp_path / "night")], capture_output=True, text=True, check=False)  # fmt: skip
    assert done.returncode in (0, 1), done.stderr[-2000:]
    night = read_journal(next((tmp_path / "night").glob("*.jsonl")))
    code = link.split("#session=")[1]
    given = json.loads(zlib.decompress(base64.urlsafe_b64decode(code + "=" * (-len(code) % 4)), wbits=-15))
    whats = [deed[1] for deed in given["deeds"]]
    assert whats == ["inflow", "break", "mains"]
    _, session, t_ms, digits = share.unpacked(given, tmp_path)
    session.advance(t_ms)
    assert session.digest()[: share.DIGITS] == digits
    lived = list(map(repr, session.journal().records))
    replayed = [repr(record) for record in night.records if record.time_ms <= t_ms]
    assert len(lived) > 20 and list(map(_plain, replayed)) == list(map(_plain, lived))


def _plain(text):
    # Lists in memory, tuples out of a file.
    return text.replace("[", "(").replace("]", ")")


def test_the_link_comes_to_the_same_instant_elsewhere_and_says_that_it_is_the_same(window, scripted):
    link, _, seen = scripted
    window.begin(link)
    until(window, "note", "the same journal, bit for bit")
    assert window.value("document.querySelector('[data-speed=\"0\"]').getAttribute('aria-pressed')") == "true"
    assert alarms(window) == seen


def test_the_proof_agrees_in_the_page(window, scripted):
    window.begin(scripted[0])
    until(window, "note", "the same journal")
    click(window, "prove")
    told = window.until("/^(Agreed|Not|DIFF)/.exec(document.getElementById('verdict').textContent)?.input")
    assert window.value(TEXT.format("verdict")).startswith("Agreed: ") and "31 bits" in window.value(
        TEXT.format("verdict")), told  # fmt: skip
    assert window.value("document.getElementById('steps').rows.length") > 3
    same = "row => row.cells[2].textContent === 'the same'"
    assert window.value(f"[...document.getElementById('steps').rows].every({same})")


def fragment(data):
    """Return a link's fragment that holds these bytes, deflated."""
    deflate = zlib.compressobj(9, wbits=-15)
    return "#session=" + base64.urlsafe_b64encode(deflate.compress(data) + deflate.flush()).decode().rstrip("=")


def session(**changed):
    """Return a link's fragment with an empty session in which something is changed."""
    good = {"v": 1, "site": {"packaged": "demo"}, "own": True, "deeds": [], "t_ms": 0, "journal": ""}
    return fragment(json.dumps(good | changed).encode())


SCRIPT = "<img src=x onerror=\"window.hurt = 1\">"
HOSTILE = {
    "no base64": "#session=%%%", "cut short": "#session=" + "A" * 11, "not deflated": "#session=aGVsbG8",
    "no JSON": fragment(b"hello"), "not a session": fragment(b'{"v": 1}'), "not UTF-8": fragment(b"\xff\xfe"),
    "deep": fragment(b"[" * 300_000), "a bomb": fragment(b"0" * 60_000_000),
    "a million characters": "#session=" + "A" * 1_000_000,
    "a script in a site": session(site={"text": f"name = '{SCRIPT}'"}),
    "a script in a name": session(site={"packaged": SCRIPT}),
    "a script in a deed": session(deeds=[[100, SCRIPT, SCRIPT]]),
    "a file of the machine": session(site={"packaged": "/etc/passwd"}),
}  # fmt: skip


@pytest.mark.parametrize("what", HOSTILE)
def test_a_hostile_link_is_refused_in_the_page_and_the_pit_lives_on(window, what):
    window.begin(window.home + HOSTILE[what])
    window.until("document.getElementById('error').textContent.length > 20")
    assert window.value("window.hurt ?? 0") == 0
    assert window.value("document.querySelectorAll('img, iframe, object').length") == 0
    before = ms(window)
    window.until(f"{MS} > {before}")


def test_a_shared_site_with_a_script_for_a_name_is_shown_as_text(window, scripted):
    lines = [f"name = '''{SCRIPT}'''" if line.startswith("name = ") else line for line in scripted[1].splitlines()]
    window.begin(window.home + session(site={"text": "\n".join(lines)}))
    until(window, "name", "<img src=x")
    assert window.value("window.hurt ?? 0") == 0 and window.value("document.querySelectorAll('img').length") == 0
