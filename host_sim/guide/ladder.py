"""The power side as a ladder diagram: each pump's branch and its coil circuit, the relays around them.

Symbols as control diagrams in North America have them (JIC/NEMA ICS 19, from memory): a coil or load is a circle,
a contact two bars, a closed one with a stroke; a selector's contact carries its positions, X closed and O open.
"""

from host_sim.guide import fuses, symbols
from host_sim.guide.drawing import Drawing

LEFT, RIGHT = 0.9, 18.0
FED = 1.2  # where a coil circuit begins
ROW = 1.35
LOAD_ROW = 1.55
PANEL = 9.6  # right edge of the service panel's part
HALF = 7.8  # width of each half of the alarms' ladder


def drawing(subject):
    """Return the ladder of a `subject.Subject`: pumps, mains relay where it is fitted, surge arrester, alarms."""
    d = Drawing("ladder diagram, power side and coil circuits")
    y = 0.0
    for one in subject.motors:
        y = _pump(d, one, y, one.number in subject.thermal)
    return _alarms(d, _panel(d, y, subject))


def _rails(d, top, low, names, sides=(LEFT, RIGHT)):
    for x, name in zip(sides, names, strict=True):
        d.line((x, top), (x, low))
        d.text((x, top + 0.25), name, 8.0, "center")


def _rung(d, y, items, sides=(LEFT, RIGHT)):
    # (element, from x, to x, text above, text below): the wire between them; returns nothing.
    x, right = sides
    d.dot((x, y))
    for element, begin, end, above, below in items:
        d.line((x, y), (begin, y))
        d.between(element, (begin, y), (end, y))
        middle = (begin + end) / 2
        for words, off in ((above, 0.62), (below, -0.55)):
            if words:
                d.text((middle, y + off), words, 7.0, "center")
        x = end
    d.line((x, y), (right, y))
    d.dot((right, y))


def _pump(d, one, top, hot):
    n = one.number
    names = ("+ post", "- post") if one.direct else ("L1", "L2") if one.two_poles else ("L", "N")
    poles = ", 2 poles" if one.two_poles else ""
    d.text((LEFT + 0.6, top + 0.3), f"pump {n}: {one.volts:g} V {'DC' if one.direct else 'AC'}, "
           f"{one.rated_a:g} A, locked rotor {one.locked_a:g} A"
           f"{', conductors of its own from the posts' if one.direct else ''}", 8.0)  # fmt: skip
    y = top - 0.95
    first = y
    guard = [(d.e.Fuse(), 2.1, 3.7, f"fuse FU{n}", f"{one.breaker_a:g} A slow-blow, at the post")] if one.direct else [
        (d.e.Breaker(), 1.4, 2.8, f"breaker CB{n}", f"{one.breaker_a:g} A{poles}"),
        (d.e.RBox(), 3.5, 5.0, f"GFCI {n}",
         f"or in CB{n}" if one.plugs and not one.two_poles else f"in CB{n}")]  # fmt: skip
    _rung(d, y, [*guard,
                 (d.e.Switch(), 5.9, 7.4, f"disconnect DS{n}", "in sight, lockable"),
                 (symbols.contact(), 8.7, 9.5, f"contactor C{n}", f"{one.contactor_a} A {one.category}{poles}"),
                 *([(d.e.RBox(), 10.9, 12.4, "current sensor", f"to X5:{n}")] if one.sensor else []),
                 (symbols.coil(), 13.9, 15.0, f"motor M{n}", f"pump {n}" if one.direct else "")])  # fmt: skip
    if not one.direct:
        d.line((14.45, y - 0.35), (14.45, y - 0.5))
        d.ground((14.45, y - 0.5))
        d.text((14.8, y - 0.58), "equipment ground", 7.0)
    y -= 2.1
    hand, auto = y, y - ROW
    coil = "12 V DC coil" if one.direct else f"{one.volts:g} V AC coil"
    d.text((6.4, y + 1.02), f"selector SS{n}: HAND OFF AUTO", 7.5, "center")
    # The coil circuit is fed after overcurrent and ground-fault device, before the disconnect.
    d.dot((5.45, first))
    d.line((5.45, first), (5.45, first - 0.85), (FED, first - 0.85), (FED, hand))
    _rung(d, hand, [(d.e.Fuse(), 1.5, 3.0, f"fuse FC{n}", "2 A, coil circuit"),
                    (symbols.contact(), 6.0, 6.8, "X O O", "closed in HAND"),
                    *([(symbols.contact(), 12.4, 13.2, f"relay KT{n}", "held in while cool")] if hot else []),
                    (symbols.coil(), 15.0, 16.1, f"C{n}", coil)], (FED, RIGHT))  # fmt: skip
    x, end = 4.4, 10.8
    d.dot((x, hand))
    d.dot((end, hand))
    d.line((x, hand), (x, auto), (6.0, auto))
    d.between(symbols.contact(), (6.0, auto), (6.8, auto))
    d.text((6.4, auto + 0.42), "O O X", 7.0, "center")
    d.text((6.4, auto - 0.45), "closed in AUTO", 7.0, "center")
    d.line((6.8, auto), (8.8, auto))
    d.between(symbols.contact(), (8.8, auto), (9.6, auto))
    d.text((9.2, auto + 0.42), f"relay K{n}", 7.0, "center")
    d.text((9.2, auto - 0.45), f"channel X4:{n}", 7.0, "center")
    d.line((9.6, auto), (end, auto), (end, hand))
    d.dot((14.5, hand))
    d.dot((16.6, hand))
    d.line((14.5, hand), (14.5, auto + 0.2), (14.9, auto + 0.2))
    if one.direct:
        d.between(d.e.Diode(), (16.2, auto + 0.2), (14.9, auto + 0.2))
        words = "diode across the coil"
    else:
        d.between(d.e.RBox(), (14.9, auto + 0.2), (16.2, auto + 0.2))
        words = "100 ohm + 0.1 uF, class X2"
    d.line((16.2, auto + 0.2), (16.6, auto + 0.2), (16.6, hand))
    d.text((15.5, auto - 0.25), words, 7.0, "center")
    if hot:
        _thermal(d, n, hand, auto - 1.2)
    low = auto - (1.85 if hot else 0.85)
    d.line((LEFT, first + 0.45), (LEFT, first - 0.5))
    d.line((RIGHT, first + 0.45), (RIGHT, low))
    for side, name in zip((LEFT, RIGHT), names, strict=True):
        d.text((side, first + 0.7), name, 8.0, "center")
    return low - 0.65


def _thermal(d, n, hand, y):
    # The motor's own contact holds KT in, whatever the selector says.
    d.dot((3.5, hand))
    d.line((3.5, hand), (3.5, y), (11.0, y))
    for element, begin, end, above, below in (
            (symbols.contact(closed=True), 11.0, 11.8, f"thermal T{n}", f"in M{n}, opens when hot"),
            (symbols.coil(), 15.0, 16.1, f"KT{n}", f"suppressed as C{n}")):  # fmt: skip
        d.between(element, (begin, y), (end, y))
        for words, off in ((above, 0.5), (below, -0.55)):
            d.text(((begin + end) / 2, y + off), words, 7.0, "center")
    d.line((11.8, y), (15.0, y))
    d.line((16.1, y), (RIGHT, y))
    d.dot((RIGHT, y))


def _panel(d, top, subject):
    # At the service panel: what holds the mains relay in, and the surge arrester; beside it the relays' 12 V contacts.
    first = y = top - 0.35
    sides = (LEFT, PANEL)
    if subject.has("mains present"):
        _rung(d, y, [(d.e.Fuse(), 1.5, 3.0, "fuse FM", fuses.amps("FM")),
                     (symbols.coil(), 6.0, 7.1, "mains relay KM", "on a branch without a pump")], sides)  # fmt: skip
        y -= LOAD_ROW + 0.25
    _rung(d, y, [(d.e.RBox(), 5.8, 7.3, "surge arrester", "")], sides)
    d.text((4.4, y - 0.4), "type 2, at the panel", 7.0, "right")
    d.ground((6.55, y - 0.65))
    d.line((6.55, y - 0.65), (6.55, y - 0.3))
    d.text((6.2, y - 0.85), "to the panel's ground bar, short and straight", 7.0, "right")
    _rails(d, first + 0.45, y - 0.5, ("L", "N"), sides)
    return min(y - 2.5, _read(d, first, subject) - 1.25)


def _read(d, y, subject):
    # The gold-plated contacts that the controller reads; returns the y of the last.
    if subject.has("mains present"):
        y = _field_contact(d, y, ("X3:+", "X3:1"), "KM, closed while the mains is on") - 0.95
    for n in subject.read_hot:
        low = _field_contact(d, y, ("X1:+", f"X1:{4 + n}"), f"KT{n}, closed while cool")
        if n in subject.kept_cool:
            low = y - 0.8
            d.line((12.6, y), (12.6, low), (13.6, low))
            d.between(symbols.contact(closed=True), (13.6, low), (14.4, low))
            d.line((14.4, low), (15.4, low), (15.4, y))
            d.dot((12.6, y))
            d.dot((15.4, y))
            d.text((14.0, low - 0.42), "KM, closed while the mains is out", 7.0, "center")
        y = low - (1.25 if n in subject.kept_cool else 1.0)
    return y + 1.0


def _field_contact(d, y, terminals, words):
    for x, name in zip((11.0, 17.0), terminals, strict=True):
        d.terminal((x, y))
        d.text((x, y + 0.3), name, 7.0, "center")
    d.line((11.1, y), (13.6, y))
    d.between(symbols.contact(), (13.6, y), (14.4, y))
    d.line((14.4, y), (16.9, y))
    d.text((14.0, y + 0.42), words, 7.0, "center")
    return y


def _alarms(d, first):
    # Horn and beacon on the left, the lines that call for help on the right: each between X7:+ and X7:0.
    d.text((LEFT + 2.6, first + 1.05), f"from X7:+ and X7:0, after the controller's fuse FB, {fuses.amps('FB')}", 7.5)
    for n, load, words in ((3, "horn", "12 V DC"), (4, "beacon", "12 V DC"), (5, "alarm line", "dialer, 12 V DC"),
                           (6, "service line", "dialer, 12 V DC")):  # fmt: skip
        left, y = LEFT + (9.3 if n > 4 else 0.0), first - LOAD_ROW * (n % 2 == 0)
        drops = n > 4
        relay = f"relay K{n}{', dropped' if drops else ''}"
        _rung(d, y, [(d.e.Fuse(), left + 0.6, left + 1.9, f"fuse FA{n}", fuses.amps(f"FA{n}")),
                     (symbols.contact(closed=drops), left + 3.4, left + 4.2, relay, f"channel X4:{n}"),
                     (symbols.coil(), left + 5.8, left + 6.9, load, words)], (left, left + HALF))  # fmt: skip
        if n % 2:
            _rails(d, first + 0.45, first - LOAD_ROW - 0.5, ("+ 12 V", "0 V"), (left, left + HALF))
    return d
