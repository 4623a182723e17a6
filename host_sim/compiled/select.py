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
# "core": the extension module or None; a library: what it exports or None; "compiled": all of these; "why": the reason
# in words; "names"; "sources".
_found = {}


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
        else:
            library = next((one for one, names in cache.LIBRARIES.items() if fullname in names), None)
            if library is None or _library(library) is None:
                return None
            origin = loop_paths(library)[fullname]
        spec = importlib.machinery.ModuleSpec(fullname, _Finder, origin=str(origin))
        spec.has_location = True
        return spec

    @staticmethod
    def create_module(spec):
        return CompiledModule(spec.name)

    @staticmethod
    def exec_module(module):
        package, _, name = module.__name__.rpartition(".")
        names = _found["names"][name] if package == PACKAGE else _found["compiled"][module.__name__]
        module.__dict__.update(names)
        module.__dict__.setdefault("const", int)


def loop_paths(library=cache.LOOP):
    """Return {module: its file} of plant and loop, or of another library of `cache.LIBRARIES`."""
    root = Path(__file__).parents[2]
    return {name: root.joinpath(*name.split(".")).with_suffix(".py") for name in cache.LIBRARIES[library]}


def library_path(library):
    """Return where the library of `cache.LIBRARIES` lies that belongs to the core's sources; it may not exist."""
    paths = loop_paths(library)
    return cache.library(cache.loop_key(cache.key(sources()), paths.values()), library)


def _library(library):
    # What a library exports that stands on the core that runs; None where that is not there.
    if library not in _found:
        _found[library] = None  # what it imports itself
        path = library_path(library)
        if path.exists():
            with contextlib.suppress(ImportError):
                _found[library] = _loaded(library, path).exports()
                _found.setdefault("compiled", {}).update(_found[library])
    return _found[library]


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
    _found.update(core=None, why=why)
    _found.update(dict.fromkeys(cache.LIBRARIES))


def is_compiled():
    """Tell whether the compiled core runs in this process."""
    return _found.get("core") is not None


def core():
    """Return "compiled" or "pure"."""
    return "compiled" if is_compiled() else "pure"


def carrier():
    """Return the class that carries states in and out of compiled parts (`carrier.py`); None in pure Python."""
    return _found["core"].Carrier if is_compiled() else None


def states():
    """Return the class that holds what a search has found (`states.py`); None in pure Python."""
    return _found["core"].States if is_compiled() else None


def told():
    """Return in words which core runs, and why."""
    if is_compiled():
        if _library(cache.PIPES) is None or _library(cache.LOOP) is None:
            return "compiled core, plant in pure Python"
        there = library_path(cache.SEARCH).exists()
        return "compiled core and plant" if there else "compiled core and plant, explorer in pure Python"
    return f"pure Python core ({_found.get('why', 'not chosen yet')})"
