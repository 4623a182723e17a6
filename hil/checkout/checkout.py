"""The checkout in order: outputs, contacts, measuring, pump relays; every verdict is kept as soon as there is one.

Outputs come first: what is tipped and bridged afterwards raises alarms, which hold
horn, service relay and light.
"""

import json
import time
from datetime import datetime
from pathlib import Path

from duplexsump.control import settings as s
from duplexsump.control.records import FAULT_CONVERTER, FAULT_EXPANDER
from duplexsump.station import registers as r

from hil.checkout import orders, readings
from host_sim.board import signals
from host_sim.errors import InputError
from host_sim.report.files import write as write_file

KIND, VERSION = "build check", 1
PROVED, FAILED, SKIPPED = "proved", "failed", "not tested"
WAIT_S, LOOK_S = 120.0, 0.2
TEST_S = 5.0  # how long the test command lasts
NEAR = 0.03  # of full scale, between the meter and the controller
FORCED = ("off", "lead", "lag")  # what calls for pumps
PUMP_WAIT_S = 90.0
CAUTIONS = (
    "Shock: both pumps unplugged or their circuits locked out, and proved dead, for the whole of this check. It "
    "switches the pump relays. Line voltage is an electrician's work.",
    "Flood: while you do this nothing guards the pit. Have another way to pump.",
    "Drowning: keep the pit covered. Battery gas: no flame, no spark at a charging battery.",
)
HELP = "Enter when done; skip and a reason; stop saves everything, and the same command resumes."
SETTLE_S = 1.0  # for filter and averaging
PROVABLE = tuple(name for name in signals.CONNECTORS if name != "X6")


class Stopped(Exception):  # noqa: N818 - a person's word, no error
    """The person leaves; everything so far is kept."""


class Skipped(Exception):  # noqa: N818 - a person's word, no error
    """The person leaves one signal out; its text is the reason."""


class Clock:
    """The wall's time."""

    def seconds(self):
        """Return seconds."""
        return time.monotonic()

    def pause(self, seconds):
        """Let time pass."""
        time.sleep(seconds)


class Checkout:
    """One build's checkout; `client` a `host_sim.board.client.Client`, `person` as `hil.commission.terminal.Terminal`.

    `only`: names of connectors ("X2") whose signals alone are proved in this run.
    Raises InputError where the record's file is of another build or is not ours, and
    for a connector that is none.
    """

    def __init__(self, client, board, expander, person, record, clock=None, only=()):
        wrong = [name for name in only if name not in PROVABLE]
        if wrong:
            named = ", ".join(f"{name} ({signals.CONNECTORS[name]})" for name in PROVABLE)
            raise InputError(f"{', '.join(wrong)}: this check proves {named}; serial, X6, is proved by "
                             "sumpbench watch --framing rtu over it", "--only")  # fmt: skip
        self.only = tuple(only)
        self.client, self.person, self.clock = client, person, clock or Clock()
        self.board, self.expander, self.path = board, expander, Path(record)
        self.rows = [one for one in signals.signals(board, expander) if one.kind != signals.SERIAL]
        self.document = self._recall()

    # Keeping.

    def _recall(self):
        fresh = {"kind": KIND, "version": VERSION, "board": self.board, "expander": self.expander,
                 "when": datetime.now().astimezone().isoformat(timespec="seconds"), "firmware": "", "hardware": True,
                 "items": {}}  # fmt: skip
        if not self.path.exists():
            return fresh
        try:
            found = json.loads(self.path.read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            raise InputError(f"{self.path} cannot be read as a record: {error}; name another", "--record") from error
        if not isinstance(found, dict) or found.get("kind") != KIND or not isinstance(found.get("items"), dict):
            raise InputError(f"{self.path} is no record of a build check: name another", "--record")
        if (found.get("board"), found.get("expander")) != (self.board, self.expander):
            raise InputError(f"{self.path} is of another board: name another record", "--record")
        return found

    def _keep(self, name, verdict, words):
        row = next((one for one in self.rows if one.name == name), None)
        self.document["items"][name] = {"verdict": verdict, "words": words, "terminal": row.terminal if row else "",
                                        "when": datetime.now().astimezone().isoformat(timespec="seconds")}  # fmt: skip
        self.save()
        self.person.say(f"   {name}: {verdict}{f', {words}' if words else ''}.")

    def save(self):
        """Write the record."""
        write_file(self.path.parent, self.path.name, json.dumps(self.document, indent=1) + "\n", "--record")

    @property
    def left(self):
        """Return the signals that are not proved yet."""
        items = self.document["items"]
        return [one for one in self.rows if items.get(one.name, {}).get("verdict") != PROVED]

    @property
    def passed(self):
        """Return whether every signal of the board is proved."""
        return not self.left

    # Going through.

    def run(self):
        """Prove every signal that is not proved yet; return whether all are.  Raises InputError when the board goes."""
        self.document["firmware"] = f"{self.client.values()['firmware']:08x}"
        self.rows = signals.ranged(self.rows, self.client.settings())
        if not self._now():
            self.person.say("Nothing is left to prove here.")
            self.save()
            return self.passed
        for line in CAUTIONS:
            self.person.say(f" * {line}")
        self.person.say(f"{len(self._now())} of {len(self.rows)} signals to prove.  {HELP}")
        self._bus()
        try:
            if not self._yes("safe", "Are both pumps unplugged or locked out, and proved dead?"):
                self.person.say("   Then do not start.")
                self.save()
                return self.passed
            self._parts()
        except Stopped:
            self.person.say(f"   Stopped; kept in {self.path}.")
        self.save()
        return self.passed

    def _bus(self):
        # A bus that does not answer would make each of its signals fail for itself.
        silent = self.client.states()["board_faults"]
        for fault, part in ((FAULT_EXPANDER, "I2C expander"), (FAULT_CONVERTER, "converter on the I2C bus")):
            if silent & fault:
                self.person.say(f"   The {part} does not answer: mend its wires first (3.3 V, 0 V, SDA, SCL, address); "
                                "what it reads cannot be proved.")  # fmt: skip

    def _now(self):
        # What this run is to prove.
        return [one for one in self.left if not self.only or one.terminal.split(":")[0] in self.only]

    def _parts(self):
        outputs = [row for row in self._now() if row.kind == signals.OUTPUT]
        others = [row for row in outputs if not row.name.startswith("pump")]
        if others:
            self._clear()
            self._outputs(others)
        for part, prove in ((signals.CONTACT, self._contact), (signals.ANALOG, self._measure)):
            for one in [row for row in self._now() if row.kind == part]:
                prove(one)
        for one in outputs:
            if one.name.startswith("pump"):
                self._or_skip(self._pump, one)
                self._command("reset")  # a pump without current has tripped

    def _or_skip(self, prove, one):
        try:
            prove(one)
        except Skipped as left:
            self._skip(one, str(left))

    def _skip(self, one, reason):
        # Whoever reads the record asks why.
        while not reason.strip():
            reason = self._line(f"why {one.name}", f"   why is {one.name} not tested? > ")
        self._keep(one.name, SKIPPED, reason.strip())

    # Asking.

    def _line(self, key, prompt):
        line = self.person.read(key, prompt).strip()
        if line.lower() == "stop":
            raise Stopped
        return line

    def _yes(self, key, question):
        skips = key.startswith("see ")
        while True:
            line = self._line(key, f"{question} (yes or no) > ")
            if line.lower() in ("yes", "y", "no", "n"):
                return line.lower().startswith("y")
            if skips and line.lower().startswith("skip"):
                raise Skipped(line[4:].strip())
            self.person.say(f"   Please answer yes or no{'; or skip, with a reason' if skips else ''}.")

    def _until(self, holds, limit_s=WAIT_S):
        # Whether it comes true; a person may end the wait with a line: "" gives up, skip and stop as ever.
        until = self.clock.seconds() + limit_s
        while not holds():
            typed = self.person.poll()
            word = None if typed is None else typed.strip()
            if word is not None and word.lower() == "stop":
                raise Stopped
            if word and word.split()[0].lower() != "skip":
                self.person.say(f'   "{word}" is not understood, still waiting. {HELP}')
                word = None
            if word is not None or self.clock.seconds() >= until:
                return word or ""
            self.clock.pause(LOOK_S)
        return None

    # Contacts.

    def _read_contacts(self):
        states, values = self.client.states(), self.client.values()
        return {one.name: readings.closed(one, states, values) for one in self.rows if one.kind == signals.CONTACT}

    def _contact(self, one):
        rest = self._read_contacts()
        was = rest[one.name]
        self.person.say(f"{one.terminal} {one.name} ({one.to}) reads {_made(was)}.")
        self.person.say(f"-> Now {orders.change(one, was)}, and hold it.")
        self.person.does(f"change {one.name}")
        seen = {}

        def changed():
            seen.update(self._read_contacts())
            return seen[one.name] != was

        gave_up = self._until(changed)
        if gave_up is not None:
            self.clock.pause(SETTLE_S)
            gave_up = None if changed() else gave_up
        others = sorted(name for name in seen if seen[name] != rest[name] and name != one.name)
        self.person.say("-> And back as it was.")
        self.person.does(f"restore {one.name}")
        back = self._until(lambda: self._read_contacts()[one.name] == was)
        if gave_up is not None:
            if gave_up.lower().startswith("skip"):
                self._skip(one, gave_up[4:])
            else:
                wrong = f"; instead {', '.join(others)} changed: swapped wires" if others else ": open, or shorted"
                self._keep(one.name, FAILED, f"nothing changed at {one.pin_text}{wrong}")
        elif others:
            self._keep(one.name, FAILED, f"{', '.join(others)} changed with it: wires that touch")
        elif back is not None:
            self._keep(one.name, FAILED, f"it stays {_made(1 - was)}")
        else:
            self._keep(one.name, PROVED, f"{_made(was)}, {_made(1 - was)}, {_made(was)}")

    # Measuring.

    def _measure(self, one):
        _, unit = readings.measured(one, self.client.values())
        self.person.say(f"{one.terminal} {one.name} ({one.to}).")
        full = one.level / 1000.0
        self.person.say(f"-> Put a known value on it, {full / 3:.1f} {unit} or more, and read it on a meter in {unit}.")
        self.person.say(f"   ({orders.APPLY[one.electrical]}.)")
        self.person.does(f"apply {one.name}")
        self.clock.pause(SETTLE_S)
        while True:
            line = self._line(f"meter {one.name}", f"   what does your meter read, in {unit}? > ")
            if line.lower().startswith("skip"):
                self._skip(one, line[4:])
                return
            try:
                said = float(line.split()[0].replace(",", "."))
                break
            except (ValueError, IndexError):
                self.person.say(f'   "{line}": a number, such as 12.1; or skip, with a reason.')
        value, _ = readings.measured(one, self.client.values())
        self.person.does(f"restore {one.name}")
        words = f"meter {said:g} {unit}, controller {value:.2f} {unit}"
        if said < full / 4:
            self._keep(one.name, FAILED, f"{words}: too little to prove anything, {full / 3:.1f} {unit} or more")
        elif abs(value - said) > NEAR * full:
            self._keep(one.name, FAILED, f"{words}: more than {NEAR:.0%} of {full:g} {unit} apart")
        else:
            self._keep(one.name, PROVED, words)

    # Outputs.

    def _outputs(self, rows):
        for one in rows:
            self._or_skip(self._light if one.name == "status light" else self._by_test, one)

    def _light(self, one):
        lit = readings.output(one, self.client.states())
        answer = self._yes(f"see {one.name}", f"{one.terminal} {one.name}: is it lit?")
        same = answer == bool(lit)
        words = f"controller {'on' if lit else 'off'}, seen {'lit' if answer else 'dark'}"
        self._keep(one.name, PROVED if same and lit else FAILED,
                   words if lit or not same else f"{words}: something is wrong, mend it and prove this again")

    def _clear(self):
        # What was tipped and bridged before may have raised alarms.
        for word in ("silence", "reset"):
            self._command(word)
            self.clock.pause(SETTLE_S)

    def _command(self, word):
        self.client.write_bits(0, [int(row[0] == word) for row in r.COMMANDS])

    def _by_test(self, one):
        rest = readings.output(one, self.client.states())
        self.person.say(f"{one.terminal} {one.name}: in the next {TEST_S:g} s watch its relay, and listen.")
        self._command("test")
        moved = self._until(lambda: readings.output(one, self.client.states()) != rest, TEST_S)
        self.clock.pause(TEST_S)
        if moved is not None:
            self._keep(one.name, FAILED, "the controller did not switch it: an alarm or a silence holds it")
            return
        moves = "drop out" if rest else "pull in"
        answer = self._yes(f"see {one.name}", f"   did {one.name} {moves} and come back?")
        self._keep(one.name, PROVED if answer else FAILED,
                   f"{'on' if rest else 'off'} at rest, switched by the test"
                   if answer else "the controller switched it and nothing moved: wire, polarity or relay")  # fmt: skip

    def _pump(self, one):
        n = int(one.name[-1])
        other = 3 - n
        self.person.say(f"{one.terminal} {one.name}.")
        self.person.say(f"-> Selector {n} to AUTO, selector {other} to OFF, test jumper made.")
        self.person.does(f"alone {n}")
        ready = lambda: (self.client.values()[f"selector_{n}"], self.client.values()[f"selector_{other}"],  # noqa: E731
                         self.client.states()["jumper"]) == (0, 1, 1)  # fmt: skip
        typed = self._until(ready)
        if typed is not None:
            if typed.lower().startswith("skip"):
                raise Skipped(typed[4:].strip())
            self._keep(one.name, FAILED, "selectors or jumper did not read so")
            return
        try:
            self._force(1)
            came = self._until(self._refreshed(lambda: readings.output(one, self.client.states()) == 1), PUMP_WAIT_S)
            if came is not None:
                self._keep(one.name, FAILED, "the controller did not call for it within 90 s")
                return
            answer = self._yes(f"see {one.name}", f"   did contactor {n}, and only that one, pull in?")
        except Skipped:
            self.client.write_bits(r.FORCE_MASK_AT, [0] * r.N_FORCES)
            raise
        finally:
            self._force(0)
        off = self._until(self._refreshed(lambda: readings.output(one, self.client.states()) == 0), PUMP_WAIT_S)
        good = answer and off is None
        words = "pulled in by a call for it, dropped out after" if good else (
            "the wrong contactor, or none" if not answer else "it stays on")
        self._keep(one.name, PROVED if good else FAILED, words)
        self.client.write_bits(r.FORCE_MASK_AT, [0] * r.N_FORCES)

    def _refreshed(self, holds):
        # Forces lapse unless they are written again.
        def look():
            self.client.write_bits(r.FORCE_MASK_AT, [int(name in FORCED) for name in r.FORCES])
            return holds()

        return look

    def _force(self, wet):
        closed = self.client.settings()[s.NORMALLY_CLOSED]
        values = [wet ^ (closed >> i & 1) if name in FORCED else 0 for i, name in enumerate(r.FORCES)]
        self.client.write_bits(r.FORCE_VALUE_AT, values)
        self.client.write_bits(r.FORCE_MASK_AT, [int(name in FORCED) for name in r.FORCES])


def _made(closed):
    return "closed" if closed else "open"
