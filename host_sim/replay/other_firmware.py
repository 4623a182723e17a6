"""Another firmware in place of our own: loaded from its folder, and named where it raises."""

import importlib.util
import sys
import traceback
from contextlib import contextmanager
from pathlib import Path

from host_sim.errors import InputError
from host_sim.run import controllers


def load(path):
    """Return the controller module of another firmware: a folder that holds `duplexsump/control` or is `control`.

    Raises InputError where there is none, or where it cannot be loaded.
    """
    folder = Path(path)
    places = (folder, folder / "control", folder / "duplexsump/control", folder / "lib/duplexsump/control",
              folder / "firmware/lib/duplexsump/control")  # fmt: skip
    control = next((place for place in places if (place / "controller.py").is_file()), None)
    if control is None:
        raise InputError(f"{path} holds no firmware: name the folder that holds duplexsump/control", "--firmware")
    name = f"other_firmware_{abs(hash(str(control.resolve()))):x}"
    try:
        init = control / "__init__.py"
        spec = importlib.util.spec_from_file_location(name, init, submodule_search_locations=[str(control)])
        package = importlib.util.module_from_spec(spec)
        sys.modules[name] = package
        if init.is_file():
            spec.loader.exec_module(package)
        module = importlib.import_module(f"{name}.controller")
    except (Exception, SystemExit) as error:  # whatever somebody's firmware raises while it is read
        raise InputError(f"{path} cannot be loaded: {_said(error)}", "--firmware") from error
    if not hasattr(module, "Controller"):
        raise InputError(f"{control / 'controller.py'} defines no Controller: AttributeError", "--firmware")
    return module


@contextmanager
def in_charge(module):
    """Put another firmware's controller in the place of ours in the closed loop; with `module` None nothing changes."""
    if module is None:
        yield
        return
    ours, controllers.Controller = controllers.Controller, module.Controller
    try:
        yield
    finally:
        controllers.Controller = ours


@contextmanager
def errors_told(module):
    """Turn whatever another firmware raises into InputError; with `module` None everything passes through."""
    try:
        yield
    except InputError:
        raise
    except (Exception, SystemExit) as error:
        if module is None:
            raise
        last = traceback.extract_tb(error.__traceback__)[-1]
        where = f"{Path(last.filename).name}, line {last.lineno}"
        raise InputError(f"the firmware in {module.__file__} raised {_said(error)} ({where})", "--firmware") from error


def _said(error):
    return f"{type(error).__name__}: {error}"
