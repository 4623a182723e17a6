"""The folder of results of a command: nothing of somebody else's is overwritten, and no file is left half written.

A folder is ours when its summary says so.  A folder of ours is written anew,
file by file, each complete before it takes its name; a folder that holds files
of the same names but no such summary is refused before anything runs, and so is
a place that cannot be written to.
"""

import json
import tempfile
from pathlib import Path

from host_sim.errors import InputError

SUMMARY = "summary.json"
MADE_BY = "sumpbench night"
MARKS = {"made_by": MADE_BY}
PICTURES = ("strip.png", "strip.svg", "closeup.png", "closeup.svg")
NAMES = (*PICTURES, "timeline.txt", "journal.jsonl", SUMMARY)


def check(folder, names=NAMES, summary=SUMMARY, marks=MARKS, what="night"):
    """Raise InputError where results must not be written into `folder`; create nothing.

    `names` are the files that will be written.  They may be there already only
    where the file `summary` among them is JSON with the {key: value} of `marks`;
    `what` is what a person calls a run ("night", "sizing", "acceptance run").
    """
    folder = Path(folder)
    try:
        if folder.exists() and not folder.is_dir():
            raise InputError(f"{folder} is a file: name a folder, or one that does not exist yet", "--out")
        taken = [name for name in names if (folder / name).exists()]
        if taken and not is_ours(folder, summary, marks):
            files = ", ".join(taken)
            raise InputError(f"{folder} holds {files} that no {what} of ours wrote: name another folder", "--out")
    except OSError as error:
        raise InputError(_refusal(folder, error), "--out") from error
    writable(folder)


def writable(folder, source="--out"):
    """Raise InputError with `source` where nothing can be written into a folder; create nothing."""
    # The rights alone do not tell: root has them all, and still cannot write below /proc or on a read-only disk.
    place = Path(folder)
    try:
        place = next(place for place in (place, *place.absolute().parents) if place.exists())
        if not place.is_dir():
            raise InputError(f"{place} is a file, so {folder} cannot be made in it: name another folder", source)
        tempfile.TemporaryFile(dir=place).close()
    except OSError as error:
        raise InputError(_refusal(place, error), source) from error


def _refusal(place, error):
    return f"{place} cannot be written to ({error.strerror or error}): name another folder"


def is_ours(folder, summary=SUMMARY, marks=MARKS):
    """Tell whether the summary in `folder` is JSON that carries `marks`."""
    try:
        found = json.loads((Path(folder) / summary).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(found, dict) and all(found.get(key) == value for key, value in marks.items())


def write(folder, name, content, source="--out"):
    """Write one result, `content` being a text, or a function that writes to the path it is given.

    The file takes its name only when it is complete, so a stop half-way leaves
    the older one whole.  Returns its path.  Raises InputError with `source`,
    which names the file and the reason, where it cannot be written, as on a full
    disk.
    """
    folder = Path(folder)
    stem, suffix = name.rsplit(".", 1)
    partial = folder / f".{stem}.partial.{suffix}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        try:
            if callable(content):
                content(partial)
            else:
                partial.write_text(content, encoding="utf-8")
            partial.replace(folder / name)
        finally:
            partial.unlink(missing_ok=True)
    except OSError as error:
        older = "the older one is kept" if _exists(folder / name) else "there is none"
        raise InputError(f"{folder / name} cannot be written ({error.strerror or error}); {older}, and what was half "
                         "written is removed: make room, or name another folder", source) from error  # fmt: skip
    return folder / name


def write_all(folder, contents):
    """Write several results, a list of (name, content) as `write()` takes them, the summary last.

    Raises InputError where one cannot be written; it also names those written before it.
    """
    done = []
    for name, content in contents:
        try:
            write(folder, name, content)
        except InputError as error:
            left = [late for late, _ in contents[len(done) + 1 :]]
            state = f"{folder} is incomplete: {', '.join(done) or 'nothing'} written in this run"
            state += f"; not reached: {', '.join(left)}" if left else ""
            raise InputError([*error.problems, state], "--out") from error
        done.append(name)


def _exists(path):
    try:
        return path.exists()
    except OSError:
        return False
