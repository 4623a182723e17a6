"""A session as a small plain object, for a link; and back, trusting nothing in it.

{"v": 1, "site": {"packaged": NAME} or {"text": TOML}, "own": BOOL, "deeds": [[ms, what, value], ...], "t_ms": N,
 "journal": the first 16 hex digits of the journal's SHA-256}
"""

import tomllib
from dataclasses import dataclass
from importlib import resources

import tomli_w

from host_sim.errors import InputError
from host_sim.living.session import LONGEST_S, MOST_DEEDS, Session
from host_sim.plant.plant import TICK_MS
from host_sim.site.load import packaged

VERSION = 1
LONGEST_TEXT = 200_000  # characters of a site file
DIGITS = 16
KEYS = {"v", "site", "own", "deeds", "t_ms", "journal"}


@dataclass(frozen=True)
class Origin:
    """Where a session's site comes from: the name of a packaged one, or the data of a site file."""

    name: str
    data: dict
    folder: object
    own: bool
    packaged: bool

    def session(self):
        """Return a Session at its beginning.  Raises InputError for a site that cannot be read."""
        return Session(self.data, self.folder, self.name, self.own)


def sites():
    """Return the names of the packaged sites that read no further file: those that a page can open."""
    folder = resources.files("host_sim") / "scenarios"
    names = sorted(item.name[:-5] for item in folder.iterdir() if item.name.endswith(".toml"))
    return [name for name in names if not files_of(of_packaged(name, False).data)]


def of_packaged(name, own):
    """Return the Origin of a packaged site.  Raises InputError naming those there are."""
    if not isinstance(name, str):
        raise InputError("the name of a packaged site is wanted")
    path = packaged(name)
    return Origin(name, tomllib.loads(path.read_text(encoding="utf-8")), path.parent, own, True)


def of_text(text, own, folder):
    """Return the Origin of a site file given as text.  Raises InputError for text that is none."""
    if not isinstance(text, str) or len(text) > LONGEST_TEXT:
        raise InputError(f"a site file of at most {LONGEST_TEXT // 1000} kB of text is wanted")
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError(f"is not valid TOML: {error}", "site file") from error
    named = files_of(data)
    if named:
        problem = f"names the file {named[0]!r}: a page opens a site file alone; use sumpbench night"
        raise InputError(problem, "site file")
    return Origin("site file", data, folder, own, False)


def files_of(data):
    """Return what a site file would have read from this machine's disk."""
    if isinstance(data, dict):
        here = [value for key, value in data.items() if key in ("file", "well") and isinstance(value, str)]
        return here + [name for value in data.values() for name in files_of(value)]
    if isinstance(data, list):
        return [name for value in data for name in files_of(value)]
    return []


def packed(origin, session):
    """Return the object of a session.  Raises InputError for a site that reads files, which a link cannot carry."""
    site = {"packaged": origin.name} if origin.packaged else {"text": tomli_w.dumps(origin.data)}
    named = [] if origin.packaged else files_of(origin.data)
    if named:
        raise InputError(f"this site reads the file {named[0]!r}, which a link cannot carry: save it as a site file")
    return {
        "v": VERSION, "site": site, "own": origin.own,
        "deeds": [[done.at_ms, done.what, done.value] for done in session.deeds],
        "t_ms": session.now_ms, "journal": session.digest()[:DIGITS],
    }  # fmt: skip


def unpacked(given, folder):
    """Return (Origin, Session at its beginning with all deeds, the instant it stood at, digits of its journal).

    Raises InputError for anything that `packed` cannot have made.
    """
    if not isinstance(given, dict) or set(given) != KEYS or given["v"] != VERSION:
        raise InputError("this link holds no session of this page, or one of another version")
    own, deeds, t_ms, journal, site = (given[key] for key in ("own", "deeds", "t_ms", "journal", "site"))
    if not isinstance(own, bool) or not isinstance(journal, str) or not isinstance(site, dict) or len(site) != 1:
        raise InputError("this link is damaged: its session cannot be read")
    if not _instant(t_ms) or not isinstance(deeds, list) or len(deeds) > MOST_DEEDS:
        raise InputError(f"this link is damaged: its clock, or more than {MOST_DEEDS} deeds")
    origin = of_packaged(site["packaged"], own) if "packaged" in site else of_text(site.get("text"), own, folder)
    session, last = origin.session(), 0
    for one in deeds:
        if not isinstance(one, list) or len(one) != 3 or not _instant(one[0]) or one[0] % TICK_MS or one[0] <= last:
            raise InputError("this link is damaged: its deeds are not in order of time")
        last = one[0]
        session.do(one[1], one[2], last)
    session.hand_ms = max((one[0] for one in deeds if one[0] <= t_ms + TICK_MS), default=0)
    return origin, session, t_ms, journal


def _instant(value):
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < LONGEST_S * 1000.0
