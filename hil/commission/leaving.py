"""How the pit is left, and to whom: what the board can see, the board decides."""

from duplexsump.control import alarm_table

from host_sim.board.settings_file import changes

from ..record.document import settings_checksum
from ..record.items import FAIL, NOTED, PASS
from .questions import question
from .step import Step

LEFT_S = 120.0


def _decided(item, wanted, holds, reads, before=None):
    # The board is looked at until it agrees; what it reads can only be entered as a fault, never talked away.
    def run(desk):
        told = []

        def agreed():
            good = holds(desk.board)
            if not good and before is not None and not told:
                told.append(before(desk))
            return good

        desk.board.look()
        agreed()
        good = desk.until(wanted, agreed, LEFT_S)
        desk.put(item, PASS if good else FAIL, reads(desk.board), by="board",
                 note="" if good else "left so, entered as a fault by the person")  # fmt: skip

    return run


def _auto(board):
    return board.selector(0) == board.selector(1) == "auto"


def _turn(desk):
    for n in (0, 1):
        if desk.board.selector(n) != "auto":
            desk.do(f"selector_{n + 1}_auto", f"Turn the selector of pump {n + 1} to AUTO; the board reads "
                    f"{desk.board.selector(n).upper()}.")  # fmt: skip


def _selectors(board):
    return f"{board.selector(0).upper()} and {board.selector(1).upper()}"


def _no_jumper(board):
    return not board.states["jumper"]


def _jumper(board):
    return "out" if not board.states["jumper"] else "MADE"


def _take_out(desk):
    desk.do("jumper_out", "Take the test jumper out.")


def _forces(board):
    return not board.forces() and not board.alarm("inputs_forced", "standing")


def _forced(board):
    return "clear" if _forces(board) else f"{board.forces()} inputs forced"


def _clear(desk):
    desk.do("clear_forces", "Inputs are forced over the link: end the program that does it, take the jumper out.")
    desk.do("silence", "Press the silence button.")


def _no_alarm(board):
    return not board.alarms()


def _alarms(board):
    active = board.alarms("active")
    return ", ".join(text if text in active else f"{text} (not reset)" for text in board.alarms()) or "none"


def _reset(desk):
    board = desk.board
    board.command("inspected")  # this is an inspection (A5)
    for text in board.alarms("active"):
        row = next(row for row in alarm_table.TABLE if row[alarm_table.TEXT] == text)
        desk.say(f"   {text}: {row[alarm_table.ACTION]}")
    desk.do("silence", "Press the silence button.")
    desk.do("reset", "Press the reset button.")


def _person(item, note):
    def run(desk):
        desk.yes(item, question(desk, item), note)

    return run


def _settings(desk):
    board = desk.board
    board.look()
    board.reload()
    shown, verdict, note = settings_checksum(board.settings), NOTED, "no sizing was given to compare them with"
    if desk.promise.settings is not None:
        found = changes(board.settings, desk.promise.settings)
        verdict = FAIL if found else PASS
        note = ", ".join(f"{name} {a}, sized {b}" for name, a, b in found) or "as sized"
    if board.states["staged"]:
        verdict, note = FAIL, "settings are staged that are not in force"
    desk.put("left_settings", verdict, shown, by="board", note=note, value=shown)


def _words(item):
    def run(desk):
        desk.put(item, NOTED, str(desk.ask(question(desk, item))), by="person")

    return run


def _next_check(desk):
    desk.put("next_check", NOTED, str(desk.ask(question(desk, "next_check"))), by="person")
    desk.board.command("inspected")
    desk.say("   Today's inspection is recorded on the board; it asks for the next one after "
             f"{desk.board.setting('inspection')} days.")  # fmt: skip


STEPS = (
    Step("left_auto", "Left at AUTO", "A selector left at OFF is found in the flood.", ("left_auto",),
         _decided("left_auto", "both selectors at AUTO", _auto, _selectors, _turn)),
    Step("left_valves", "Valves left open", "A valve left shut is found in the flood.", ("left_valves",),
         _person("left_valves", "valves not open")),
    Step("left_jumper", "Test jumper out", "With it in, inputs can be forced from afar.", ("left_jumper",),
         _decided("left_jumper", "the test jumper to be out", _no_jumper, _jumper, _take_out)),
    Step("left_forces", "Forces clear", "A forced float tells of water that is not there.", ("left_forces",),
         _decided("left_forces", "no input to be forced", _forces, _forced, _clear)),
    Step("left_alarms", "Alarms reset", "Left standing, they drown the next one.", ("left_alarms",),
         _decided("left_alarms", "no alarm to stand", _no_alarm, _alarms, _reset)),
    Step("left_cover", "Cover on", "An open pit drowns a child.", ("left_cover",), _person("left_cover", "cover off")),
    Step("left_settings", "Settings", "The checksum tells later whether somebody has changed them.", ("left_settings",),
         _settings),
    Step("others", "Not tested", "Untested must not be taken for good.", ("others",), _words("others")),
    Step("remarks", "Remarks", "What you know now, nobody knows in five years.", ("remarks",), _words("remarks")),
    Step("instructed", "Owner instructed", "At three at night nobody reads a manual.", ("instructed",),
         _person("instructed", "owner not instructed")),
    Step("next_check", "Next check", "Floats foul, batteries age.", ("next_check",), _next_check),
    Step("installer", "Installer", "Somebody answers for this paper.", ("installer",), _words("installer")),
    Step("licence", "Licence", "This work is licensed in most places.", ("licence",), _words("licence")),
    Step("owner", "Owner", "Somebody was shown, and says so.", ("owner",), _words("owner")),
)  # fmt: skip
