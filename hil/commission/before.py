"""Before the water: cautions, the day, and how the board is found."""

from hil.commission.questions import question
from hil.commission.step import Step
from hil.record.items import FAIL, NOTED, PASS

CAUTIONS = (
    "Shock: mains and water kill. Unplug a pump or lock out its circuit before any hand goes into the pit or onto a "
    "pump. OFF on a selector, this program and the controller make nothing safe to touch.",
    "Drowning: an open pit drowns children and adults. Never leave it uncovered out of your sight.",
    "Battery gas: a charging battery gives off explosive gas. Ventilate; no flame, no sparks, no loose tools on it.",
    "Flood: the hose can fill the cellar. Stand by its tap; shut it when the horn sounds and you did not mean it to.",
    "Mains wiring, breakers and earth-fault devices are a licensed electrician's work, the discharge a licensed "
    "plumber's. Local codes decide; where they differ from anything here, they are right.",
)
AGREED = "yes"


def _safety(context):
    for caution in CAUTIONS:
        context.say(f" * {caution}")
    while not context.ask(question(context, "safety")):
        context.say("   Then do not begin: read it, call somebody.  Stop keeps everything as it is.")
    context.put("safety", PASS, AGREED, by="person")


def _noted(key):
    def run(context):
        context.put(key, NOTED, context.ask(question(context, key)), by="person")

    return run


def _found(context):
    board, words = context.board, []
    board.look()
    words.append(f"selectors {board.selector(0).upper()} and {board.selector(1).upper()}")
    words.append("mains present" if board.states["mains"] else "mains OUT")
    words.append("test jumper MADE" if board.states["jumper"] else "test jumper out")
    alarms = board.alarms()
    words.append(f"alarms: {', '.join(alarms)}" if alarms else "no alarm")
    healthy = board.states["mains"] and not board.states["storage_fault"] and board.values["mode"] == 0
    if board.values["mode"]:
        words.append("control only, after repeated resets")
    if board.states["storage_fault"]:
        words.append("its journal cannot be written")
    differing = _differences(context)
    if differing:
        words.append(f"settings that are not the sizing's: {', '.join(differing)}")
        context.say("   Settings on the board are not those of the sizing; `sumpbench settings push` puts them there.")
    context.say(f"   Found: {'; '.join(words)}.")
    context.put("found", PASS if healthy and not differing else FAIL, "; ".join(words), by="board")


def _differences(context):
    from host_sim.board.settings_file import changes

    if context.expected.settings is None:
        return []
    found = changes(context.board.settings, context.expected.settings)
    return [f"{name} {on_board}, sized {sized}" for name, on_board, sized in found]


STEPS = (
    Step("safety", "Cautions", "Two of these kill at once and without warning.", ("safety",), _safety),
    Step("weather", "Weather", "A dry week says nothing about a wet one.", ("weather",), _noted("weather")),
    Step("water_table", "Water table", "It decides how much water comes.", ("water_table",), _noted("water_table")),
    Step("found", "The board as found", "What is amiss now must not be laid to the test later.", ("found",), _found),
)
