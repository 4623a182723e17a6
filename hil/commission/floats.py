"""With the pumps proved dead: each float by hand, the horn, the silence button, the isolation valves."""

from duplexsump.control.records import CONTACT_NAMES

from hil.commission import thermal
from hil.commission.questions import question
from hil.commission.step import PUMPS_DEAD, Step
from hil.record.items import FAIL, NOT_TESTED, PASS

HAND_S = 180.0


def _float(name):
    place = CONTACT_NAMES.index(name)

    def fits(context):
        if context.board.fitted(name):
            return ""
        return "not fitted: the level transmitter takes its place" if context.board.known(name) else "not fitted"

    def run(context):
        board, seen = context.board, []
        held = context.figures.get("held_float")
        if held and held != name:
            context.do(f"let_go_{held}", f"Release the `{held}` float.")
        if name == "high":
            context.quiet()
        board.look()
        before = board.states["wet"]
        if board.wet(name):
            context.do(f"lower_{name}", f"The water holds `{name}` wet: push it down by hand and hold it.")
            moves = (("dry", 0), ("wet", 1))
        else:
            context.do(f"lift_{name}", f"Lift the `{name}` float by hand and hold it.")
            moves = (("wet", 1), ("dry", 0))
        back = f"let_go_{name}"
        if not _sees(context, name, place, before, moves[0], seen):
            context.put(f"float_{name}", FAIL, "; ".join(seen), by="board", note="the controller did not read it")
            context.do(back, "Let it go.")
            return
        if name == "high":
            _high_alarm(context, seen)
            return
        context.do(back, "Let it go.")
        good = _sees(context, name, place, board.states["wet"], moves[1], seen)
        context.put(f"float_{name}", PASS if good else FAIL, "; ".join(seen), by="board",
                 note="" if good else "it did not return")  # fmt: skip

    return fits, run


def _sees(context, name, place, before, move, seen):
    # Wait for this contact to turn; say when another one turns instead.
    board, (word, value) = context.board, move
    told = set()

    def turned():
        others = (board.states["wet"] ^ before) & ~(1 << place)
        for i, other in enumerate(CONTACT_NAMES):
            if others >> i & 1 and other not in told:
                told.add(other)
                seen.append(f"{other} turned {'wet' if board.wet(other) else 'dry'} instead")
                context.say(f"   The controller reads `{other}` change, not `{name}`: are their wires swapped? "
                         "(fault to record it)")  # fmt: skip
        return board.wet(name) == value

    good = context.until(f"the `{name}` float to read {word}", turned, HAND_S)
    seen.append(f"read {word}" if good else f"never read {word}")
    return good and not told


def _high_alarm(context, seen):
    # `high` stays lifted: the alarm must be active and the horn sound; the next steps need it so.
    board = context.board
    good = context.until("the high-water alarm and the horn",
                      lambda: board.alarm("high_water") and board.seen["horn"], 30.0)  # fmt: skip
    seen.append("high water active, horn on" if good else "no high-water alarm with horn")
    context.put("float_high", PASS if good else FAIL, "; ".join(seen), by="board")


def _horn_fits(context):
    return "" if context.board.fitted("high") else "not fitted: no high float to raise the alarm with"


def _sounds(context):
    # Have the high float lifted where it is not, so that the horn sounds; False where it does not.
    board = context.board
    board.look()
    if board.wet("high") and board.seen["horn"]:
        return True
    context.do("lift_high", "Lift the `high` float and tie it up, so that the horn sounds.")
    return context.until("the horn", lambda: board.seen["horn"], HAND_S)


def _horn(context):
    if not _sounds(context):
        context.put("horn", FAIL, "the horn did not sound", by="board")
        return
    note = "not loud enough in the bedroom: put a second horn there, or another alarm on the alarm relay"
    context.yes("horn", question(context, "horn"), note)


def _silence(context):
    board = context.board
    board.look()
    if not board.seen["horn"] and not _sounds(context):
        context.put("silence", NOT_TESTED, why="the horn did not sound")
        return
    context.do("silence", "Press the silence button.")
    good = context.until("the horn to stop", lambda: not board.seen["horn"], HAND_S)
    context.put("silence", PASS if good else FAIL, "horn off" if good else "the horn kept sounding", by="board")
    context.do("let_go_high", "Let the `high` float go.")
    context.until("the `high` float to read dry", lambda: not board.wet("high"), HAND_S)


def _valve(n):
    def run(context):
        context.do(f"valve_{n}", f"Close the isolation valve above check valve {n}, then open it fully again.")
        context.yes(f"valve_{n}", question(context, "valve_{n}", n))

    return run


def _steps():
    for name in CONTACT_NAMES:
        fits, run = _float(name)
        why = "A float that hangs up, or a wire on the wrong terminal, shows here and nowhere else before the flood."
        yield Step(f"float_{name}", f"The {name} float by hand", why, (f"float_{name}",), run, fits, PUMPS_DEAD)
    yield Step("horn", "The horn in the bedroom", "High water comes at night; an alarm nobody hears is no alarm.",
               ("horn",), _horn, _horn_fits, PUMPS_DEAD)  # fmt: skip
    yield Step("silence", "The silence button", "Whoever it wakes must be able to stop it.", ("silence",), _silence,
               _horn_fits, PUMPS_DEAD)  # fmt: skip
    for n in (1, 2):
        why = "It must close when a pump is replaced, and be open otherwise."
        yield Step(f"valve_{n}", f"Isolation valve {n}", why, (f"valve_{n}",), _valve(n), None, PUMPS_DEAD)
    yield thermal.STEP


STEPS = tuple(_steps())
