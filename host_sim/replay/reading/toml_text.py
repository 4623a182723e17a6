"""Writes plain tables as TOML: texts, numbers, truths, lists and tables of these."""

import json
import re

_BARE = re.compile(r"^[A-Za-z0-9_-]+$")


def _key(name):
    return name if _BARE.match(name) else json.dumps(name, ensure_ascii=False)


def value(item):
    """Return one value in TOML, tables inline.  Raises TypeError for what TOML here cannot hold."""
    if isinstance(item, bool):
        return "true" if item else "false"
    if isinstance(item, (int, float)):
        return repr(item)
    if isinstance(item, str):
        # JSON escapes are a subset of TOML's, but for DEL, which a text for people does not hold.
        return json.dumps(item, ensure_ascii=False)
    if isinstance(item, (list, tuple)):
        return "[" + ", ".join(value(part) for part in item) + "]"
    if isinstance(item, dict):
        return "{ " + ", ".join(f"{_key(name)} = {value(part)}" for name, part in item.items()) + " }"
    raise TypeError(f"{item!r} cannot be written as TOML")


def text(table, path=()):
    """Return a table as a TOML document; values stand before the tables below them."""
    plain = {k: v for k, v in table.items() if not isinstance(v, dict) and not _tables(v)}
    lines = [f"{_key(name)} = {value(item)}" for name, item in plain.items()]
    for name, item in table.items():
        below = (*path, _key(name))
        if isinstance(item, dict):
            lines += ["", f"[{'.'.join(below)}]", text(item, below).rstrip("\n")]
        elif _tables(item):
            for part in item:
                lines += ["", f"[[{'.'.join(below)}]]", text(part, below).rstrip("\n")]
    return "\n".join(lines).strip("\n") + "\n"


def _tables(item):
    return isinstance(item, list) and bool(item) and all(isinstance(part, dict) for part in item)
