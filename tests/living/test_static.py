"""The page as plain files: no engine but the browser's own, and the same night bit for bit."""

import functools
import hashlib
import http.server
import threading
from pathlib import Path

import pytest

from host_sim.errors import InputError
from host_sim.living import static
from host_sim.run.closed_loop import run
from host_sim.site.load import load_site, packaged
from tests.chromium import needed
from tests.living.pages import Window

PYODIDE = Path(__file__).resolve().parents[2] / ".npm" / "node_modules" / "pyodide"
has_pyodide = pytest.mark.skipif(not PYODIDE.is_dir(), reason=f"no {static.PYODIDE} from npm under .npm")
NIGHT = """
import hashlib
from host_sim.run.closed_loop import run
from host_sim.site.load import load_site, packaged
hashlib.sha256("\\n".join(map(repr, run(load_site(packaged("demo"))).journal.records)).encode()).hexdigest()
"""


class Quiet(http.server.SimpleHTTPRequestHandler):
    """Python's own server of files, without a word on every file."""

    asked = ()

    def log_message(self, *words):
        Quiet.asked = (*Quiet.asked, self.path)


@pytest.fixture
def folder(tmp_path):
    """Return a built page."""
    static.build(tmp_path / "page", PYODIDE)
    return tmp_path / "page"


@needed
@has_pyodide
@pytest.mark.campaign
def test_the_files_alone_live_in_a_browser_and_run_the_same_night(folder, tmp_path):
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(folder)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        with Window(tmp_path / "browser") as window:
            window.go(f"http://127.0.0.1:{server.server_address[1]}/")
            window.until("document.querySelector('#speeds button')")
            window.value("""(() => { document.querySelector('[data-speed="60"]').click();
                document.getElementById('faults').value = 'pump1-jammed';
                document.getElementById('break').click(); })()""")
            window.until("document.getElementById('lines').textContent.includes('pump 1 jammed')")
            window.until("document.getElementById('broken').childElementCount === 1")
            digest = window.value(f"""(async () => {{
                const {{ loadPyodide }} = await import('./pyodide/pyodide.mjs');
                const python = await loadPyodide({{ indexURL: './pyodide/', env: {{ SUMPBENCH_CORE: 'pure' }} }});
                python.unpackArchive(await (await fetch('bundle.zip')).arrayBuffer(), 'zip', {{ extractDir: '/pit' }});
                return python.runPython("import sys; sys.path.insert(0, '/pit')" + {NIGHT!r}); }})()""")
            beyond = window.value("performance.getEntriesByType('resource').map(one => one.name)"
                                  ".filter(name => !name.startsWith(location.origin))")  # fmt: skip
    finally:
        server.shutdown()
    records = "\n".join(map(repr, run(load_site(packaged("demo"))).journal.records))
    assert digest == hashlib.sha256(records.encode()).hexdigest()
    assert beyond == []


@has_pyodide
def test_the_page_is_built_whole_and_says_which_engine_it_has(folder):
    assert 'name="engine" content="worker"' in (folder / "index.html").read_text(encoding="utf-8")
    for name in ("page.js", "pit.js", "charts.js", "units.js", "worker.js", "page.css", "bundle.zip"):
        assert (folder / name).stat().st_size > 100


def test_a_folder_that_is_not_empty_is_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(InputError, match="not empty"):
        static.build(tmp_path, PYODIDE)
    assert [item.name for item in tmp_path.iterdir()] == ["mine.txt"]


def test_a_folder_without_pyodide_is_told(tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError, match=r"holds no pyodide\.mjs"):
        static.build(tmp_path / "page", tmp_path / "empty")
