"""A site file as a plain dictionary: edits by dotted key, and writing it back as TOML.

An edit is what a cure asks for and what an installer would type: the dotted
key and the new value; None takes the key away.
"""

import copy
import re

import tomli_w

WIDEST = 100  # characters of a list that is kept on one line
_FLAT = re.compile(r'\[\n((?: +(?:"(?:[^"\\\n]|\\.)*"|[^\s"\[\]{},]+),\n)+) *\]')


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
    body = _FLAT.sub(_one_line, tomli_w.dumps(data))
    return "\n".join([*lines, "", body] if lines else [body])


def _one_line(match):
    # A point of a curve reads better on one line; no string of tomli_w's holds a line end, so no string is touched.
    line = "[" + ", ".join(item.strip() for item in match[1].strip().rstrip(",").split(",\n")) + "]"
    return line if len(line) <= WIDEST else match[0]
