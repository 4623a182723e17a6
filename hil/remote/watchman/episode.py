"""Who is told what, and when: one message an episode, updates on change, escalation until acknowledged, an all-clear.

An episode of a pit begins with its first condition and ends once all has been normal for the settling time.  Pure
rules: conditions and a time go in, messages come out; `state` is a dictionary that is kept from run to run.
"""

import time

from hil.remote import words

RANK = {"high": 0, "medium": 1, "low": 2}
UPDATE_S = 600.0  # between two updates of one episode to one person, unless a high alarm is new or it is more urgent
AGAIN_S = 3600.0  # a high episode that nobody has acknowledged is told again each hour
MOST_AGAIN = 12


def new(now):
    """Return the state of an episode that begins now."""
    return {
        "began": now,
        "normal_since": None,
        "acknowledged": None,
        "told": {},
        "worst": 2,
        "seen": [],
        "fresh_at": now,
    }


def step(state, conditions, floor, people, pit, now, local=time.localtime):
    """Return (state or None, [(who, title, body)]) after a look at `conditions` at `now`; `state` None: no episode."""
    if state is None:
        if not conditions:
            return None, []
        state = new(now)
    names = [c["name"] for c in conditions]
    fresh = [name for name in names if name not in state["seen"]]
    if fresh:
        state["seen"] += fresh
        worst = min(RANK[c["priority"]] for c in conditions)
        # Something new asks for somebody again, unless it is no more urgent and somebody is already there.
        if worst < state["worst"] or state["acknowledged"] is None:
            state["fresh_at"] = now if state["acknowledged"] is not None else state["fresh_at"]
            state["acknowledged"] = None
        state["worst"] = min(worst, state["worst"])
    if conditions and all(c["acknowledged"] for c in conditions) and state["acknowledged"] is None:
        state["acknowledged"] = "at the pit"
    if conditions:
        state["normal_since"] = None
        return state, _tell(state, conditions, floor, people, pit, now, local)
    return _settle(state, people, pit, now)


def _settle(state, people, pit, now):
    if state["normal_since"] is None:
        state["normal_since"] = now
    if now - state["normal_since"] < state.get("settle_s", 300.0):
        return state, []
    took = words.span((state["normal_since"] - state["began"]) / 60.0)
    title = f"ALL CLEAR: pit {pit}"
    body = f"All alarms have cleared; it began {words.moment(state['began'])} and lasted {took}."
    return None, [(person.who, title, body) for person in people if person.who in state["told"]]


def _tell(state, conditions, floor, people, pit, now, local):
    messages = []
    names = sorted(c["name"] for c in conditions)
    for person in people:
        mine = [c for c in conditions if c["priority"] in person.priorities]
        if mine and _quiet(person, mine, now, local):
            continue
        told = state["told"].get(person.who)
        if told is None:
            due = now - state["fresh_at"] >= person.after_s and (person.after_s == 0.0 or state["acknowledged"] is None)
            if not mine or not due:
                continue
            kind = (
                ""
                if person.after_s == 0.0
                else f" (nobody has acknowledged it for {words.span((now - state['fresh_at']) / 60)})"
            )
        elif told["names"] != names:
            worse = _worst(conditions) < told["worst"]
            urgent = any(c["priority"] == "high" and c["name"] not in told["ever"] for c in conditions)
            if not worse and not urgent and now - told["at"] < UPDATE_S:
                continue
            kind = " (update)"
        elif _again(state, told, now):
            told["again"] += 1
            kind = " (still there, nobody has acknowledged it)"
        else:
            continue
        gone = [] if told is None else [name for name in told["names"] if name not in names]
        again = 0 if told is None else told["again"]
        ever = sorted({*names, *(told["ever"] if told else ())})
        worst = _worst(conditions)
        state["told"][person.who] = {"at": now, "names": names, "worst": worst, "again": again, "ever": ever}
        messages.append((person.who, *_words(conditions, gone, floor, pit, kind, state)))
    return messages


def _worst(conditions):
    return min(RANK[c["priority"]] for c in conditions)


def _again(state, told, now):
    high = told["worst"] == 0 and state["acknowledged"] is None
    return high and now - told["at"] >= AGAIN_S and told["again"] < MOST_AGAIN


def _quiet(person, mine, now, local):
    # Low alarms wait for the morning; nothing else does.
    if person.quiet is None or _worst(mine) < RANK["low"]:
        return False
    moment = local(now)
    minute, (begin, end) = 60 * moment.tm_hour + moment.tm_min, person.quiet
    return begin <= minute < end if begin <= end else minute >= begin or minute < end


def _words(conditions, gone, floor, pit, kind, state):
    ordered = sorted(conditions, key=lambda c: RANK[c["priority"]])
    first = ordered[0]
    more = f" and {len(ordered) - 1} more" if len(ordered) > 1 else ""
    title = f"{first['priority'].upper()}: pit {pit}: {first['text']}{more}{kind}"
    lines = [f"{c['priority']}: {c['text']}\n  {c['do']}" for c in ordered]
    if gone:
        lines.append("cleared: " + ", ".join(name.replace("_", " ") for name in gone))
    silent = first["name"].endswith("_silent")
    if floor is not None:
        when = "when last heard" if silent else "now"
        lines.append(f"Floor, if both pumps stopped {when}: {words.at_least(floor)}.")
    if state["acknowledged"]:
        lines.append(f"Acknowledged: {state['acknowledged']}.")
    else:
        lines.append("Press silence at the pit, or run sumpbench acknowledge, so that nobody else is called.")
    return title, "\n".join(lines)
