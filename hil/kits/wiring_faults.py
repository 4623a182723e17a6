"""Wiring faults from the readings that changed when each wire was switched.  Pure functions."""

SHORTED = "'{}' is shorted to ground, or a contact still closes it (a jumper, a float)"
OPEN = "'{}' is open: it was switched and no reading changed at the controller"


def inputs_wrong(moved, found, optional=()):
    """Return (wiring errors as sentences, names of optional wires that are not connected).

    `moved` is {wire: frozenset of terminals that changed}, `found` {wire: (as driven at rest, as read at rest)},
    `optional` the wires that may be missing.
    """
    problems, told = [], set()
    for name in moved:
        if moved[name] == {name} or name in told:
            continue
        words, names = _one_input(name, moved, found)
        if words is OPEN and name in optional:
            continue
        told |= names
        problems.append(words.format(name) if words in (OPEN, SHORTED) else words)
    absent = [name for name in moved if not moved[name] and name in optional and not _shorted(found[name])]
    return problems, absent


def _shorted(found):
    # Read as closed although it is driven open; of an analog wire: a reading with nothing given.
    return found[1] != 0 and not found[0]


def _one_input(name, moved, found):
    # (what is wrong with a wire, the wires that this explains)
    there = moved[name]
    if not there:
        # Closed at rest and still closed when moved, or closed although driven open: shorted.  Else nothing arrives.
        return (SHORTED if found[name][1] else OPEN), {name}
    if len(there) == 1:
        (other,) = there
        if moved.get(other) == {name}:
            return f"'{name}' and '{other}' are swapped", {name, other}
        return f"'{name}' is connected to the terminal of '{other}'", {name}
    together = [one for one in moved if one in there or one == name]
    names = {one for one in together if moved.get(one, frozenset()) | {one} == there | {name}}
    listed = ", ".join(f"'{one}'" for one in together)
    return f"{listed} are shorted together: they change together", names | {name}


def outputs_wrong(said, read):
    """Return (wiring errors as sentences, names of wires that are proved).

    `said` and `read` are {relay: tuple of 0 and 1}: what the controller said and what was read at the pin, situation
    by situation.  A relay that never moved is neither wrong nor proved, unless it reads otherwise than it was said.
    """
    problems, proved, told = [], [], set()
    for name in said:
        moves = len(set(said[name])) > 1
        if read[name] == said[name]:
            if moves and sum(said[other] == said[name] for other in said) == 1:
                proved.append(name)
        elif name not in told:
            words, names = _one_output(name, said, read)
            told |= names
            problems.append(words)
    return problems, proved


def _one_output(name, said, read):
    moving = [other for other in said if other != name and len(set(said[other])) > 1]
    for other in moving:
        if read[name] == said[other] and read[other] == said[name]:
            return f"'{name}' and '{other}' are swapped", {name, other}
    for other in moving:
        if read[name] == said[other]:
            return f"the output '{other}' is connected to the rig's input '{name}'", {name}
    if not any(read[name]):
        return f"'{name}' is open: the controller switches it and the rig reads nothing", {name}
    if all(read[name]):
        return f"'{name}' always reads on: shorted to 3.3 V, or another signal on its wire", {name}
    return f"'{name}' reads {read[name]} where the controller reports {said[name]}", {name}
