"""A compiled core: translated, through Cython and the C compiler, into the cache."""

import contextlib
import io
import os
import shutil
import tempfile
from pathlib import Path

from host_sim.compiled import cache, loop, shapes, translate
from host_sim.errors import InputError

# No debugging data, whole numbers wrap, no warnings of C that Cython wrote; and a float is rounded
# after every operation, as in Python.
FLAGS = ["-O2", "-g0", "-fwrapv", "-ffp-contract=off", "-w"]


def build(sources):
    """Compile the core of the folder `sources` (a `duplexsump/control`) and return the library's path.

    What is there already is not built again.  Raises InputError where Cython,
    setuptools or a C compiler is missing, or where the sources cannot be translated.
    """
    made = cache.library(cache.key(sources))
    return made if made.exists() else _built(made, Path(sources), cache.NAME)


def build_loop(sources, paths, name=cache.LOOP):
    """Compile {module: file} `paths` to stand on the core of `sources`; return the library's path.

    `name`: a library of `cache.LIBRARIES`; plant and loop if left out.

    What is there already is not built again.  Raises InputError as `build()` does.
    """
    made = cache.library(cache.loop_key(cache.key(sources), paths.values()), name)
    return made if made.exists() else _built(made, Path(sources), name, paths)


def _built(made, sources, name, paths=None):
    try:
        made.parent.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=made.parent.parent, prefix="building-") as folder:
            _write(sources, Path(folder), name, paths)
            _keep(_compiled(Path(folder), name), made)
    except OSError as error:
        raise InputError(f"the compiled core cannot be kept in {cache.folder()}: {error}") from error
    return made


def _write(sources, folder, name, paths):
    # The core's declarations are needed for either.
    core = translate.Translation(shapes.load(sources))
    text = core.text()
    (folder / f"{cache.NAME}.pxd").write_text(core.declarations(), encoding="utf-8")
    if paths is None:
        (folder / f"{cache.NAME}.pyx").write_text(text, encoding="utf-8")
    else:
        made = loop.Loop(paths, core.shapes).text()
        (folder / f"{name}.pyx").write_text(made, encoding="utf-8")


def _compiled(folder, name):
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
            extension = Extension(name, [str(folder / f"{name}.pyx")], extra_compile_args=_flags())
            modules = cythonize([extension], include_path=[str(folder)], quiet=True)
            work = Distribution({"name": name, "ext_modules": modules}).get_command_obj("build_ext")
            work.build_lib, work.build_temp = str(folder / "lib"), str(folder / "temp")
            work.ensure_finalized()
            work.run()
    except CompileError as error:
        raise InputError(f"the sources cannot be translated: {error}\n{said.getvalue()}") from error
    except (BaseError, CCompilerError) as error:
        text = "the C compiler is missing or failed"
        raise InputError(f"{text} ({error}): install one, or go on in pure Python\n{said.getvalue()}") from error
    return Path(work.get_ext_fullpath(name))


def _flags():
    return FLAGS if os.name == "posix" else []


def _keep(library, made):
    # Whole or not at all: another process may be building the same.
    made.parent.mkdir(exist_ok=True)
    with tempfile.NamedTemporaryFile(dir=made.parent, delete=False) as new:
        shutil.copyfileobj(library.open("rb"), new)
    Path(new.name).chmod(0o755)
    Path(new.name).replace(made)
