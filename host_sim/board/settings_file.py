"""Settings as a file: what `settings pull` writes and `settings push` reads.

A flat TOML of whole numbers in the firmware's own units, or a whole site file,
whose settings are those that the simulator derives from it.
"""

import tomllib
import zlib
from pathlib import Path

from duplexsump.control import settings as s

from host_sim.errors import InputError
from host_sim.site.load import read_site, refuse_unsized
from host_sim.site.settings import near_name


def to_text(values):
    """Return a settings record as a TOML text, every line with unit and meaning."""
    lines = ["# Settings of the controller: whole numbers in the unit named."]
    for row, value in zip(s.TABLE, values, strict=True):
        lines.append(f"{row[s.NAME]} = {value}  # {row[s.UNIT] + ': ' if row[s.UNIT] else ''}{row[s.MEANING]}")
    return "\n".join(lines) + "\n"


def checksum(values):
    """Return the CRC-32 of a settings record as eight hex digits: each value as four bytes, high byte first."""
    return f"{zlib.crc32(b''.join((value & 0xFFFFFFFF).to_bytes(4, 'big') for value in values)):08x}"


def from_file(path, base):
    """Return the settings record of a file put over `base` (a settings record).  Raises InputError with every error."""
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
        data = tomllib.loads(text)
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"cannot be read: {error}", str(path)) from error
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"is not valid TOML: {error}", str(path)) from error
    if "pit" in data:
        refuse_unsized(path)
        return list(read_site(text, path.parent, str(path)).settings)
    return put_over(base, data, str(path))


def put_over(base, data, source):
    """Return `base` with the {name: value} of `data` put over it, checked as a set.  Raises InputError."""
    values, problems = list(base), []
    names = [row[s.NAME] for row in s.TABLE]
    for name, value in data.items():
        if name not in names:
            problems.append(f'"{name}" is not a setting: {near_name(name, names)}')
        elif not isinstance(value, int) or isinstance(value, bool):
            unit = s.TABLE[names.index(name)][s.UNIT]
            problems.append(f"{name} = {value!r}: a whole number is wanted{', in ' + unit if unit else ''}")
        else:
            values[names.index(name)] = value
    if not problems:
        problems = s.check(values)
    if problems:
        raise InputError(problems, source)
    return values


def changes(before, after):
    """Return [(name, before, after)] of the settings that differ."""
    return [(row[s.NAME], a, b) for row, a, b in zip(s.TABLE, before, after, strict=True) if a != b]
