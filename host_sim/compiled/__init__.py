"""The control core compiled for the PC: the firmware's own files, translated, built, cached and loaded.

    hooks.py       what may be changed in a compiled core: all else of a module is folded into it
    shapes.py      the types of the core: from its annotations, and from a controller that was just made
    carrier.py     how the explorer puts states into compiled parts and takes them out
    states.py      what a search has found, held without an object for each state
    translate.py   the files of `duplexsump/control` as one typed Cython source
    build.py       the source through Cython and the C compiler into the cache
    select.py      which core runs: the compiled one where there is one for just these sources, else pure Python

It is an accelerator and no other controller: without a compiler, without Cython, or with other sources than
those it was built from, the pure Python files run as they stand.
"""
