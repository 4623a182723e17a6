"""The published topic list: one table that the gateway, its readers, the documentation and the tests share.

A topic is `sumpbench/<pit>/<name>`.  A payload is one JSON object (UTF-8, at most MOST_BYTES) with `v`, the version of
this list, and `at`, the time in s since 1970-01-01 at which it held.  Retained topics carry what holds now;
`log` carries every record once more with a number, so that a reader may tell what it missed or already has.
"""

import json
import math
import re
from dataclasses import dataclass

from host_sim.errors import InputError

VERSION = 1
ROOT = "sumpbench"
MOST_BYTES = 16384  # of a payload that is read; a longer one is dropped
PIT = re.compile(r"[a-z0-9][a-z0-9_-]{0,39}")
QOS = 1


@dataclass(frozen=True)
class Topic:
    """One row: its name, whether it is retained, who writes it, its fields as (name, unit, meaning)."""

    name: str
    retained: bool
    writer: str
    about: str
    fields: tuple


TABLE = (
    Topic("gateway", True, "gateway", "Last will: the broker writes up = 0 when it loses the gateway. Each minute.", (
        ("up", "0, 1", "the gateway is connected"),
        ("since", "s", "when this run of the gateway began"),
    )),
    Topic("board", True, "gateway", "Whether the controller answers.", (
        ("up", "0, 1", "the controller answers"),
        ("since", "s", "since when it does or does not"),
        ("firmware", "", "checksum of its firmware, 8 hex digits"),
        ("uptime_min", "min", "since its last power-up, in whole hours"),
        ("reset_cause", "", "power-up, watchdog reset or requested reset"),
    )),
    Topic("state", True, "gateway", "Contacts, pumps and supply; at each change.", (
        ("wet", "", "contacts that are wet, of off, lead, lag, high"),
        ("suspect", "", "contacts that are suspect"),
        ("pumps_on", "", "numbers of the pumps that are on"),
        ("available", "", "numbers of the pumps that can run"),
        ("pumps_called", "", "how many pumps the level calls for"),
        ("blind", "0, 1", "pumping by time because the level is lost"),
        ("mains", "0, 1", "mains present"),
        ("selectors", "", "AUTO, OFF or HAND of pumps 1, 2"),
    )),
    Topic("alarms", True, "gateway", "Every alarm that is not normal, the most urgent first; at each change.", (
        ("alarms", "", "list of: name, text, priority (high, medium, low), state, active (0, 1), since (s), call, do"),
    )),
    Topic("level", True, "gateway", "Where the water is.", (
        ("above", "", "highest contact that is wet, or null"),
        ("below", "", "lowest contact above the water, or null"),
        ("transmitter_mm", "mm", "reading of the level transmitter, null without one"),
    )),
    Topic("pumps", True, "gateway", "Figures of pumps 1, 2; after each run.", (
        ("pumps", "", "list of two: state, last_fault, starts, run_s (s), rate_ml_min (mL/min), wear_percent (%)"),
        ("inflow_ml_min", "mL/min", "inflow at the last fill"),
    )),
    Topic("battery", True, "gateway", "The standby battery.", (
        ("mv", "mV", "voltage now, to 100 mV; null without one"),
        ("band", "", "good, low or dead"),
        ("charging", "0, 1", "the charger charges"),
        ("loaded_mv", "mV", "lowest voltage in the last run that the battery carried, null: none seen"),
        ("loaded_at", "s", "when that was"),
    )),
    Topic("floor", True, "gateway", "Time to floor if both pumps stopped now, on the safe side.", (
        ("at_least_min", "min", "at least so long, null: no figure"),
        ("why", "", "why there is no figure, else empty"),
        ("inflow_ml_min", "mL/min", "inflow that it is worked out with"),
        ("measured_at", "s", "when that inflow was measured"),
        ("storm", "0, 1", "the inflow is taken to rise as in a steep storm: under 30 days of record"),
    )),
    Topic("daily", True, "gateway", "The daily look, once a day.", (
        ("look", "", "object: the figures of `sumpbench daily`"),
    )),
    Topic("describe", True, "gateway", "Optional (`--describe`): this list, for programs that set up themselves.", (
        ("topics", "", "list of: name, retained (0, 1), about, fields (list of: name, unit, meaning)"),
    )),
    Topic("log", False, "gateway", "Numbered records, delivered at least once; a reader drops what it has.", (
        ("id", "", "the outbox that numbers them"),
        ("n", "", "number, rising by 1; a reader that has (id, n) drops it"),
        ("kind", "", "status (each minute), alarm, event, gap (records given up for want of room)"),
        ("name", "", "alarm, event: which; with event = raised, acknowledged or cleared for an alarm"),
        ("late", "1", "alarm: it came and went while the gateway was out, and was read from the journal"),
    )),
    Topic("receipt", False, "reader", "Optional: `receipt/<reader>` returns what a reader has stored.", (
        ("id", "", "the outbox"),
        ("got", "", "list of numbers n, at most 500"),
    )),
)  # fmt: skip
BY_NAME = {row.name: row for row in TABLE}


def topic(pit, name):
    """Return the full topic of a row, or of `receipt/<reader>`.  Raises KeyError for a name not in the table."""
    BY_NAME[name.split("/")[0]]
    return f"{ROOT}/{pit}/{name}"


def split(full):
    """Return (pit, name) of a full topic, None where it is none of the table."""
    parts = full.split("/", 2)
    if len(parts) != 3 or parts[0] != ROOT or not PIT.fullmatch(parts[1]):
        return None
    head, _, rest = parts[2].partition("/")
    if head not in BY_NAME or (rest and head != "receipt"):
        return None
    return parts[1], parts[2]


def check_pit(name):
    """Return a pit's name.  Raises InputError where it cannot be part of a topic."""
    if not PIT.fullmatch(name):
        raise InputError(
            f'pit "{name}": 1 to 40 of a-z, 0-9, "-" and "_", the first a letter or digit, as in pit-17', "--pit"
        )
    return name


def pack(at, **fields):
    """Return the payload (bytes) of `fields` that held at `at`."""
    return json.dumps({"v": VERSION, "at": round(at, 3), **fields}, separators=(",", ":"), allow_nan=False).encode()


def unpack(payload):
    """Return the object in a payload, None for anything that is none of this version.  Raises nothing."""
    if not isinstance(payload, (bytes, bytearray)) or len(payload) > MOST_BYTES:
        return None
    try:
        found = json.loads(payload.decode("utf-8"), parse_constant=_refuse)
    except (ValueError, RecursionError):
        return None
    if not isinstance(found, dict) or type(found.get("v")) is not int or found["v"] != VERSION:
        return None
    at = found.get("at")
    if isinstance(at, bool) or not isinstance(at, (int, float)) or not math.isfinite(at) or not 0 <= at < 1e11:
        return None
    return found


def _refuse(word):
    raise ValueError(word)


def described():
    """Return the fields of topic `describe`: the retained topics of this list."""
    return {"topics": [
        {"name": row.name, "retained": 1, "about": row.about,
         "fields": [{"name": name, "unit": unit, "meaning": meaning} for name, unit, meaning in row.fields]}
        for row in TABLE if row.retained and row.name != "describe"
    ]}  # fmt: skip


def as_markdown():
    """Return the table as Markdown."""
    lines = [f"Topic list, version {VERSION}: `{ROOT}/<pit>/<name>`, JSON, quality of service {QOS}.", ""]
    for row in TABLE:
        kept = "retained" if row.retained else "not retained"
        lines += [f"### {row.name} ({kept}; written by the {row.writer})", "", row.about, ""]
        lines += ["| field | unit | meaning |", "| --- | --- | --- |"]
        lines += [f"| `{name}` | {unit} | {meaning} |" for name, unit, meaning in row.fields] + [""]
    return "\n".join(lines)
