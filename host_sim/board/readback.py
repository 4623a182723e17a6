"""A board's journal on the PC: read segments, replay them bit for bit, turn them into the simulator's journal."""

from dataclasses import dataclass, field

from duplexsump.control.controller import FIELDS, Controller
from duplexsump.control.records import N_INPUTS, N_OUTPUTS, OUT_CLOCK, OUT_LATE
from duplexsump.control.ticks import TICK_MS, add, diff
from duplexsump.station import codec
from duplexsump.station import journal as j

from host_sim.errors import InputError
from host_sim.run.journal import Journal, Life, Record, firmware_checksum

# The chatter limit has been applied before a step was recorded, so its own state is not replayed.
NOT_REPLAYED = {"raw_word", "pending", "due"}


@dataclass
class Step:
    """One recorded step: the core's inputs after it, its outputs packed, how late it was."""

    now_ms: int
    late_ms: int
    inputs: tuple
    packed: int


@dataclass
class Segment:
    """One segment: what it opened with and what it holds, in order."""

    number: int
    life: int
    checksum: int
    clock_s: int
    begins: bool
    now_ms: int
    settings: list
    retained: list | None
    snapshot: list
    steps: list = field(default_factory=list)
    events: list = field(default_factory=list)  # (instant of the step before, name, value, text)
    minutes: list = field(default_factory=list)  # (instant of the step before, 12 numbers)
    batches: int = 0
    retained_now: list = field(default_factory=list)


def read_segment(data):
    """Return the Segment in a segment's bytes, up to its first damaged batch.  Raises InputError for no segment."""
    batches = codec.payloads(data)
    if not batches:
        raise InputError(f"no sound batch in {len(data)} bytes: not a journal segment", "journal")
    try:
        number, life, checksum, clock, begins, now, settings, retained, snapshot = j.read_open(codec.Reader(batches[0]))
    except ValueError as error:
        raise InputError(str(error), "journal") from error
    segment = Segment(number, life, checksum, clock, bool(begins), now, settings, retained, snapshot)
    segment.batches = len(batches)
    if len(snapshot) == len(FIELDS):
        segment.retained_now = [value for value, field_ in zip(snapshot, FIELDS, strict=True) if field_[2]]
    inputs = [0] * N_INPUTS if begins else last_inputs(snapshot)
    for batch in batches[1:]:
        now = _read_batch(codec.Reader(batch), segment, now, inputs)
    return segment


def last_inputs(snapshot):
    """Return the input record that a snapshot holds as its last."""
    first = [field[0] for field in FIELDS].index("last[0]")
    return list(snapshot[first : first + N_INPUTS])


def _read_batch(reader, segment, now, inputs):
    while reader.more():
        kind = reader.byte()
        if kind == j.STEP:
            now = add(now, reader.count() * TICK_MS)
            late, packed, mask = reader.count() * TICK_MS, reader.count(), reader.count()
            for i in range(N_INPUTS):
                if mask >> i & 1:
                    inputs[i] = reader.number()
            segment.steps.append(Step(now, late, tuple(inputs), packed))
        elif kind == j.RETAINED:
            j.read_retained(reader, segment.retained_now)
        elif kind == j.MINUTE:
            segment.minutes.append((now, [reader.number() for _ in range(12)]))
        elif kind == j.EVENT:
            code, value = reader.count(), reader.number()
            name = j.EVENTS[code] if code < len(j.EVENTS) else f"event {code}"
            segment.events.append((now, name, value, reader.text()))
        else:
            raise InputError(f"unknown record {kind} in segment {segment.number}", "journal")
    return now


@dataclass
class Replay:
    """What a replay compared: records, segments, snapshots, and every difference found, in words."""

    records: int = 0
    segments: int = 0
    snapshots: int = 0
    differences: list = field(default_factory=list)
    foreign: dict = field(default_factory=dict)  # segments of another firmware: number -> its checksum


def replay(segments):
    """Step the real controller through recorded segments and compare every output and snapshot exactly.

    `segments` is a list of Segment in order.  Nothing compared is itself a
    difference.  Segments written by another firmware replay only as far as it
    agrees with this one.
    """
    found = Replay()
    controller = None
    for segment in segments:
        follows = controller is not None and not segment.begins
        if follows:
            _compare(found, segment, controller)
        if segment.begins or not follows:
            controller = _start(segment)
        for step in segment.steps:
            advance(controller, step)
            out = controller.step(step.now_ms, list(step.inputs), True)
            found.records += 1
            if j.pack(out) != step.packed:
                words = f"outputs {j.pack(out):#04x}, recorded {step.packed:#04x}"
                found.differences.append(f"segment {segment.number}, {step.now_ms} ms: {words}")
        found.segments += 1
        if segment.checksum != firmware_checksum():
            found.foreign[segment.number] = segment.checksum
    if not found.records:
        found.differences.append("nothing was compared: the journal holds no step")
    return found


def _start(segment):
    controller = Controller(list(segment.settings))
    if segment.begins:
        controller.power_up(segment.now_ms, segment.retained or None)
    else:
        controller.restore(segment.snapshot)
    return controller


def advance(controller, step, seen=None):
    """Take the controller through the steps between the last record and `step`.

    They changed no input, so only instants that were due matter; of those a late step missed the last.
    `seen(now_ms)`, where given, is called after each of them.
    """
    until = add(step.now_ms, -step.late_ms)
    inputs = list(controller.last)
    while not controller.first:
        due = controller.next_due(controller.now)
        if diff(due, until) >= 0:
            return
        controller.step(due, list(inputs), True)
        if seen is not None:
            seen(due)


def _compare(found, segment, controller):
    # A segment that goes on opens with the state that the replay must have reached.
    advance(controller, Step(add(segment.now_ms, TICK_MS), 0, (), 0))
    if controller.now != segment.now_ms:
        controller.step(segment.now_ms, list(controller.last), True)
    mine = controller.snapshot()
    found.snapshots += 1
    for place, (name, _, _) in enumerate(FIELDS):
        if name.startswith("chatter.") or name in NOT_REPLAYED or name == "timers.at[32]":
            continue
        if mine[place] != segment.snapshot[place]:
            words = f"{name} {mine[place]}, recorded {segment.snapshot[place]}"
            found.differences.append(f"segment {segment.number}: {words}")


def unpack(packed, late_ms=0):
    """Return the output record of a packed one."""
    out = [packed >> i & 1 for i in range(N_OUTPUTS)]
    out[OUT_LATE] = 1 if late_ms else 0
    out[OUT_CLOCK] = packed >> 7 & 1
    return out


def to_journals(segments, site="board"):
    """Return the simulator's journals (`run.journal.Journal`) of recorded segments, one for each set of settings.

    Times run from the first record; the dead time between two lives is not known and counts as one second.
    """
    journals, time_ms, before = [], 0, None
    for segment in segments:
        journal = journals[-1] if journals else None
        if journal is None or list(journal.settings) != list(segment.settings):
            journal = Journal(list(segment.settings), segment.checksum, site)
            journals.append(journal)
            time_ms, before = 0, None
        if segment.begins or before is None:
            if before is not None:
                time_ms += 1000
                journal.records.append(Life(time_ms, "down", before))
            retained = tuple(segment.retained) if segment.retained else None
            journal.records.append(Life(time_ms, "up", segment.now_ms, retained, tuple(segment.snapshot)))
            before = segment.now_ms
        for step in segment.steps:
            time_ms += diff(step.now_ms, before)
            before = step.now_ms
            outputs = tuple(unpack(step.packed, step.late_ms))
            journal.records.append(Record(time_ms, step.inputs, outputs, step.late_ms))
        journal.duration_ms = time_ms
    return journals


def fetch(client):
    """Return the bytes of every segment on a board, in order."""
    values = client.values()
    numbers = range(values["journal_first"], values["journal_last"] + 1)
    return [data for data in (client.segment(number) for number in numbers) if data]
