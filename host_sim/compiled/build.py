"""A compiled core: translated, through Cython and the C compiler, into the cache."""

import contextlib
import io
import os
import shutil
import tempfile
from pathlib import Path

from host_sim.compiled import cache, shapes, translate
from host_sim.errors import InputError

FLAGS = ["-O2", "-g0", "-fwrapv", "-w"]  # no debugging data; whole numbers wrap; the C is Cython's, not ours to mend


def build(sources):
    """Compile the core of the folder `sources` (a `duplexsump/control`) and return the library's path.

    What is there already is not built again.  Raises InputError where Cython,
    setuptools or a C compiler is missing, or where the sources cannot be translated.
    """
    made = cache.library(cache.key(sources))
    if made.exists():
        return made
    try:
        made.parent.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=made.parent.parent, prefix="building-") as folder:
            library = _compiled(_written(Path(sources), Path(folder)), Path(folder))
            _keep(library, made)
    except OSError as error:
        raise InputError(f"the compiled core cannot be kept in {cache.folder()}: {error}") from error
    return made


def _written(sources, folder):
    path = folder / f"{cache.NAME}.pyx"
    path.write_text(translate.Translation(shapes.load(sources)).text(), encoding="utf-8")
    return path


def _compiled(source, folder):
    try:
        from Cython.Build import cythonize
        from Cython.Compiler.Errors import CompileError
        from setuptools import Distribution, Extension
        from setuptools.errors import BaseError, CCompilerError
    except ImportError as error:
        text = 'a compiled core needs Cython and setuptools: pip install "sumpbench[fast]"'
        raise InputError(f"{text} ({error})") from error
    said = io.StringIO()
    try:
        with contextlib.redirect_stderr(said), contextlib.redirect_stdout(said):
            modules = cythonize([Extension(cache.NAME, [str(source)], extra_compile_args=_flags())], quiet=True)
            work = Distribution({"name": cache.NAME, "ext_modules": modules}).get_command_obj("build_ext")
            work.build_lib, work.build_temp = str(folder / "lib"), str(folder / "temp")
            work.ensure_finalized()
            work.run()
    except CompileError as error:
        raise InputError(f"the firmware's sources cannot be translated: {error}\n{said.getvalue()}") from error
    except (BaseError, CCompilerError) as error:
        text = "the C compiler is missing or failed"
        raise InputError(f"{text} ({error}): install one, or go on in pure Python\n{said.getvalue()}") from error
    return Path(work.get_ext_fullpath(cache.NAME))


def _flags():
    return FLAGS if os.name == "posix" else []


def _keep(library, made):
    # Whole or not at all: another process may be building the same.
    made.parent.mkdir(exist_ok=True)
    with tempfile.NamedTemporaryFile(dir=made.parent, delete=False) as new:
        shutil.copyfileobj(library.open("rb"), new)
    Path(new.name).chmod(0o755)
    Path(new.name).replace(made)
