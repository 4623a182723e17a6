"""What sits where: line voltage and low voltage in enclosures of their own, each part of the guide in one of them."""


def rows(subject):
    """Return rows of (place, parts) for a `subject.Subject`; a place without parts is left out."""
    lines, direct = subject.lines, [one.number for one in subject.motors if one.direct]
    bought = [(place, ", ".join(parts)) for place, parts in (
        ("service panel", [*_of("CB", lines), "surge arrester"]),
        ("line-voltage enclosure, its door", _of("SS", lines)),
        ("line-voltage enclosure, inside", _line(subject, lines)),
        ("low-voltage enclosure, its door", [*_of("SS", direct), "push buttons",
                                             *(["status light"] if subject.has_lamp else [])]),
        ("low-voltage enclosure, inside", _low(subject, lines, direct)),
        ("at the battery's plus post, within 7 in (18 cm)", ["FB", "FG", *(["FV"] if subject.has("battery") else []),
                                                             *_of("FU", direct)]),
        ("in sight of the pump, off the pit", [*_of("DS", (*lines, *direct)),
                                               *(f"receptacle {one.number}" for one in subject.motors if one.plugs)]),
        ("in the house", ["horn", "beacon", "dialers"]),
    )]  # fmt: skip
    return [(place, parts) for place, parts in bought if parts]


def has_line_enclosure(subject):
    """Return whether anything stands in the line-voltage enclosure."""
    return bool(_line(subject, subject.lines))


def _of(name, numbers):
    return [f"{name}{n}" for n in numbers]


def _hot(subject, numbers):
    return _of("KT", [n for n in numbers if n in subject.thermal])


def _line(subject, lines):
    receptacles = [f"GFCI {one.number} where it is a receptacle" for one in subject.motors if one.plugs]
    return [*receptacles, *_of("C", lines), *_of("FC", lines), *_hot(subject, lines),
            *([f"relay module of {', '.join(_of('K', lines))}"] if lines else []),
            *(f"current transformer {one.number}" for one in subject.motors if one.sensor and not one.direct),
            *(["KM", "FM"] if subject.has("mains present") else [])]  # fmt: skip


def _low(subject, lines, direct):
    relays = [n for n in range(1, 7) if n not in lines]
    fuses = ["FA3 to FA6", "FF", *(["FL"] if subject.has("level loop") else []), *(["FH"] if subject.hall else [])]
    return ["circuit board, converters, X1 to X7, test jumper", f"relay module of {', '.join(_of('K', relays))}",
            *fuses,
            *_of("C", direct), *_of("FC", direct), *_hot(subject, direct),
            *(f"Hall sensor {one.number}" for one in subject.motors if one.sensor and one.direct)]  # fmt: skip
