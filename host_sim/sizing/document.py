"""A site file as a plain dictionary: edits by dotted key, and writing it back as TOML.

An edit is what a cure asks for and what an installer would type: the dotted
key and the new value; None takes the key away.
"""

import copy
import json
import re

_BARE = re.compile(r"^[A-Za-z0-9_-]+$")


def edited(data, edits):
    """Return a deep copy of a document with edits made; lists are reached by index, as in "sizing.evidence.0.in"."""
    found = copy.deepcopy(data)
    for key, value in edits.items():
        _edit(found, key.split("."), copy.deepcopy(value))
    return found


def _edit(place, parts, value):
    for part in parts[:-1]:
        if isinstance(place, list):
            place = place[int(part)]
            continue
        place = place.setdefault(part, {})
    last = parts[-1]
    if isinstance(place, list):
        if value is None:
            del place[int(last)]
        elif int(last) == len(place):
            place.append(value)
        else:
            place[int(last)] = value
    elif value is None:
        place.pop(last, None)
    else:
        place[last] = value


def look(data, key, default=None):
    """Return the value under a dotted key, or a default."""
    for part in key.split("."):
        if isinstance(data, list) and part.isdigit() and int(part) < len(data):
            data = data[int(part)]
        elif isinstance(data, dict) and part in data:
            data = data[part]
        else:
            return default
    return data


def own(data):
    """Return a document without what an earlier sizing wrote into it: the dotted keys that `sizing.written` names."""
    found = copy.deepcopy(data)
    sizing = found.get("sizing")
    written = sizing.pop("written", []) if isinstance(sizing, dict) else []
    if isinstance(written, list):
        for key in written:
            if isinstance(key, str) and look(found, key) is not None:
                _edit(found, key.split("."), None)
    if written and found.get("settings") == {}:
        del found["settings"]
    return found


def to_toml(data, heading=""):
    """Return a document as TOML text.  `heading` lines become comments.  Raises TypeError for what TOML cannot hold."""
    lines = [f"# {line}" if line else "#" for line in heading.splitlines()]
    if lines:
        lines.append("")
    _table(data, "", lines)
    return "\n".join(lines).strip() + "\n"


def _key(name):
    return name if _BARE.match(name) else json.dumps(name)


def _value(value):
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    raise TypeError(f"{value!r} cannot be written into a site file")


def _table(data, path, lines):
    tables, lists = [], []
    for name, value in data.items():
        if isinstance(value, dict):
            tables.append((name, value))
        elif isinstance(value, list) and value and all(isinstance(item, dict) for item in value):
            lists.append((name, value))
        else:
            lines.append(f"{_key(name)} = {_value(value)}")
    for name, value in tables:
        inner = f"{path}.{_key(name)}" if path else _key(name)
        if not value or any(not isinstance(item, dict) for item in value.values()):
            lines += ["", f"[{inner}]"]
        _table(value, inner, lines)
    for name, value in lists:
        inner = f"{path}.{_key(name)}" if path else _key(name)
        for item in value:
            lines += ["", f"[[{inner}]]"]
            _table(item, inner, lines)
