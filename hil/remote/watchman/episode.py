"""Who is told what, and when: one message an episode, updates on change, escalation until acknowledged, an all-clear.

An episode of a pit lasts while any of its conditions stands or cleared less than the settling time ago.  Pure rules:
conditions and a time go in, messages come out; `state` is a dictionary of plain values that is kept from run to run.
"""

import time

from hil.remote import words

RANK = {"high": 0, "medium": 1, "low": 2}
UPDATE_S = 600.0  # between two updates of one episode to one person, unless a high alarm is new or it is more urgent
AGAIN_S = 3600.0  # a high alarm that nobody has acknowledged is told again each hour
MOST_AGAIN = 12


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
    mine = [c for c in conditions if c["priority"] in person.priorities and not (quiet and c["priority"] == "low")]
    mine.sort(key=lambda c: RANK[c["priority"]])
    told = state["told"].get(person.who)
    known = told["names"] if told else []
    ripe = [c for c in mine if c["name"] not in known and _ripe(state, c, person, told, now)]
    gone = [name for name in known if name not in state["first"]]
    if ripe:
        if told and not _urgent(ripe, told) and now - told["at"] < UPDATE_S:
            return None
        title = _opening(state, mine, person, pit, now) if not told else _also(ripe, mine, pit)
    elif gone and len(gone) == len(known):
        del state["told"][person.who]
        took = words.span((now - settle_s - told["began"]) / 60.0)
        return f"ALL CLEAR: pit {pit}", f"It began {words.moment(told['began'])} and lasted {took}."
    elif gone and not quiet and now - told["at"] >= UPDATE_S:
        title = f"UPDATE: pit {pit}: cleared: {_names(gone, told)}{_count(mine)}"
    elif told and _again(state, mine, told, now):
        told["again"] += 1
        title = f"HIGH: pit {pit}: {mine[0]['text']} (still there, nobody has acknowledged it)"
    else:
        return None
    _note(state, mine, gone, person, told, now)
    return title, _body(state, mine, [told["texts"].get(name, name) for name in gone] if told else [], floor)


def _ripe(state, condition, person, told, now):
    # Whether a condition is one to tell this person of now.
    if person.after_s == 0.0:
        return True
    if condition["name"] in state["acknowledged"]:
        return False
    waited = now - state["first"][condition["name"]] >= person.after_s
    return waited or (told is not None and condition["priority"] == "high")


def _urgent(ripe, told):
    worst = min(RANK[c["priority"]] for c in ripe)
    return worst == 0 or worst < told["worst"]


def _again(state, mine, told, now):
    waits = [c for c in mine if c["priority"] == "high" and c["name"] not in state["acknowledged"]]
    return bool(waits) and now - told["at"] >= AGAIN_S and told["again"] < MOST_AGAIN


def _note(state, mine, gone, person, told, now):
    told = told or {"names": [], "texts": {}, "began": now, "again": 0, "worst": 2}
    names = sorted({c["name"] for c in mine} | {name for name in told["names"] if name not in gone})
    texts = {**told["texts"], **{c["name"]: c["text"] for c in mine}}
    worst = min([RANK[c["priority"]] for c in mine], default=2)
    began = min([told["began"], *(state["first"][c["name"]] for c in mine)])
    state["told"][person.who] = {
        "at": now, "names": names, "texts": {name: texts[name] for name in names}, "began": began,
        "again": told["again"], "worst": worst,
    }  # fmt: skip


def _quiet(person, now, local):
    if person.quiet is None:
        return False
    moment = local(now)
    minute, (begin, end) = 60 * moment.tm_hour + moment.tm_min, person.quiet
    return begin <= minute < end if begin <= end else minute >= begin or minute < end


# The words.


def _opening(state, mine, person, pit, now):
    more = f" and {len(mine) - 1} more" if len(mine) > 1 else ""
    title = f"{mine[0]['priority'].upper()}: pit {pit}: {mine[0]['text']}{more}"
    if person.after_s:
        waited = max(now - state["first"][c["name"]] for c in mine if c["name"] not in state["acknowledged"])
        title += f" (nobody has acknowledged it for {words.span(waited / 60.0)})"
    return title


def _also(ripe, mine, pit):
    return f"{ripe[0]['priority'].upper()}: pit {pit}: also {', '.join(c['text'] for c in ripe[:3])}{_count(mine)}"


def _count(mine):
    return f" ({len(mine)} alarms stand)" if len(mine) > 1 else ""


def _names(names, told):
    return ", ".join(told["texts"].get(name, name) for name in names[:3])


def _body(state, mine, gone, floor):
    lines = [f"{c['priority']}: {c['text']}\n  {c['do']}" for c in mine]
    if gone:
        lines.append("cleared: " + ", ".join(gone))
    if floor is not None:
        silent = any(c["name"].endswith("_silent") for c in mine)
        lines.append(f"Floor, if both pumps stopped {'when last heard' if silent else 'now'}: {words.at_least(floor)}.")
    if mine and all(c["name"] in state["acknowledged"] for c in mine):
        lines.append(f"Acknowledged {state['by']}.")
    elif mine:
        lines.append("Press silence at the pit, or run sumpbench acknowledge, so that nobody else is called.")
    return "\n".join(lines)
