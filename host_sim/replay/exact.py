"""J2: every recorded input through the firmware again; every output must come out as recorded, bit for bit.

Between two records nothing crossed the edge of the core, so it is stepped with
the last inputs at every instant that it names itself as due, and its outputs
must stay as they were.  Nothing compared, or a log in which no pump ever ran,
is no pass: it would prove nothing.
"""

from dataclasses import dataclass, field

from duplexsump.control import alarm_table, pump
from duplexsump.control import controller as own_controller
from duplexsump.control.records import CONTACT_NAMES, INPUT_NAMES, OUT_LATE, OUT_PUMP_1, OUT_PUMP_2, OUTPUT_NAMES
from duplexsump.control.ticks import MASK, diff

from host_sim.errors import InputError
from host_sim.replay.other_firmware import errors_told
from host_sim.run.journal import Life, decided

CONTEXT_RECORDS = 3  # records told on either side of the first difference
MOST_DUE = 5_000_000  # steps between two records: a firmware that asks for more is stuck


@dataclass
class Difference:
    """Where a replay first left the record."""

    time_ms: int
    what: str  # "outputs" or "state at power-up"
    expected: dict
    replayed: dict
    state: dict  # of the replayed firmware, in words
    before: list = field(default_factory=list)  # records (time_ms, changes in words)
    after: list = field(default_factory=list)


@dataclass
class Replay:
    """The result of a replay; `outputs` are (time_ms, outputs) where they changed, [] unless asked for."""

    compared: int = 0
    steps: int = 0
    power_ups: int = 0
    pump_ran: bool = False
    difference: Difference | None = None
    outputs: list = field(default_factory=list)
    alarms: list = field(default_factory=list)  # (time_ms, name, state) where they changed

    @property
    def passed(self):
        """Whether the record was reproduced, and something was there to be reproduced."""
        return self.difference is None and self.compared > 0 and self.pump_ran

    @property
    def reason(self):
        """Why it did not pass, or "identical"."""
        if self.difference is not None:
            return "the replay differs from the record"
        if not self.compared:
            return "nothing was compared: the journal has no steps"
        if not self.pump_ran:
            return "no pump ever ran: such a log proves nothing"
        return "identical"


class _Runner:
    """Steps one controller through a journal."""

    def __init__(self, journal, settings, module, collect):
        self.journal, self.settings, self.module, self.collect = journal, settings, module, collect
        self.controller = None
        self.inputs = None
        self.found = Replay()
        self.ring_base = 0
        self.retained = None
        self.opened = None  # the inputs that a record which opens in mid-life goes on with
        self.now_ms = 0
        self.alarm_states = None

    def start(self, life, same):
        """Begin a life as recorded; with other settings or firmware the retained record is the replay's own."""
        try:
            c = self.controller = self.module.Controller(list(self.settings))
        except ValueError as error:
            raise InputError(f"the settings are refused: {error}", "settings") from error
        retained = life.retained if same else self.retained
        self.opened = None
        try:
            c.power_up(life.now_ms, None if retained is None else list(retained))
            if life.snapshot is not None and same and tuple(c.snapshot()) != tuple(life.snapshot):
                self._resume(life)
        except ValueError as error:
            raise InputError(f"at {life.time_ms} ms the journal's state does not fit this firmware: {error}") from error
        self.ring_base = life.now_ms - life.time_ms
        self.inputs, self.now_ms = self.opened, life.time_ms
        self.alarm_states = None
        self.found.power_ups += 1

    def _resume(self, life):
        # A record that opens in mid-life carries the state it had then.
        own = self.controller.snapshot()
        names = [field[0] for field in self.module.FIELDS]
        if any(value for name, value in zip(names, life.snapshot, strict=False) if name.startswith("last[")):
            self.controller.restore(list(life.snapshot))
            first = names.index("last[0]")
            self.opened = list(life.snapshot[first : first + len(INPUT_NAMES)])
            return
        differ = [i for i in range(min(len(own), len(life.snapshot))) if own[i] != life.snapshot[i]]
        self.found.difference = self.found.difference or Difference(
            life.time_ms, "state at power-up",
            {names[i]: life.snapshot[i] for i in differ}, {names[i]: own[i] for i in differ},
            describe_state(self.controller),
        )  # fmt: skip

    def until(self, time_ms, late=False, late_ms=0):
        """Step at every due instant before a time; return False at the first output that moved.

        A step that was recorded as late missed the instant `late_ms` before it.  Where a record tells only that
        it was `late`, the last due instant before it is taken for the missed one.
        """
        if late_ms:
            time_ms, late = time_ms - late_ms, False
        c = self.controller
        count = 0
        while True:
            ring = (self.now_ms + self.ring_base) & MASK
            due = self.now_ms + diff(c.next_due(ring), ring)
            if due >= time_ms or self.inputs is None:
                return True
            count += 1
            if count > MOST_DUE:
                raise InputError(f"the firmware asked for over {MOST_DUE} steps up to {time_ms} ms: it is stuck")
            before = None if self.collect else list(c.out)
            last = c.snapshot() if late else None
            self.step(due, self.inputs)
            ring = (due + self.ring_base) & MASK
            if late and due + diff(c.next_due(ring), ring) >= time_ms:
                c.restore(last)
                return True
            if before is not None and decided(before) != decided(c.out):
                self.differ(due, before)
                return False

    def step(self, time_ms, inputs):
        """Take one step and note what changed."""
        c, found = self.controller, self.found
        self.now_ms, self.inputs = time_ms, inputs
        c.step((time_ms + self.ring_base) & MASK, list(inputs), True)
        found.steps += 1
        if c.out[OUT_PUMP_1] or c.out[OUT_PUMP_2]:
            found.pump_ran = True
        if self.collect:
            out = tuple(c.out)
            if not found.outputs or found.outputs[-1][1] != out:
                found.outputs.append((time_ms, out))
            self._alarms(time_ms)

    def _alarms(self, time_ms):
        states = self.controller.alarms.state
        if states == self.alarm_states:
            return
        before = self.alarm_states or [0] * len(states)
        self.alarm_states = list(states)
        for i, state in enumerate(states):
            if (state == 0) != (before[i] == 0):
                self.found.alarms.append((time_ms, i, state != 0))

    def differ(self, time_ms, expected):
        """Note the first difference."""
        c = self.controller
        pairs = [(name, a, b) for name, a, b in zip(OUTPUT_NAMES, expected, c.out, strict=True) if a != b]
        self.found.difference = Difference(
            time_ms, "outputs", {name: a for name, a, _ in pairs}, {name: b for name, _, b in pairs}, describe_state(c)
        )


def replay(journal, settings=None, module=None, collect=False):
    """Return the Replay of a journal.

    With neither `settings` nor `module` every output is held against the
    record, and the replay stops at the first difference.  With either, or with
    `collect`, it runs to the end and `outputs` and `alarms` hold its result.
    Raises InputError for settings or a journal that the firmware refuses, and for whatever `module` raises.
    """
    same = settings is None and module is None
    collect = collect or not same
    runner = _Runner(journal, settings or journal.settings, module or own_controller, collect)
    with errors_told(module):
        return _replay(runner, journal, same, collect)


def _replay(runner, journal, same, collect):
    found = runner.found
    for place, record in enumerate(journal.records):
        if isinstance(record, Life):
            _life(runner, record, same)
        elif runner.controller is None:
            raise InputError(f"the record at {record.time_ms} ms comes before any power-up: the journal is incomplete")
        elif runner.until(record.time_ms, bool(record.outputs[OUT_LATE]), record.late_ms):
            runner.step(record.time_ms, record.inputs)
            found.compared += 1
            if not collect and decided(record.outputs) != decided(runner.controller.out):
                runner.differ(record.time_ms, list(record.outputs))
        if found.difference is not None:
            _around(found.difference, journal.records, place)
            break
    else:
        if runner.controller is not None and journal.duration_ms:
            runner.until(journal.duration_ms + 1)
            if found.difference is not None:
                _around(found.difference, journal.records, len(journal.records) - 1)
    return found


def recorded(journal):
    """Return [(time_ms, outputs)] where the record itself changed; all off where a life ended."""
    found = []
    for record in journal.records:
        out = tuple(record.outputs) if not isinstance(record, Life) else (0,) * len(OUTPUT_NAMES)
        ended = isinstance(record, Life) and record.power == "down"
        if (ended or not isinstance(record, Life)) and (not found or found[-1][1] != out):
            found.append((record.time_ms, out))
    return found


def _life(runner, life, same):
    if life.power == "down":
        if runner.controller is not None:
            runner.until(life.time_ms)
            runner.retained = runner.controller.retain()
            if runner.collect:
                runner.found.outputs.append((life.time_ms, (0,) * len(OUTPUT_NAMES)))
        runner.controller = None
        return
    if runner.controller is not None:
        runner.until(life.time_ms)
        runner.retained = runner.controller.retain()
    runner.start(life, same)


def _around(difference, records, place):
    # What went in and out on either side, told as changes.
    first = max(0, place - CONTEXT_RECORDS)
    for i in range(first, min(len(records), place + CONTEXT_RECORDS + 1)):
        told = (records[i].time_ms, describe_changes(records[i], records[i - 1] if i else None))
        (difference.before if i < place else difference.after).append(told)


def describe_changes(record, before):
    """Return in words what a record changed against the one before it."""
    if isinstance(record, Life):
        return f"power {record.power}"
    if before is None or isinstance(before, Life):
        return "first step after power-up"
    words = []
    for names, new, old in ((INPUT_NAMES, record.inputs, before.inputs), (OUTPUT_NAMES, record.outputs,
                                                                          before.outputs)):  # fmt: skip
        words += [f"{n} {b} -> {a}" for n, a, b in zip(names, new, old, strict=True) if a != b]
    return ", ".join(words) or "nothing"


def describe_state(c):
    """Return the state of a controller as {part: words}, as far as this firmware has these parts."""
    state = {}
    try:
        for n in (0, 1):
            state[f"pump {n + 1}"] = f"{pump.STATES[c.pumps[n].state]}, {c.pumps[n].failures} failures"
        for name in ("wet", "suspect"):
            word = getattr(c.belief, name)
            state[f"contacts {'read as wet' if name == 'wet' else 'suspect'}"] = (
                ", ".join(CONTACT_NAMES[i] for i in range(4) if word >> i & 1) or "none"
            )
        state["demand"] = str(c.demand.demand)
        active = [alarm_table.TABLE[i][alarm_table.NAME] for i, s in enumerate(c.alarms.state) if s]
        state["alarms"] = ", ".join(active) or "none"
    except (AttributeError, IndexError):
        state["state"] = "this firmware's parts have other names"
    return state
