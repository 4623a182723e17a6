"""How a step of the hose test speaks: it instructs, asks, waits for the controller, and records the result.

At every prompt `?` explains, `back` repeats the step before, `skip` skips with a
reason, `stop` saves and ends.  While waiting for the controller, `fault` records
what it reads as a fault.
"""

from dataclasses import dataclass
from datetime import date

from hil.record.items import FAIL, NOT_TESTED, NOTED, PASS
from host_sim import units
from host_sim.report import prompt
from host_sim.sizing.report.as_json import UNITS

WATCH_S = 1.0  # polling interval while only time must pass
TELL_S, SELDOM_S = 5.0, 60.0  # interval of status lines while waiting: updated in place, or one below the other
HELP = "? why, back, skip, stop"


class Back(Exception):  # noqa: N818 - a person's word, no error
    """The person wants the step before."""


class Skipped(Exception):  # noqa: N818 - a person's word, no error
    """The step is not carried out; `reason` is the person's."""

    def __init__(self, reason):
        self.reason = reason
        super().__init__(reason)


@dataclass(frozen=True)
class Question:
    """One question: `kind` as in `report.prompt`, or "ready" for Enter; `key` names it to a simulated person."""

    key: str
    ask: str
    why: str
    kind: str = "yes"
    example: str = ""
    choices: tuple = ()
    least: str = ""
    most: str = ""
    default: str = ""


def read_date(text):
    """Return the date of a text such as "2031-05-25".  Raises ValueError where it is not a date or is in the past."""
    try:
        found = date.fromisoformat(text)
    except ValueError as error:
        raise ValueError(f'"{text}" is not a date: year-month-day, as in {date.today().year + 1}-05-25') from error
    if found < date.today():
        raise ValueError(f"{text} is in the past")
    return found


class StepContext:
    """What a step is given.  `figures` hold values that later steps need; they are saved with the answers."""

    def __init__(self, board, person, expected, say, figures=None):
        self.board = board
        self.person = person
        self.expected = expected
        self.show = say
        self.figures = {} if figures is None else figures
        self.items = {}  # of all steps so far
        self.why = ""
        self.guard = False  # whether water at `high` is unwanted: the hose is on, nobody holds the float
        self.fault = ""  # what the person has recorded as a fault in this step

    # Speaking.

    def say(self, text):
        """Show a line."""
        self.person.say(text)

    def do(self, key, text):
        """Tell the person to do something; `key` names it to a simulated person."""
        self._keep_in_mind(key)
        self.person.say(f"-> {text}")
        self.person.does(key)

    def _keep_in_mind(self, key):
        # What is still open or held when a step is skipped, or the program is ended, is asked for later.
        if key in ("hose_on", "hose_off"):
            self.figures["hose_on"] = key == "hose_on"
        elif key.startswith(("lift_", "lower_")):
            self.figures["held_float"] = key.partition("_")[2]
        elif key.startswith("let_go_"):
            self.figures.pop("held_float", None)

    def ask(self, question):
        """Return the answer to a question.  Raises Back, Skipped or prompt.StoppedError at the person's word."""
        self.person.say(question.ask)
        if question.choices:
            self.person.say("   one of: " + ", ".join(question.choices))
        hint = {"yes": "yes or no", "ready": "Enter when done"}.get(question.kind)
        hint = hint or (f"as in {question.example}" if question.example else "in your own words")
        while True:
            line = self.person.read(question.key, f"   ({hint}) > ").strip()
            if self._word(line, question.why or self.why):
                continue
            if question.kind == "ready" and not line:
                return ""
            if not line:
                self.person.say(f"   Please answer: {hint}; or skip, with a reason ({HELP}).")
                continue
            if question.kind == "ready":
                self.person.say(f'   "{line}": press Enter when done ({HELP}).')
                continue
            try:
                return prompt.parse(question, line, {"date": read_date})
            except ValueError as error:
                self.person.say(f"   {error}.")

    def _word(self, line, why):
        # A word that is good everywhere; returns whether it was one that only explains.
        first, _, rest = line.partition(" ")
        word = first.lower()
        if word in ("stop", "quit", "exit") and not rest:
            raise prompt.StoppedError
        if word == "back" and not rest:
            raise Back
        if word == "skip":
            raise Skipped(self._reason(rest.strip()))
        if line in ("?", "why"):
            self.person.say(f"   {why}")
            return True
        return False

    def _reason(self, given):
        while not given:
            given = self.person.read("reason", "   Why is it not tested? > ").strip()
            if given.lower() == "back":
                raise Back
            if given.lower() in ("stop", "quit", "exit"):
                raise prompt.StoppedError
            if given.lower() == "skip":
                given = ""
            if not given:
                self.person.say("   The record lists every untested item with its reason: a word or two will do.")
        return given

    # Waiting for the board.

    def until(self, what, predicate, limit_s, quiet=False):
        """Poll the controller until `predicate()` holds; return False when the person records it as a fault.

        `what` says what is waited for, `quiet` allows a controller without
        power.  After `limit_s` its readings are shown and the person decides.
        Raises as `ask` does.
        """
        self.person.say(f"   Waiting for {what} ...")
        begin = told = self.board.clock.seconds()
        warned = False
        while True:
            there = self.board.quiet_look() if quiet else self.board.look() or True
            if predicate():
                return True
            if self.guard and not warned and there and self.board.wet("high"):
                warned = True
                self.do("hose_off", "CAUTION: the water is at `high`.  Shut the hose now.")
            typed = self.person.poll()
            if typed is not None and self._typed(typed, what):
                return self._faulted(what)
            now = self.board.clock.seconds()
            if now - told >= self._interval_s():
                told = now
                self._still(now - begin, what, there)
            if now - begin >= limit_s:
                if self._late(what, there):
                    return self._faulted(what)
                begin = told = self.board.clock.seconds()
            self.board.rest()

    def _interval_s(self):
        return TELL_S if self.person.in_place else SELDOM_S

    def _still(self, seconds, what, there):
        # Updated in place it stands below the line that says what is waited for.
        so_long = f"   {seconds // 60:.0f}:{seconds % 60:02.0f}"
        if self.person.in_place:
            self.person.waiting(f"{so_long}  {self.board.line() if there else 'The controller does not answer.'}")
        else:
            self.person.waiting(f"{so_long}  Still waiting for {what}.  {self.where(there)}")

    def _faulted(self, what):
        self.fault = f"recorded as a fault: {what} did not happen; {self.where(self.board.client is not None)}"
        return False

    def where(self, there=True):
        """Return the present readings as a sentence."""
        return f"Readings: {self.board.line()}." if there else "The controller does not answer."

    def _typed(self, line, what):
        line = line.strip()
        if line.lower() == "fault":
            return True
        if not self._word(line, self.why) and line:
            words = f"fault to record it as a fault, {HELP}"
            self.person.say(f'   "{line}": this is read from the controller; waiting for {what} ({words}).')
        return False

    def _late(self, what, there):
        self.person.say(f"   No result yet: {what}.  {self.where(there)}")
        while True:
            line = self.person.read("late", f"   (Enter to keep waiting, fault to record a fault; {HELP}) > ").strip()
            if line.lower() == "fault":
                return True
            if not line:
                return False
            if not self._word(line, self.why):
                self.person.say(f'   "{line}": Enter, fault, back, skip or stop.')

    def selectors(self, first, second):
        """Have both selectors turned, confirmed by the controller; False when recorded as a fault."""
        wanted, told = (first, second), set()

        def turned():
            for n, position in enumerate(wanted):
                # Told once for each place in which it is found: somebody may turn it away again meanwhile.
                if self.board.selector(n) != position and (n, self.board.selector(n)) not in told:
                    told.add((n, self.board.selector(n)))
                    self.do(f"selector_{n + 1}_{position}", f"Turn the selector of pump {n + 1} to {position.upper()}.")
            return all(self.board.selector(n) == position for n, position in enumerate(wanted))

        self.board.look()
        turned()
        what = f"selector 1 at {first.upper()} and selector 2 at {second.upper()}"
        if first == second:
            what = f"both selectors at {first.upper()}"
        return self.until(what, turned, 120.0)

    def quiet(self):
        """Have the horn silenced where it sounds: a selector away from AUTO raises an alarm."""
        self.board.look()
        if self.board.seen["horn"]:
            self.do("silence", f"The horn is on ({', '.join(self.board.alarms())}): press the silence button.")
            self.until("the horn to stop", lambda: not self.board.seen["horn"], 120.0)

    def watch(self, seconds, what):
        """Poll the controller for a time, with the time left shown; words may be typed meanwhile."""
        begin = told = self.board.clock.seconds()
        while True:
            self.board.look()
            typed = self.person.poll()
            if typed is not None and self._typed(typed, what):
                return False
            now = self.board.clock.seconds()
            if now - begin >= seconds:
                return True
            if now - told >= self._interval_s():
                told = now
                left = seconds - now + begin
                self.person.waiting(f"   {left // 60:.0f}:{left % 60:02.0f} to go.  {self.where()}")
            self.board.clock.pause(WATCH_S)

    # Writing down.

    def put(self, key, verdict, shown="", **more):
        """Record an item: its verdict, the text shown, and further fields (see `record.items`)."""
        self.items[key] = {"verdict": verdict, "shown": shown, **{k: v for k, v in more.items() if v not in (None, "")}}
        said = f"{verdict}: {shown}" if shown else verdict
        if verdict != NOTED:
            self.person.say(f"   [{said}]" + (f"  {more['note']}" if more.get("note") else ""))

    def yes(self, key, question, note_if_no="recorded as a fault by the person"):
        """Ask a question whose good answer is yes, and record it."""
        good = self.ask(question)
        self.put(key, PASS if good else FAIL, "yes" if good else "no", by="person", note="" if good else note_if_no)
        return good

    def quantity(self, key, value, kind, verdict, by, **more):
        """Record a measured value, in SI with its unit and as shown."""
        self.put(key, verdict, self.show(value, kind), value=value, unit=UNITS[kind], by=by, **more)

    def untested(self, key, why):
        """Record that an item was not tested, and why."""
        self.put(key, NOT_TESTED, "", why=why)

    def read(self, question):
        """Return (SI value, as typed) of a question that asks for a quantity."""
        typed = self.ask(question)
        return units.read(typed, question.kind), typed
