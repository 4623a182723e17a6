"""The record as data: one schema for acceptance and hose test, validated before it is written.

    format, version, kind       "acceptance" or "hose test"
    made_by, when, complete, why_incomplete, verdict, headline
    place, customer             texts, "" to be filled in by hand
    no_hardware                 "" where a real controller was tested, else what was tested instead
    board                       what is known of the board
    procedures, latency         of an acceptance run (see `hil.acceptance.runner`)
    left_out                    procedures that were not asked for, [{"what", "why"}]
    hose_test                   the document of a hose test within an acceptance run, or None and hose_test_why
    items                       of a hose test: all of `items.ITEMS`, in that order
    untested                    [{"what", "why"}]
    cautions                    texts
"""

import time

from hil.record import items as it
from host_sim.board.settings_file import checksum
from host_sim.errors import InputError
from host_sim.report.version import made_by

FORMAT, VERSION = "sumpbench record", 1
ACCEPTANCE, HOSE_TEST = "acceptance", "hose test"
SKIPPED, BROKEN_OFF = "skipped", "interrupted"
CAUTIONS = (
    "Shock: unplug or lock out a pump before touching it; no selector, relay or controller makes one safe.",
    "Drowning: keep the pit covered. Battery gas: ventilate, no flame, no sparks.",
    "Flood: no test guarantees a dry basement; this record states what was found on that day, in that weather.",
    "Local codes and licensed trades decide; where they differ from this record, they are right.",
)
COMMON = ("format", "version", "kind", "made_by", "when", "place", "customer", "no_hardware", "complete", "verdict",
          "headline", "board", "untested")  # fmt: skip
SIMULATED = (
    "The firmware ran on a simulated controller ({place}); wiring, pumps and pit were simulated too. This record "
    "accepts no controller."
)


def _worst(verdicts):
    for verdict in (it.FAIL, BROKEN_OFF):
        if verdict in verdicts:
            return it.FAIL
    for verdict in (it.MARGINAL, it.PASS):
        if verdict in verdicts:
            return verdict
    return it.NOT_TESTED


def _counted(verdicts, noun):
    told = {it.PASS: "passed", it.MARGINAL: "marginal", it.FAIL: "FAILED", BROKEN_OFF: "INTERRUPTED",
            SKIPPED: "not tested",
            it.NOTED: "noted", it.NOT_TESTED: "not tested"}  # fmt: skip
    counts = [f"{verdicts.count(verdict)} {word}" for verdict, word in told.items() if verdict in verdicts]
    return f"{len(verdicts)} {noun}: {', '.join(counts) or 'nothing done'}"


def hose_test(found, when=None, **more):
    """Return the document of a hose test; `found` is {key: item} with every key of `items.KEYS`.

    `more` may give site, sizing, board, begun, breaks, place, customer,
    no_hardware.  Raises InputError where an item is missing or its verdict is
    unknown.
    """
    rows = [{"key": key, "section": section, "title": title, **found.get(key, {})} for key, section, title in it.ITEMS]
    verdicts = [row.get("verdict") for row in rows]
    made = {
        "format": FORMAT, "version": VERSION, "kind": HOSE_TEST, "made_by": made_by(), "when": when or now(),
        "complete": True, "why_incomplete": "", "verdict": _worst(verdicts), "headline": _counted(verdicts, "items"),
        "site": "", "sizing": "", "board": {}, "begun": "", "breaks": [], "place": "", "customer": "",
        "no_hardware": "", **more, "items": rows,
        "untested": [{"what": _named(row), "why": row.get("why", "")} for row in rows
                     if row.get("verdict") == it.NOT_TESTED],
        "cautions": list(CAUTIONS),
    }  # fmt: skip
    check(made)
    return made


def _named(row):
    # Items of the same title stand in several sections.
    several = [title for _, _, title in it.ITEMS].count(row["title"]) > 1
    return f"{dict(it.SECTIONS)[row['section']]}: {row['title']}" if several else row["title"]


def acceptance(record):
    """Return the document of an acceptance run, from the runner's record.  Raises InputError where it is malformed."""
    made = dict(record)
    verdicts = [entry["verdict"] for entry in record["procedures"]]
    left_out = list(record.get("left_out", []))
    place = record["kit"].get("place", "the board did not start")
    tested = record.get("hose_test")
    kit = {key: value for key, value in record["kit"].items() if key != "settings_values"}
    if record["kit"].get("settings_values"):
        kit["settings"] = checksum(record["kit"]["settings_values"])
    headline = _counted(verdicts + [SKIPPED] * len(left_out), "procedures")
    if tested is not None:
        headline += f"; hose test, {tested['headline']}"
    if not record.get("complete", True):
        headline = f"INCOMPLETE: {record.get('why_incomplete', '')}; {headline}"
    untested = [{"what": entry["name"], "why": entry.get("why", "")} for entry in record["procedures"]
                if entry["verdict"] in (SKIPPED, BROKEN_OFF)]  # fmt: skip
    untested += left_out
    untested += tested["untested"] if tested is not None else []
    made.update({
        "format": FORMAT, "version": VERSION, "kind": ACCEPTANCE, "made_by": made_by(),
        "when": record.get("when", now()), "place": record.get("place", ""), "customer": record.get("customer", ""),
        "no_hardware": "" if record.get("hardware") else SIMULATED.format(place=place), "left_out": left_out,
        "complete": record.get("complete", True), "why_incomplete": record.get("why_incomplete", ""),
        "verdict": _worst([*verdicts, *([tested["verdict"]] if tested else [])]), "headline": headline, "board": kit,
        "hose_test": tested, "hose_test_why": "" if tested else record.get("hose_test_why", "not requested"),
        "untested": untested, "cautions": list(CAUTIONS),
    })  # fmt: skip
    made.pop("kit", None)
    check(made)
    return made


def now():
    """Return date and time as ISO 8601 text with the time zone."""
    return time.strftime("%Y-%m-%dT%H:%M:%S%z")


def check(document):
    """Raise InputError naming everything that a document lacks."""
    problems = [f'"{key}" is missing' for key in COMMON if key not in document]
    if document.get("format") != FORMAT or document.get("version") != VERSION:
        problems.append(f"format and version must be {FORMAT!r}, {VERSION}")
    if document.get("kind") == HOSE_TEST:
        problems += _items(document.get("items", []))
    elif document.get("kind") == ACCEPTANCE:
        problems += _procedures(document.get("procedures", []))
        if document.get("hose_test"):
            problems += _items(document["hose_test"].get("items", []))
        elif not document.get("hose_test_why"):
            problems.append("no hose test, without a reason")
    else:
        problems.append(f"kind {document.get('kind')!r}: {ACCEPTANCE} or {HOSE_TEST}")
    if problems:
        raise InputError(problems, "record")


def _items(rows):
    problems = []
    if tuple(row.get("key") for row in rows) != it.KEYS:
        missing = [key for key in it.KEYS if key not in {row.get("key") for row in rows}]
        problems.append(f"items missing or out of order: {', '.join(missing) or 'out of order'}")
    for row in rows:
        if row.get("verdict") not in it.VERDICTS:
            problems.append(f"{row.get('key')}: verdict {row.get('verdict')!r}")
        elif row["verdict"] == it.NOT_TESTED and not row.get("why"):
            problems.append(f"{row['key']}: not tested, without a reason")
    return problems


def _procedures(entries):
    known = (it.PASS, it.MARGINAL, it.FAIL, SKIPPED, BROKEN_OFF)
    problems = [f"{entry.get('name')}: verdict {entry.get('verdict')!r}" for entry in entries
                if entry.get("verdict") not in known]  # fmt: skip
    problems += [f"{entry['name']}: {entry['verdict']}, without a reason" for entry in entries
                 if entry.get("verdict") in (SKIPPED, BROKEN_OFF) and not entry.get("why")]  # fmt: skip
    return problems
