"""Before the water: cautions, weather and water table, and the controller as found."""

from hil.commission.questions import question
from hil.commission.step import Step
from hil.record.items import FAIL, NOTED, PASS
from host_sim.board.settings_file import changes

CAUTIONS = (
    "Shock: line voltage and water kill. Unplug a pump, lock out its circuit, or pull a battery pump's fuse, before "
    "any hand goes into the pit or onto a pump. OFF on a selector, this program and the controller make nothing safe "
    "to touch.",
    "Drowning: an open pit drowns children and adults. Never leave it uncovered and unattended.",
    "Battery gas: a charging battery gives off explosive gas. Ventilate; no flame, no sparks, no loose tools on it.",
    "Flood: the hose can flood the basement. Stay at its faucet; shut it off if the horn sounds when you do not expect "
    "it.",
    "Wiring, breakers and ground-fault devices (GFCI) are a licensed electrician's work, the discharge a licensed "
    "plumber's. Local codes decide; where they differ from anything here, they are right.",
)
AGREED = "yes"


def _safety(context):
    for caution in CAUTIONS:
        context.say(f" * {caution}")
    while not context.ask(question(context, "safety")):
        context.say("   Then do not start: read them, and get a helper.  Stop saves everything.")
    context.put("safety", PASS, AGREED, by="person")


def _noted(key):
    def run(context):
        context.put(key, NOTED, context.ask(question(context, key)), by="person")

    return run


def _found(context):
    board, words = context.board, []
    board.look()
    words.append(f"selectors {board.selector(0).upper()} and {board.selector(1).upper()}")
    words.append("mains on" if board.states["mains"] else "mains OUT")
    words.append("test jumper IN" if board.states["jumper"] else "test jumper out")
    alarms = board.alarms()
    words.append(f"alarms: {', '.join(alarms)}" if alarms else "no alarms")
    healthy = board.states["mains"] and not board.states["storage_fault"] and board.values["mode"] == 0
    if board.values["mode"]:
        words.append("control-only mode after repeated resets")
    if board.states["storage_fault"]:
        words.append("journal cannot be written")
    differing = _differences(context)
    if differing:
        words.append(f"settings that differ from the sizing: {', '.join(differing)}")
        context.say("   The controller's settings differ from the sizing; `sumpbench settings push` writes them.")
    context.say(f"   Found: {'; '.join(words)}.")
    context.put("found", PASS if healthy and not differing else FAIL, "; ".join(words), by="board")


def _differences(context):
    if context.expected.settings is None:
        return []
    found = changes(context.board.settings, context.expected.settings)
    return [f"{name} {on_board}, sized {sized}" for name, on_board, sized in found]


STEPS = (
    Step("safety", "Cautions", "Two of these kill at once and without warning.", ("safety",), _safety),
    Step("weather", "Weather", "Inflow in a dry week tells nothing about a wet one.", ("weather",), _noted("weather")),
    Step("water_table", "Water table", "It decides how much water comes.", ("water_table",), _noted("water_table")),
    Step("found", "Controller as found", "A fault found now was there before the test.", ("found",), _found),
)
