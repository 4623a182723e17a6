"""The checkout in order: outputs, contacts, measuring, pump relays; every verdict is kept as soon as there is one.

Outputs come first: what is tipped and bridged afterwards raises alarms, which hold
horn, service relay and light.
"""

import json
from datetime import datetime
from pathlib import Path

from duplexsump.control import settings as s
from duplexsump.control.records import FAULT_CONVERTER, FAULT_EXPANDER
from duplexsump.station import registers as r

from hil.checkout import kept, orders, readings, serial_line
from hil.checkout.asking import HELP, SKIPPED, Asking, Skipped, Stopped
from hil.commission.watch import WallClock
from host_sim.board import fitted, signals
from host_sim.errors import InputError
from host_sim.report.files import write as write_file

PROVED, FAILED = "proved", "failed"
BRIDGED = "proved on a bridge"  # the wire is sound, the contact is not proved: asked again
RELAYED = ("thermal", "mains")  # beginnings of contacts that an electrician's relay makes
TEST_S = 5.0  # how long the test command lasts
NEAR = 0.03  # of full scale, between the meter and the controller
FORCED = ("off", "lead", "lag")  # what calls for pumps
PUMP_WAIT_S = 90.0
CAUTIONS = (
    "Shock: both pumps unplugged, or their leads off, or their disconnects locked out, and proved dead, for the whole "
    "of this check. It switches the pump relays; breakers and fuses stay on, they feed the contactors' coils. Line "
    "voltage is an electrician's work.",
    "Flood: while you do this nothing guards the pit. Have another way to pump.",
    "Drowning: keep the pit covered. Battery gas: no flame, no spark at a charging battery.",
)
SETTLE_S = 1.0  # for filter and averaging
DRAWN = {"field contact": "F", "panel contact": "P"}  # the guide's circuits


class Checkout(Asking):
    """One build's checkout; `client` a `host_sim.board.client.Client`, `person` as `hil.commission.terminal.Terminal`.

    `only`: names of connectors ("X2") whose signals alone are proved in this run.
    `line`: makes a Client over RS-485, None where X6 is not to be proved.  `hardware`:
    whether a board is at the client's end.  Raises InputError where the record's file
    is of another build or is not ours, and for a connector that is none.
    """

    def __init__(self, client, board, expander, person, record, clock=None, only=(), line=None, hardware=True):
        _check_only(only, line)
        super().__init__(person, clock or WallClock())
        self.only, self.client, self.line = tuple(only), client, line
        self.path = Path(record)
        every = signals.signals(board, expander)
        self.serial = [one for one in every if one.kind == signals.SERIAL]
        self.rows = [one for one in every if one.kind != signals.SERIAL] + (self.serial if line else [])
        self.document = kept.recall(self.path, board, expander, hardware)

    # Keeping.

    def keep(self, name, verdict, words):
        """Keep a verdict in the record, and say it."""
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
        items, absent = self.document["items"], self.document["absent"]
        return [one for one in self.rows if one.name not in absent and items.get(one.name, {}).get("verdict") != PROVED]

    @property
    def passed(self):
        """Return whether every signal that is built is proved."""
        return not self.left

    # Going through.

    def run(self):
        """Prove every signal of this run that is not proved yet; return whether all of them are.

        Raises InputError when the board goes.
        """
        self.document["firmware"] = f"{self.client.values()['firmware']:08x}"
        settings = self.client.settings()
        self.rows = signals.ranged(self.rows, settings)
        self.document["absent"] = fitted.absent(self.rows, settings)
        if not self._now():
            self.person.say("Nothing is left to prove here.")
            self.save()
            return True
        for line in CAUTIONS:
            self.person.say(f" * {line}")
        self.person.say(f"{len(self._now())} of {len(self.rows)} signals to prove.  {HELP}")
        for name, why in self.document["absent"].items():
            self.person.say(f"   {name}: not built, by the controller's settings: {why}.")
        self._bus()
        try:
            if not self._yes("safe", "Are both pumps unplugged, or their leads off or disconnects locked out, and "
                             "proved dead?"):  # fmt: skip
                self.person.say("   Then do not start.")
                self.save()
                return not self._now()
            self._parts()
        except Stopped:
            self.person.say(f"   Stopped; kept in {self.path}.")
        self.save()
        return not self._now()

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
                self._or_skip(self._tried, one, prove)
        for one in [row for row in self._now() if row.kind == signals.SERIAL][:1]:
            self._over_the_line(one)
        pumps = [one for one in outputs if one.name.startswith("pump")]
        if pumps:
            self._clear()  # a thermal contact that was opened has its pump at rest
        for one in outputs:
            if one in pumps:
                self._or_skip(self._pump, one)
                self._command("reset")  # a pump without current has tripped

    def _tried(self, one, prove):
        while prove(one) == FAILED and self._yes(f"again {one.name}", "   Try it again?"):
            pass

    def _or_skip(self, prove, one, *more):
        try:
            prove(one, *more)
        except Skipped as left:
            self._skip(one, str(left))

    # Contacts.

    def _read_contacts(self):
        states, values = self.client.states(), self.client.values()
        return {one.name: readings.closed(one, states, values) for one in self.rows if one.kind == signals.CONTACT}

    def _contact(self, one):
        rest = self._read_contacts()
        was = rest[one.name]
        self.person.say(f"{one.terminal} {one.name} ({one.to}) reads {_made(was)}.")
        self.person.say(f"-> Now {orders.change(one, was)}, and hold it.  (If nothing happens: Enter.)")
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
        self.person.say("-> And back as it was." if gave_up is None else "-> Put back what you changed.")
        self.person.does(f"restore {one.name}")
        back = self._until(lambda: self._read_contacts()[one.name] == was)
        if gave_up is not None and gave_up.lower().startswith("skip"):
            self._skip(one, gave_up[4:])
            return SKIPPED
        if gave_up is not None:
            wrong = f"; instead {', '.join(others)} changed: swapped wires" if others else ": open, or shorted"
            at = f"{one.terminal}, {one.pin_text}{f', pin {one.position}' if one.position else ''}"
            verdict = FAILED
            words = f"nothing changed at {at} (drawing {DRAWN[one.electrical]}){wrong}"
        elif others:
            verdict, words = FAILED, f"{', '.join(others)} changed with it: wires that touch"
        elif back is not None:
            verdict, words = FAILED, f"it stays {_made(1 - was)}"
        else:
            verdict, words = PROVED, f"{_made(was)}, {_made(1 - was)}, {_made(was)}"
        if verdict == PROVED and one.name.startswith(RELAYED):
            verdict, words = self._made_by(one, words)
        self.keep(one.name, verdict, words)
        return verdict

    def _made_by(self, one, words):
        # What stands at the terminal: a bridge in a relay's place proves the wire alone.
        if self._yes(f"relay {one.name}", "   Was that the relay's own contact (yes), or a bridge for it (no)?"):
            return PROVED, words
        if one.name.startswith("thermal") and self._yes(
                f"for good {one.name}", "   Does it stay for good, no relay KT for this terminal?"):  # fmt: skip
            return PROVED, f"{words}; bridged for good, no relay KT"
        return BRIDGED, f"{words}; asked again when the relay's contact is in the bridge's place"

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
                return SKIPPED
            try:
                said = float(line.split()[0].replace(",", "."))
                break
            except (ValueError, IndexError):
                self.person.say(f'   "{line}": a number, such as 12.1; or skip, with a reason.')
        value, _ = readings.measured(one, self.client.values())
        self.person.does(f"restore {one.name}")
        words = f"meter {said:g} {unit}, controller {value:.2f} {unit}"
        verdict = FAILED
        if said < full / 4:
            words = f"{words}: too little to prove anything, {full / 3:.1f} {unit} or more"
        elif abs(value - said) > NEAR * full:
            words = f"{words}: more than {NEAR:.0%} of {full:g} {unit} apart"
        else:
            verdict = PROVED
        self.keep(one.name, verdict, words)
        return verdict

    # Serial.

    def _over_the_line(self, one):
        # One exchange takes both wires.
        self.person.say(f"{', '.join(row.terminal for row in self.serial)}: RS-485, asked by the program itself.")
        proved, words = serial_line.prove(self.client, self.line)
        for row in self.serial:
            self.keep(row.name, PROVED if proved else FAILED, words)

    # Outputs.

    def _outputs(self, rows):
        for one in rows:
            self._or_skip(self._light if one.name == "status light" else self._by_test, one)

    def _light(self, one):
        lit = readings.output(one, self.client.states())
        answer = self._yes(f"see {one.name}", f"{one.terminal} {one.name}: is it lit?")
        same = answer == bool(lit)
        words = f"controller {'on' if lit else 'off'}, seen {'lit' if answer else 'dark'}"
        if same and not lit:
            self.keep(one.name, SKIPPED, f"{words}: dark while something is wrong; asked for again when nothing is")
            return
        self.keep(one.name, PROVED if same else FAILED, words)

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
            self.keep(one.name, FAILED, "the controller did not switch it: an alarm or a silence holds it")
            return
        moves = "drop out" if rest else "pull in"
        answer = self._yes(f"see {one.name}", f"   did {one.name} {moves} and come back?")
        self.keep(one.name, PROVED if answer else FAILED,
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
            self.keep(one.name, FAILED, "selectors or jumper did not read so")
            return
        try:
            self._force(1)
            came = self._until(self._refreshed(lambda: readings.output(one, self.client.states()) == 1), PUMP_WAIT_S)
            if came is not None:
                self.keep(one.name, FAILED, "the controller did not call for it within 90 s")
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
        self.keep(one.name, PROVED if good else FAILED, words)
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


def _check_only(only, line):
    wrong = [name for name in only if name not in signals.CONNECTORS]
    if wrong:
        named = ", ".join(f"{name} ({words})" for name, words in signals.CONNECTORS.items())
        raise InputError(f"{', '.join(wrong)}: this check proves {named}", "--only")
    if "X6" in only and line is None:
        raise InputError("X6 is proved over RS-485 itself: add --line and the port of a USB adapter for RS-485 at its "
                         "far end", "--only")  # fmt: skip


def _made(closed):
    return "closed" if closed else "open"
