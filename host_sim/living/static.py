"""The page as a folder of plain files: the simulator, the firmware and a Python for the browser, served by anything."""

import shutil
from pathlib import Path

from host_sim.errors import InputError
from host_sim.living import bundle, files, npm, recorded

NEEDED = {
    npm.PYODIDE: ("pyodide.mjs", "pyodide.asm.mjs", "pyodide.asm.wasm", "python_stdlib.zip", "pyodide-lock.json"),
    npm.MICROPYTHON: ("micropython.mjs", "micropython.wasm"),
}
SERVED, WORKER = 'content="served"', 'content="worker"'


def build(out, given=None):
    """Write the page into the folder `out`, which must be new or empty; return the bytes of all its files.

    `given` is a folder into which npm has installed Pyodide and MicroPython;
    None looks for one and else has npm bring them.  Raises InputError for a
    folder that cannot be used, or where npm is missing or fails.
    """
    out = Path(out)
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise InputError("is there already and not empty: name a new folder", str(out))
    sources = {package: npm.bring(package, given) for package in NEEDED}
    out.mkdir(parents=True, exist_ok=True)
    for name, content in files.all_of_them():
        (out / name).write_bytes(content)
    index = (out / "index.html").read_text(encoding="utf-8")
    (out / "index.html").write_text(index.replace(SERVED, WORKER), encoding="utf-8")
    bundle.write(out / "bundle.zip")
    (out / "recorded.json").write_text(recorded.minute(), encoding="utf-8")
    for package, names in NEEDED.items():
        folder = out / package.rpartition("/")[2].partition("-")[0]
        folder.mkdir()
        for name in names:
            if not (sources[package] / name).is_file():
                raise InputError(f"holds no {name}: the npm package {package} is wanted", str(sources[package]))
            shutil.copy(sources[package] / name, folder / name)
    return sum(path.stat().st_size for path in out.rglob("*") if path.is_file())
