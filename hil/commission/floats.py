"""With dry hands on dead pumps: each float by hand, the horn, the silence button, the isolating valves."""

from duplexsump.control.records import CONTACT_NAMES

from hil.commission.questions import question
from hil.commission.step import Step
from hil.record.items import FAIL, NOT_TESTED, PASS

HAND_S = 180.0
DEAD = (
    "Unplug both pumps, or lock out their circuits: hands go into the pit now, and the controller would start a pump "
    "at the first float you lift."
)


def dead(context):
    """Have both pumps dead before hands go into the pit."""
    context.guard = False
    if context.figures.get("pumps_dead"):
        return
    context.selectors("off", "off")
    while not context.ask(question(context, "unplugged")):
        context.say("   Do it first; or skip this step and say why.")
    context.figures["pumps_dead"] = True
    context.quiet()


def _float(name):
    place = CONTACT_NAMES.index(name)

    def fits(context):
        if context.board.fitted(name):
            return ""
        return "not fitted: the level transmitter stands for it" if context.board.known(name) else "not fitted"

    def run(context):
        dead(context)
        if name == "high":
            context.quiet()
        board, seen = context.board, []
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
            context.put(f"float_{name}", FAIL, "; ".join(seen), by="board", note="the board did not see it")
            context.do(back, "Let it go.")
            return
        if name == "high":
            _high_alarm(context, seen)
            return
        context.do(back, "Let it go.")
        good = _sees(context, name, place, board.states["wet"], moves[1], seen)
        context.put(f"float_{name}", PASS if good else FAIL, "; ".join(seen), by="board",
                 note="" if good else "it did not come back")  # fmt: skip

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
                seen.append(f"{other} turned {'wet' if board.wet(other) else 'dry'} meanwhile")
                context.say(f"   The board sees `{other}` turn, not `{name}`: are their wires swapped? "
                         "(fault to enter it)")  # fmt: skip
        return board.wet(name) == value

    good = context.until(f"`{name}` {word}", turned, HAND_S)
    seen.append(f"{word} seen" if good else f"{word} never seen")
    return good and not told


def _high_alarm(context, seen):
    # `high` stays lifted: the alarm must stand and the horn sound; the next steps need it so.
    board = context.board
    good = context.until("the high-water alarm and the horn",
                      lambda: board.alarm("high_water") and board.seen["horn"], 30.0)  # fmt: skip
    seen.append("high water active, horn on" if good else "no high-water alarm with horn")
    context.put("float_high", PASS if good else FAIL, "; ".join(seen), by="board")


def _horn_fits(context):
    return "" if context.board.fitted("high") else "not fitted: no high float to raise the alarm with"


def _horn(context):
    dead(context)
    board = context.board
    board.look()
    if not (board.wet("high") and board.seen["horn"]):
        context.do("lift_high", "Lift the `high` float again and tie it up, so that the horn sounds.")
        if not context.until("the horn", lambda: board.seen["horn"], HAND_S):
            context.put("horn", FAIL, "the horn did not sound", by="board")
            return
    note = "not loud enough in the bedroom: a second horn there, or another alarm on the relay, is needed"
    context.yes("horn", question(context, "horn"), note)


def _silence(context):
    board = context.board
    board.look()
    if not board.seen["horn"]:
        context.do("lift_high", "Lift the `high` float, so that the horn sounds.")
        if not context.until("the horn", lambda: board.seen["horn"], HAND_S):
            context.put("silence", NOT_TESTED, why="the horn did not sound")
            return
    context.do("silence", "Press the silence button.")
    good = context.until("the horn to stop", lambda: not board.seen["horn"], HAND_S)
    context.put("silence", PASS if good else FAIL, "horn off" if good else "the horn went on", by="board")
    context.do("let_go_high", "Let the `high` float go.")
    context.until("`high` dry", lambda: not board.wet("high"), HAND_S)


def _valve(n):
    def run(context):
        dead(context)
        context.do(f"valve_{n}", f"Shut the isolating valve above check valve {n}, then open it fully again.")
        context.yes(f"valve_{n}", question(context, "valve_{n}", n))

    return run


def _steps():
    for name in CONTACT_NAMES:
        fits, run = _float(name)
        why = "A float that hangs, or a wire on the wrong terminal, shows here and nowhere else before the flood."
        yield Step(f"float_{name}", f"The {name} float by hand", why, (f"float_{name}",), run, fits, DEAD)
    yield Step("horn", "The horn in the bedroom", "High water comes at night; an alarm that nobody hears is none.",
               ("horn",), _horn, _horn_fits)  # fmt: skip
    yield Step("silence", "The silence button", "Whoever is woken must be able to stop it.", ("silence",), _silence,
               _horn_fits)  # fmt: skip
    for n in (1, 2):
        why = "It must shut when a pump is changed, and stand open otherwise."
        yield Step(f"valve_{n}", f"Isolating valve {n}", why, (f"valve_{n}",), _valve(n), None, DEAD)


STEPS = tuple(_steps())
