"""Which core runs: a compiled one made from just these sources, or the sources as they stand.

SUMPBENCH_CORE says which is wanted: "auto" (the default: compiled where there is one), "pure", or "compiled"
(refuses to go on without one).  The choice falls when the core is first imported, once for a process.
"""

import contextlib
import importlib.machinery
import importlib.util
import os
import sys
import types
from pathlib import Path

from host_sim.compiled import cache
from host_sim.errors import InputError

PACKAGE = "duplexsump.control"
WISHES = ("auto", "pure", "compiled")
_found = {}  # "core", "loop": the extension modules or None; "why": the reason in words; "names"; "sources"


class CompiledModule(types.ModuleType):
    """A module whose functions and classes are compiled.  Only a hook of the core can be set from outside."""

    def __setattr__(self, name, value):
        if name in self.__dict__ and not name.startswith("__"):
            try:
                if not self.__name__.startswith(PACKAGE):
                    raise AttributeError(name)
                _found["core"].change(f"{self.__name__.rpartition('.')[2]}.{name}", value)
            except AttributeError:
                raise AttributeError(
                    f"{self.__name__}.{name} is folded into the compiled core: run with SUMPBENCH_CORE=pure, "
                    f"or name it in host_sim/compiled/hooks.py"
                ) from None
        super().__setattr__(name, value)


class _Finder:
    """Gives the compiled modules in the place of the sources."""

    @staticmethod
    def find_spec(fullname, path=None, target=None):
        package, _, name = fullname.rpartition(".")
        if package == PACKAGE and name in _found["names"]:
            origin = _found["sources"] / f"{name}.py"
        elif fullname in cache.MODULES and _loop() is not None:
            origin = loop_paths()[fullname]
        else:
            return None
        spec = importlib.machinery.ModuleSpec(fullname, _Finder, origin=str(origin))
        spec.has_location = True
        return spec

    @staticmethod
    def create_module(spec):
        return CompiledModule(spec.name)

    @staticmethod
    def exec_module(module):
        package, _, name = module.__name__.rpartition(".")
        names = _found["names"][name] if package == PACKAGE else _found["loop"][module.__name__]
        module.__dict__.update(names)
        module.__dict__.setdefault("const", int)


def loop_paths():
    """Return {module: its file} of plant and loop."""
    root = Path(__file__).parents[2]
    return {name: root.joinpath(*name.split(".")).with_suffix(".py") for name in cache.MODULES}


def _loop():
    # What plant and loop export, compiled to stand on the core that runs; None where that is not there.
    if "loop" not in _found:
        _found["loop"] = None  # what it imports itself
        paths = loop_paths()
        path = cache.library(cache.loop_key(cache.key(_found["sources"]), paths.values()), cache.LOOP)
        if path.exists():
            with contextlib.suppress(ImportError):
                _found["loop"] = _loaded(cache.LOOP, path).exports()
    return _found["loop"]


def sources():
    """Return the folder of the control core that this process imports, or None."""
    spec = importlib.util.find_spec("duplexsump")
    places = list(spec.submodule_search_locations or ()) if spec else []
    return Path(places[0]) / "control" if places else None


def install():
    """Choose the core for this process; called when `host_sim` is imported."""
    wish = os.environ.get("SUMPBENCH_CORE", "auto")
    if _found:
        return
    core, why = None, "asked for"
    if wish not in WISHES:
        raise InputError(f'SUMPBENCH_CORE="{wish}": must be {", ".join(WISHES)}')
    if wish != "pure":
        core, why = _compiled()
    if core is None and wish == "compiled":
        raise InputError(f"SUMPBENCH_CORE=compiled, but {why}: run `sumpbench compile`")
    _found.update(core=core, why=why)
    if core is not None:
        _found.update(names=core.exports(), sources=sources())
        sys.meta_path.insert(0, _Finder)


def _compiled():
    # (extension module or None, why)
    if any(name.startswith(f"{PACKAGE}.") for name in sys.modules):
        return None, "the core was imported before host_sim"
    place = sources()
    if place is None:
        return None, "no firmware is found"
    path = cache.library(cache.key(place))
    if not path.exists():
        return None, "no core is compiled from these sources"
    try:
        return _loaded(cache.NAME, path), str(path)
    except ImportError as error:
        return None, f"the compiled core cannot be loaded: {error}"


def _loaded(name, path):
    loader = importlib.machinery.ExtensionFileLoader(name, str(path))
    spec = importlib.util.spec_from_file_location(name, path, loader=loader)
    try:
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        loader.exec_module(module)
    except ImportError:
        sys.modules.pop(name, None)
        raise
    return module


def use_pure(why):
    """Go back to the sources in this process, for work that changes live code.

    Raises RuntimeError where the compiled core runs already.
    """
    if not is_compiled():
        return
    if f"{PACKAGE}.controller" in sys.modules:
        raise RuntimeError(f"the compiled core already runs in this process: set SUMPBENCH_CORE=pure, because {why}")
    sys.meta_path.remove(_Finder)
    for name in [name for name in sys.modules if name.startswith(f"{PACKAGE}.")]:
        del sys.modules[name]
    os.environ["SUMPBENCH_CORE"] = "pure"  # for the processes that it starts
    _found.update(core=None, loop=None, why=why)


def is_compiled():
    """Tell whether the compiled core runs in this process."""
    return _found.get("core") is not None


def core():
    """Return "compiled" or "pure"."""
    return "compiled" if is_compiled() else "pure"


def told():
    """Return in words which core runs, and why."""
    if is_compiled():
        return "compiled core and plant" if _loop() is not None else "compiled core, plant in pure Python"
    return f"pure Python core ({_found.get('why', 'not chosen yet')})"
