"""Which core runs: a compiled one made from just these sources, or the sources as they stand.

SUMPBENCH_CORE says which is wanted: "auto" (the default: compiled where there is one), "pure", or "compiled"
(refuses to go on without one).  The choice falls when the core is first imported, once for a process.
"""

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
_found = {}  # "core": the extension module or None; "why": the reason in words; "path"


class CompiledModule(types.ModuleType):
    """A module of the core whose functions and classes are compiled.  Only a hook can be set from outside."""

    def __setattr__(self, name, value):
        if name in self.__dict__ and not name.startswith("__"):
            try:
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
        if package != PACKAGE or name not in _found["names"]:
            return None
        spec = importlib.machinery.ModuleSpec(fullname, _Finder, origin=str(_found["sources"] / f"{name}.py"))
        spec.has_location = True
        return spec

    @staticmethod
    def create_module(spec):
        return CompiledModule(spec.name)

    @staticmethod
    def exec_module(module):
        names = _found["names"][module.__name__.rpartition(".")[2]]
        module.__dict__.update(names)
        module.__dict__.setdefault("const", int)


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
        loader = importlib.machinery.ExtensionFileLoader(cache.NAME, str(path))
        spec = importlib.util.spec_from_file_location(cache.NAME, path, loader=loader)
        module = importlib.util.module_from_spec(spec)
        sys.modules[cache.NAME] = module
        loader.exec_module(module)
    except ImportError as error:
        sys.modules.pop(cache.NAME, None)
        return None, f"the compiled core cannot be loaded: {error}"
    return module, str(path)


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


def is_compiled():
    """Tell whether the compiled core runs in this process."""
    return _found.get("core") is not None


def core():
    """Return "compiled" or "pure"."""
    return "compiled" if is_compiled() else "pure"


def told():
    """Return in words which core runs, and why."""
    if is_compiled():
        return "compiled core"
    return f"pure Python core ({_found.get('why', 'not chosen yet')})"
