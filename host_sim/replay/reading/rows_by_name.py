"""Tables with one reading a row, its channel's name beside it, into one column for each channel."""

from host_sim.errors import InputError
from host_sim.replay.reading.log import note


def spread(table, mapping, issues, source):
    """Return ({column: list of cells}, rows) of a table whose rows name their channel, None where a row has no cell.

    Rows of one time that follow each other become one.  Raises InputError for a
    name in the mapping that no row bears.
    """
    wanted = mapping.channels()
    stamps = [mapping.time, *([mapping.time_of_day] if mapping.time_of_day else [])]
    found = {name: [] for name in [*stamps, *wanted]}
    seen, other, last = {}, 0, None
    for i, cell in enumerate(table[mapping.names]):
        name = str(cell).strip()
        seen[name] = seen.get(name, 0) + 1
        if name not in found or name in stamps:
            other += 1
            continue
        stamp = tuple(table[key][i] for key in stamps)
        if stamp != last or found[name][-1] is not None:
            for column in found.values():
                column.append(None)
            for key, part in zip(stamps, stamp, strict=True):
                found[key][-1] = part
            last = stamp
        found[name][-1] = table[mapping.values][i]
    lacking = [name for name in wanted if name not in seen]
    if lacking:
        given = ", ".join(f'"{name}" ({count})' for name, count in sorted(seen.items(), key=lambda item: -item[1])[:20])
        raise InputError([f'no row of "{mapping.names}" is named "{name}"; there are {given}' for name in lacking],
                         str(source))  # fmt: skip
    note(issues, "other names", other, f'rows of other names in "{mapping.names}", left out')
    return found, len(found[mapping.time])
