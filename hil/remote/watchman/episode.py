"""Who is told what, and when: one message an episode, updates on change, escalation until acknowledged, an all-clear.

An episode of a pit lasts while any of its conditions stands or cleared less than the settling time ago.  Pure rules:
conditions and a time go in, messages come out; `state` is a dictionary of plain values that is kept from run to run.
"""

import time

from hil.remote.watchman import messages

RANK = {"high": 0, "medium": 1, "low": 2}
UPDATE_S = 600.0  # between two updates of one episode to one person, unless a high alarm is new or it is more urgent
ESCALATED_S = 3600.0  # the same for somebody who is only called because nobody else acted
CLEARED_S = 1800.0  # before a message that only says what has cleared
LOW_S = 600.0  # a low alarm that clears sooner is left to the daily look
AGAIN_S = 3600.0  # a high alarm that nobody has acknowledged is told again after 1 h, 2 h more, 4 h more ...
MOST_AGAIN = 6


def new():
    """Return the state of an episode that begins."""
    return {"first": {}, "gone": {}, "acknowledged": [], "by": "", "told": {}}


def acknowledge(state, by):
    """Note that somebody has taken charge of everything that stands."""
    state["acknowledged"] = sorted(state["first"])
    state["by"] = by


def step(state, conditions, floor, people, pit, now, settle_s=300.0, local=time.localtime):
    """Return (state or None, [(who, title, body)]) after a look at `conditions` at `now`; `state` None: no episode."""
    if state is None:
        if not conditions:
            return None, []
        state = new()
    _follow(state, conditions, now, settle_s)
    messages = []
    for person in people:
        message = _tell(state, conditions, floor, person, pit, now, settle_s, local)
        if message is not None:
            messages.append((person.who, *message))
    return (state if state["first"] else None), messages


def _follow(state, conditions, now, settle_s):
    # What stands since when; what has been gone for the settling time is forgotten, what comes back sooner never left.
    standing = {c["name"] for c in conditions}
    for c in conditions:
        state["first"].setdefault(c["name"], now)
        state["gone"].pop(c["name"], None)
        if c["acknowledged"] and c["name"] not in state["acknowledged"]:
            state["acknowledged"].append(c["name"])
            state["by"] = "at the pit"
    for name in [name for name in state["first"] if name not in standing]:
        if now - state["gone"].setdefault(name, now) >= settle_s:
            del state["first"][name], state["gone"][name]
            state["acknowledged"] = [other for other in state["acknowledged"] if other != name]


def _tell(state, conditions, floor, person, pit, now, settle_s, local):
    quiet = _quiet(person, now, local)
    theirs = [c for c in conditions if c["priority"] in person.priorities and not (quiet and c["priority"] == "low")]
    names = {c["name"] for c in theirs}
    mine = sorted((c for c in theirs if names.isdisjoint(c["covers"])), key=lambda c: RANK[c["priority"]])
    told = state["told"].get(person.who)
    known, ranks = (told["names"], told.get("ranks", {})) if told else ([], {})
    ripe = [c for c in mine if c["name"] not in known and _ripe(state, c, person, told, now)]
    gone = [name for name in known if name not in state["first"]]
    cleared = [told["texts"].get(name, name) for name in gone]
    since = now - told["at"] if told else 0.0
    if ripe:
        if told and not _urgent(ripe, told) and since < (ESCALATED_S if person.after_s else UPDATE_S):
            return None
        waited = max(now - state["first"][c["name"]] for c in ripe) if person.after_s else None
        title = messages.also(pit, ripe, mine) if told else messages.opening(pit, mine, waited)
    elif gone and len(gone) == len(known):
        del state["told"][person.who]
        return messages.all_clear(pit, cleared, told["began"], now - settle_s)
    elif gone and not quiet and since >= CLEARED_S and any(ranks.get(name) != RANK["low"] for name in gone):
        title = messages.update(pit, cleared, mine)
    elif told and _again(state, mine, told, since):
        title = messages.again(pit, mine)
    else:
        return None
    _note(state, theirs, ripe, gone, person, told, now)
    return title, messages.body(state, mine, cleared, floor)


def _ripe(state, condition, person, told, now):
    # Whether a condition is one to tell this person of now.
    stood_s = now - state["first"][condition["name"]]
    if condition["priority"] == "low" and stood_s < LOW_S:
        return False
    if person.after_s == 0.0:
        return True
    if condition["name"] in state["acknowledged"]:
        return False
    return stood_s >= person.after_s or (told is not None and condition["priority"] == "high")


def _urgent(ripe, told):
    worst = min(RANK[c["priority"]] for c in ripe)
    return worst == 0 or worst < told["worst"]


def _again(state, mine, told, since):
    waits = [c for c in mine if c["priority"] == "high" and c["name"] not in state["acknowledged"]]
    return bool(waits) and told["again"] < MOST_AGAIN and since >= AGAIN_S * 2 ** told["again"]


def _note(state, theirs, ripe, gone, person, told, now):
    again = 0 if told is None or ripe else told["again"] + (not gone)
    told = told or {"names": [], "texts": {}, "ranks": {}, "began": now}
    names = sorted({c["name"] for c in theirs} | {name for name in told["names"] if name not in gone})
    texts = {**told["texts"], **{c["name"]: c["text"] for c in theirs}}
    ranks = {**told.get("ranks", {}), **{c["name"]: RANK[c["priority"]] for c in theirs}}
    state["told"][person.who] = {
        "at": now, "names": names, "texts": {name: texts[name] for name in names},
        "ranks": {name: ranks[name] for name in names if name in ranks}, "again": again,
        "began": min([told["began"], *(state["first"][c["name"]] for c in theirs)]),
        "worst": min([RANK[c["priority"]] for c in theirs], default=2),
    }  # fmt: skip


def _quiet(person, now, local):
    if person.quiet is None:
        return False
    moment = local(now)
    minute, (begin, end) = 60 * moment.tm_hour + moment.tm_min, person.quiet
    return begin <= minute < end if begin <= end else minute >= begin or minute < end
