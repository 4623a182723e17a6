"""How the pit is left, and to whom: whatever the controller can read is taken from it."""

from duplexsump.control import alarm_table

from hil.commission.pump_power import hose_off
from hil.commission.questions import question
from hil.commission.step import PUMPS_LIVE, Step
from hil.record.items import FAIL, NOTED, PASS
from host_sim import alarm_words
from host_sim.board.settings_file import changes, checksum

LEFT_S = 120.0


def _decided(item, wanted, holds, reads, before=None):
    # The controller is read until it agrees; what it reads can be recorded as a fault, never overridden by a word.
    def run(context):
        told = []
        hose_off(context)

        def agreed():
            good = holds(context.board)
            if not good and before is not None and not told:
                told.append(before(context))
            return good

        context.board.look()
        agreed()
        good = context.until(wanted, agreed, LEFT_S)
        context.put(item, PASS if good else FAIL, reads(context.board), by="board",
                 note="" if good else "left so, recorded as a fault by the person")  # fmt: skip

    return run


def _auto(board):
    return board.selector(0) == board.selector(1) == "auto"


def _turn(context):
    for n in (0, 1):
        if context.board.selector(n) != "auto":
            context.do(f"selector_{n + 1}_auto", f"Turn the selector of pump {n + 1} to AUTO; the controller "
                    f"reads {context.board.selector(n).upper()}.")  # fmt: skip


def _selectors(board):
    return f"{board.selector(0).upper()} and {board.selector(1).upper()}"


def _no_jumper(board):
    return not board.states["jumper"]


def _jumper(board):
    return "out" if not board.states["jumper"] else "IN"


def _take_out(context):
    context.do("jumper_out", "Remove the test jumper.")


def _forces(board):
    return not board.forces() and not board.alarm("inputs_forced", "standing")


def _forced(board):
    return "clear" if _forces(board) else f"{board.forces()} inputs forced"


def _clear(context):
    context.do("clear_forces", "Inputs are forced over the link: end the program that forces them, remove the jumper.")
    context.do("silence", "Press the silence button.")


def _no_alarm(board):
    return not board.alarms()


def _alarms(board):
    active = board.alarms("active")
    return ", ".join(text if text in active else f"{text} (not reset)" for text in board.alarms()) or "none"


def _reset(context):
    board = context.board
    board.command("inspected")  # this is an inspection (A5)
    for text in board.alarms("active"):
        row = next(row for row in alarm_table.TABLE if row[alarm_table.TEXT] == text)
        context.say(f"   {text}: {alarm_words.of(row[alarm_table.NAME]).do}")
    context.do("silence", "Press the silence button.")
    context.do("reset", "Press the reset button.")


def _person(item, note):
    def run(context):
        context.yes(item, question(context, item), note)

    return run


def _settings(context):
    board = context.board
    board.look()
    board.reload()
    shown, verdict, note = checksum(board.settings), NOTED, "no sizing given to compare with"
    if context.expected.settings is not None:
        found = changes(board.settings, context.expected.settings)
        verdict = FAIL if found else PASS
        note = ", ".join(f"{name} {a}, sized {b}" for name, a, b in found) or "as sized"
    if board.states["staged"]:
        verdict, note = FAIL, "settings are staged but not in force"
    context.put("left_settings", verdict, shown, by="board", note=note, value=shown)


def _words(item):
    def run(context):
        context.put(item, NOTED, str(context.ask(question(context, item))), by="person")

    return run


def _next_check(context):
    context.put("next_check", NOTED, str(context.ask(question(context, "next_check"))), by="person")
    context.board.command("inspected")
    context.say("   Today's inspection is recorded in the controller; its reminder comes after "
             f"{context.board.setting('inspection')} days.")  # fmt: skip


STEPS = (
    Step("left_auto", "Selectors at AUTO", "A selector left at OFF is found in the flood.", ("left_auto",),
         _decided("left_auto", "both selectors at AUTO", _auto, _selectors, _turn), None, PUMPS_LIVE),
    Step("left_valves", "Valves open", "A valve left closed is found in the flood.", ("left_valves",),
         _person("left_valves", "valves not open"), None, PUMPS_LIVE),
    Step("left_jumper", "Test jumper out", "With it in, inputs can be forced over the link.", ("left_jumper",),
         _decided("left_jumper", "the test jumper to be out", _no_jumper, _jumper, _take_out), None, PUMPS_LIVE),
    Step("left_forces", "No forced inputs", "A forced float reports water that is not there.", ("left_forces",),
         _decided("left_forces", "no input to be forced", _forces, _forced, _clear), None, PUMPS_LIVE),
    Step("left_alarms", "Alarms reset", "An old alarm left active hides the next one.", ("left_alarms",),
         _decided("left_alarms", "no alarm to be active", _no_alarm, _alarms, _reset), None, PUMPS_LIVE),
    Step("left_cover", "Cover on", "An open pit drowns a child.", ("left_cover",), _person("left_cover", "cover off"),
         None, PUMPS_LIVE),
    Step("left_settings", "Settings", "The checksum shows later whether anybody changed them.", ("left_settings",),
         _settings),
    Step("others", "What was not tested", "Untested must not be mistaken for good.", ("others",), _words("others")),
    Step("remarks", "Remarks", "What you know now, nobody knows in five years.", ("remarks",), _words("remarks")),
    Step("instructed", "Owner instructed", "Nobody reads a manual at three in the morning.", ("instructed",),
         _person("instructed", "owner not instructed")),
    Step("next_check", "Next check", "Floats foul, batteries age.", ("next_check",), _next_check),
    Step("installer", "Installer", "Somebody answers for this record.", ("installer",), _words("installer")),
    Step("license", "License", "This work is licensed in most places.", ("license",), _words("license")),
    Step("owner", "Owner", "The owner or tenant was shown, and says so.", ("owner",), _words("owner")),
)  # fmt: skip
