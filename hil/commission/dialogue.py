"""The hose test in order: every step's items are saved as soon as it is done, and a later run resumes there."""

import contextlib
import time
from pathlib import Path

from hil.commission import before, floats, handover, pump_power, pumping, supply
from hil.commission.step import DONE, PUMPS_DEAD, PUMPS_LIVE
from hil.commission.step_context import Back, Question, Skipped, StepContext
from hil.record.items import FAIL, KEYS, NOT_TESTED, VERDICTS
from host_sim.board.settings_file import checksum
from host_sim.errors import InputError
from host_sim.report import prompt

STEPS = (*before.STEPS, *floats.STEPS, *pumping.STEPS, *supply.STEPS, *handover.STEPS)
MADE_SURE = {PUMPS_DEAD: pump_power.dead, PUMPS_LIVE: pump_power.live, "": lambda context: True}
SETTINGS = "the controller's settings"
FORMAT, VERSION = "sumpbench hose test, unfinished", 1
INTRO = (
    "This guides you through the hose test and writes the record.  The controller is read all the time: whatever it "
    "can measure is taken from it.  At every question:",
    "   ?       why this is asked",
    "   back    repeat the step before",
    "   skip    skip the step; your reason goes into the record",
    "   stop    (or Ctrl-C) saves all answers; the same command resumes there",
    "While waiting for the controller you may type the same words, or  fault  to record what it reads as a fault.",
)
GO_ON = Question("go_on", "Resume with them?", "No starts over; the saved answers are moved aside, not lost.")


def state_path(record):
    """Return the path of the file that holds a hose test's answers until its record is written."""
    record = Path(record)
    return record.with_name(record.name + ".unfinished.json")


class HoseTest:
    """One hose test: `done` maps a step's key to its items, in the order in which they were done.

    `intro` are the lines said at its start.
    """

    def __init__(self, board, person, expected, show, record, intro=INTRO):
        self.board = board
        self.path = state_path(record)
        self.context = StepContext(board, person, expected, show)
        self.person = person
        self.begun = time.strftime("%Y-%m-%d %H:%M")
        self.done = {}
        self.steps = STEPS
        self.intro = intro
        self.cautioned = set()  # said since the program was started
        self.breaks = []  # when it was resumed, and what had changed

    # Keeping.

    def recall(self):
        """Offer to resume an earlier run.  Raises InputError where its file cannot be used; the file is not touched."""
        found = prompt.recall(self.path, "commission")
        if found is None:
            return
        _check(found, self.path)
        count = len(found["done"])
        self.person.say(f"{count} steps of a hose test started on {found['begun']} are saved in {self.path}.")
        if not self._goes_on():
            self._put_aside()
            self._forget_the_pit()
            return
        self.begun, self.done, self.breaks = found["begun"], found["done"], found["breaks"]
        self.context.figures = found["figures"]
        self._forget_the_pit()
        for items in self.done.values():
            self.context.items.update(items)
        self._compare(found["board"])

    def _goes_on(self):
        # Before the first step there is nothing to go back to or to leave out.
        while True:
            try:
                return self.context.ask(GO_ON)
            except (Back, Skipped):
                self.person.say("   No step has begun yet: answer yes or no, or stop.")

    def _forget_the_pit(self):
        # Nobody knows who has plugged what in since, nor whether the hose was left open.
        self.context.figures.pop("pumps_dead", None)
        self.context.figures["hose_on"] = True

    def _put_aside(self):
        n = 1
        while (aside := self.path.with_name(f"{self.path.name}.aside-{n}")).exists():
            n += 1
        self.path.rename(aside)
        self.person.say(f"   Moved to {aside}.")

    def _compare(self, before_break):
        words = f"resumed {time.strftime('%Y-%m-%d %H:%M')}"
        for name, value in self.described().items():
            if before_break.get(name) != value:
                words += f"; {name} was {before_break.get(name)}, now {value}"
                self.person.say(f"   CAUTION: the controller's {name} changed since: {before_break.get(name)} before, "
                                f"{value} now.")  # fmt: skip
        self.breaks.append(words)

    def described(self):
        """Return the board's firmware and settings checksums."""
        return {"firmware": f"{self.board.values['firmware']:08x}", "settings": checksum(self.board.settings)}

    def keep(self):
        """Save everything so far; ending the program now loses nothing but the step in progress."""
        prompt.keep(self.path, {
            "format": FORMAT, "version": VERSION, "begun": self.begun, "board": self.described(), "done": self.done,
            "figures": self.context.figures, "breaks": self.breaks,
        })  # fmt: skip

    def forget(self):
        """Delete the saved answers, once the record is written."""
        self.path.unlink(missing_ok=True)

    # Going through.

    def run(self):
        """Carry out every step that is not done.

        Raises prompt.StoppedError, KeyboardInterrupt or EOFError when the person
        leaves, InputError when the board goes away; finished steps are saved.
        """
        for line in self.intro:
            self.person.say(line)
        place = 0
        while place < len(self.steps):
            step = self.steps[place]
            if step.key in self.done:
                place += 1
                continue
            try:
                items = self._one(step, place)
            except Back:
                place = self._back(place)
                continue
            self.done[step.key] = items
            self.keep()
            place += 1

    def _back(self, place):
        # The last step before this one that asked something; automatic ones are undone on the way.
        for earlier in range(place - 1, -1, -1):
            key = self.steps[earlier].key
            items = self.done.pop(key, {})
            for item in items:
                self.context.items.pop(item, None)
            if items and not all(item.get("by") == SETTINGS for item in items.values()):
                return earlier
        self.person.say("   This is the first step.")
        return 0

    def _one(self, step, place):
        context = self.context
        context.why, context.fault, before_step = step.why, "", dict(context.items)
        reason = step.fits(context) if step.fits else ""
        if reason == DONE:
            return {}
        self.person.say("")
        self.person.say(f"{place + 1} of {len(self.steps)}.  {step.title}")
        if reason:
            for item in step.items:
                context.items[item] = {"verdict": NOT_TESTED, "shown": "", "why": reason, "by": SETTINGS}
            self.person.say(f"   Not tested: {reason}.")
        else:
            self._carry_out(step)
        return {key: item for key, item in context.items.items() if before_step.get(key) is not item}

    def _carry_out(self, step):
        context = self.context
        if step.caution and step.caution not in self.cautioned:
            self.cautioned.add(step.caution)
            self.person.say(f"   CAUTION: {step.caution}")
        try:
            if MADE_SURE[step.pumps](context):
                step.run(context)
        except Skipped as skipped:
            for item in step.items:
                context.items.setdefault(item, {"verdict": NOT_TESTED, "shown": "", "why": skipped.reason})
            self.person.say(f"   Not tested: {skipped.reason}.")
        if context.fault:
            for item in step.items:
                if item not in context.items:
                    context.put(item, FAIL, "recorded as a fault", by="person", note=context.fault)

    def items(self):
        """Return every item of the record; an item that no step filled is not tested, with the reason."""
        found = {}
        for key in KEYS:
            empty = {"verdict": NOT_TESTED, "shown": "", "why": "the step that measures it was not reached"}
            found[key] = dict(self.context.items.get(key, empty))
        return found


def _check(found, path):
    # A file that is not what `keep` wrote is refused whole, and not touched.
    words = f"{path} is not an unfinished hose test of this version: move it, or name another record"
    shape = {"format": str, "version": int, "begun": str, "board": dict, "done": dict, "figures": dict, "breaks": list}
    if not isinstance(found, dict) or not all(isinstance(found.get(key), kind) for key, kind in shape.items()):
        raise InputError(words, "commission")
    steps = {step.key for step in STEPS}
    good = found["format"] == FORMAT and found["version"] == VERSION and set(found["done"]) <= steps
    for items in found["done"].values():
        good = good and isinstance(items, dict)
        with contextlib.suppress(AttributeError):
            for key, item in items.items():
                good = good and key in KEYS and isinstance(item, dict) and item.get("verdict") in VERDICTS
    if not good:
        raise InputError(words, "commission")
