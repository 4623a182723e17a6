"""The watchman's file: which pits, whom to tell, after how long, when not to wake anybody.  It holds secrets.

pits = ["home"]
[silence]                  # how long before silence is an alarm
gateway = "3 min"
board = "30 s"
daily = "26 h"
[[tell]]
who = "owner"
url = "mailtos://..."      # an Apprise URL, or url_from = "NAME" of an environment variable
after = "0 min"            # 0: at once; otherwise only if nobody has acknowledged by then
priorities = ["high", "medium", "low"]
quiet = "22:00-07:00"      # low alarms wait for its end
daily = true               # gets the daily look
"""

import os
import re
import tomllib
from dataclasses import dataclass

from hil.remote import credentials, topics
from host_sim.errors import InputError
from host_sim.site.reader import Table

PRIORITIES = ("high", "medium", "low")
_CLOCK = re.compile(r"([01]\d|2[0-3]):([0-5]\d)-([01]\d|2[0-3]):([0-5]\d)")


@dataclass(frozen=True)
class Person:
    """Somebody to tell once an episode has stood unacknowledged for `after_s`; `quiet`: minutes of the day or None."""

    who: str
    url: str
    after_s: float = 0.0
    priorities: tuple = ("high", "medium")
    quiet: tuple | None = None
    daily: bool = False


@dataclass(frozen=True)
class Config:
    """Everything of the file; times in s."""

    pits: tuple
    people: tuple
    gateway_s: float = 180.0
    board_s: float = 30.0
    daily_s: float = 26 * 3600.0
    settle_s: float = 300.0  # an episode is over once all has been normal for so long


def load(path, environment=os.environ):
    """Return the Config in a file that only its owner can read.  Raises InputError with every error in it."""
    text = credentials.owner_only(path)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"is not TOML: {error}", str(path)) from error
    return read(data, str(path), environment)


def read(data, source="watchman", environment=os.environ):
    """Return the Config in `data`, a table as TOML gives it.  Raises InputError with every error in it."""
    problems = []
    table = Table(data, "", problems)
    pits = _pits(table, problems)
    silence = table.table("silence", {})
    times = [
        silence.quantity(name, "time", default, above=0.0)
        for name, default in (("gateway", "3 min"), ("board", "30 s"), ("daily", "26 h"), ("settle", "5 min"))
    ]
    silence.done()
    people = [_person(part, problems, environment) for part in table.tables("tell")]
    table.done()
    if not people:
        problems.append("nobody to tell: add a table [[tell]] with who and url")
    names = [person.who for person in people if person is not None]
    problems += [f'tell: two people are named "{name}"' for name in sorted({n for n in names if names.count(n) > 1})]
    if problems:
        raise InputError(problems, source)
    return Config(tuple(pits), tuple(people), *times)


def _pits(table, problems):
    pits = table.items("pits", wanted='a list of names, as in ["home"]') or []
    for pit in pits:
        if not isinstance(pit, str) or not topics.PIT.fullmatch(pit):
            problems.append(f"pits: {pit!r}: must be 1 to 40 of a-z, 0-9, - and _")
    if not pits:
        problems.append('pits: name at least one pit, as in pits = ["home"]')
    return pits


def _person(part, problems, environment):
    who = part.text("who")
    url = part.text("url", None)
    variable = part.text("url_from", None)
    if url is None and variable is not None:
        url = environment.get(variable)
        if not url:
            part.problem("url_from", f"the environment has no {variable}")
    elif url is None:
        part.problem("url", "missing: an Apprise URL, or url_from with the name of an environment variable")
    after = part.quantity("after", "time", 0.0, least=0.0)
    priorities = part.items("priorities", ["high", "medium"], wanted='a list, as in ["high", "medium"]') or []
    if any(priority not in PRIORITIES for priority in priorities):
        part.problem("priorities", f"must be of {', '.join(PRIORITIES)}")
    quiet = part.text("quiet", None)
    found = _CLOCK.fullmatch(quiet) if quiet else None
    if quiet and not found:
        part.problem("quiet", f'"{quiet}": write two times of day, as in "22:00-07:00"')
    daily = part.boolean("daily", False)
    part.done()
    if None in (who, after):
        return None
    minutes = (60 * int(found[1]) + int(found[2]), 60 * int(found[3]) + int(found[4])) if found else None
    return Person(who, url or "", after, tuple(priorities), minutes, daily)
