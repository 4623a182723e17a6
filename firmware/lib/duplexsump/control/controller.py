"""The controller: a function of its state, its inputs and the time.

    controller = Controller(settings)
    controller.power_up(now_ms, retained)
    outputs = controller.step(now_ms, inputs)
    ... call step again at every change of an input, and by controller.next_due(now_ms)

Times are milliseconds in a 30-bit ring, steps lie on a grid of 100 ms.  Steps in
between change nothing but running clocks.  Nothing is allocated per step.
"""

from . import pump as pm
from . import settings as s
from . import timers as tm
from .alarms import Alarms
from .belief import Belief
from .blind import Blind
from .buttons import Buttons
from .contacts import Chatter, Contacts
from .demand import Demand
from .exercise import DAY_MIN, Exercise
from .flood import FloodRetries
from .forces import Forces
from .gate import Gate
from .history import History
from .pair import Pair
from .records import (
    AGAIN,
    CLOCK,
    CURRENT_NORMAL,
    DEADLINE,
    HIGH,
    IN_BATTERY,
    IN_CHATTER,
    IN_CONTACTS,
    IN_CURRENT_1,
    IN_GENERATOR,
    LAG,
    LEAD,
    N_INPUTS,
    N_OUTPUTS,
    OFF,
    OUT_BEACON,
    OUT_CLOCK,
    OUT_HORN,
    OUT_LATE,
    OUT_LIGHT,
    OUT_PUMP_1,
    OUT_PUMP_2,
    OUT_RELAY,
    OUT_SERVICE,
    RETAIN,
    STATE,
)
from .selector import Selectors
from .supply import Supply
from .ticks import DAY_MS, TICK_MS, add, const, diff
from .transmitter import Transmitter
from .watch import DARK_WET, MONTH_MIN, tell_alarms

_MINUTE_MS = const(60000)
_HOUR_MS = const(3600000)
_MOST_MIN = const(1 << 29)


class Controller:
    """Duplex sump controller.  Raises ValueError for a settings record that `settings.check()` refuses."""

    FIELDS = (
        ("dark", STATE, 0, RETAIN),  # A4: a life may end, 1; one began with lag or high wet, DARK_WET
        ("now", CLOCK, 0, 0),
        ("due", DEADLINE, 0, 0),
        ("mark", CLOCK, 0, 0),  # the last whole minute of uptime
        ("uptime_min", CLOCK, 0, 0),
        ("inspection_min", CLOCK, 0, RETAIN),  # since somebody last recorded an inspection
        ("battery_min", CLOCK, 0, RETAIN),  # since somebody last recorded a new standby battery
        ("light", STATE, 0, 0),
        ("clock_fault", STATE, 0, 0),
        ("pending", STATE, 0, 0),
        ("last", STATE, N_INPUTS, 0),
        ("raw_word", STATE, 0, 0),  # the contacts before the chatter limit
    )

    def __init__(self, settings: list[int]) -> None:
        refusals = s.check(settings)
        if refusals:
            raise ValueError("; ".join(refusals))
        self.settings = settings
        self.timers = t = tm.Timers()
        self.transmitter = Transmitter(settings, t)
        self.chatter = Chatter(t)
        self.contacts = Contacts(settings, t)
        self.belief = Belief(settings, t, self.transmitter.virtual)
        self.pumps = [pm.Pump(0, settings, t), pm.Pump(1, settings, t)]
        self.gate = Gate(settings, t)
        self.supply = Supply(settings, t)
        self.selectors = Selectors(settings, t)
        self.demand = Demand(settings, t, self.belief)
        self.blind = Blind(settings, t, self.belief)
        self.flood = FloodRetries(settings, t, self.pumps)
        self.exercise = Exercise(settings, t, self.pumps)
        self.forces = Forces(settings, t)
        self.buttons = Buttons(t)
        self.alarms = Alarms(settings, t)
        self.history = History(settings)
        self.pair = Pair(self)
        self.parts = (
            (("", self), ("timers", t), ("chatter", self.chatter), ("contacts", self.contacts))
            + (("transmitter", self.transmitter), ("belief", self.belief), ("supply", self.supply))
            + (("selectors", self.selectors), ("demand", self.demand), ("blind", self.blind))
            + (("pump_1", self.pumps[0]), ("pump_2", self.pumps[1]), ("flood", self.flood), ("pair", self.pair))
            + (("gate", self.gate), ("exercise", self.exercise), ("forces", self.forces))
            + (("buttons", self.buttons), ("alarms", self.alarms), ("history", self.history))
        )
        marked = [(part, row[0]) for _prefix, part in self.parts for row in part.FIELDS if row[3] & AGAIN]
        self.marked_parts = tuple([part for part, _name in marked])
        self.marked_names = tuple([name for _part, name in marked])
        self.seen = [None] * len(marked)
        self.out = [0] * N_OUTPUTS
        self.last = [0] * N_INPUTS
        self.dark = 0
        self.now = 0
        self.due = 0
        self.mark = 0
        self.uptime_min = 0
        self.inspection_min = 0
        self.battery_min = 0
        self.light = 0
        self.clock_fault = 0
        self.raw_word = 0
        self.pending = 0  # something changed in this step that the next one must see
        self.powered = False
        self.first = True  # the next step is the first after a power-up
        self.always = False  # tests: work everything out at every step, due or not

    def power_up(self, now_ms: int, retained: "list[int] | None" = None) -> None:
        """Begin a life at `now_ms`; `retained` is what retain() gave in the life before, or None (S4, J4).

        Every life needs a controller of its own: raises ValueError on a second call.
        """
        if self.powered:
            raise ValueError("powered up twice: make a new Controller and give it the retained record")
        self.powered = True
        if retained is not None:
            self._set(retained, True)
        self.now = now_ms
        self.mark = now_ms
        self.due = now_ms
        self.timers.now = now_ms
        for pump in self.pumps:
            pump.begin()
        self.gate.begin()
        self.alarms.begin()
        self.first = True

    def _begin(self, inputs: list[int]) -> None:
        # The first readings are taken as they are: nothing has turned yet.
        self.chatter.begin(inputs[IN_CONTACTS])
        self.contacts.begin(inputs[IN_CONTACTS] | self.transmitter.contacts(inputs))
        self.belief.begin(self.contacts.wet)
        self.supply.begin(inputs)
        self.selectors.begin(inputs)
        self.forces.begin(inputs)
        self.buttons.begin(inputs)
        if self.dark and self.contacts.wet & (LAG | HIGH):
            self.dark = DARK_WET
        self.first = False

    def step(self, now_ms: int, inputs: list[int], limited: bool = False) -> list[int]:
        """Return the outputs at `now_ms` for `inputs`; the list returned is the same every time.

        The contacts in `inputs` are written back as the chatter limit lets them
        through; `limited` tells that this has been done before (a replay).
        """
        self._clock(now_ms)
        self.timers.expire(now_ms)
        if self.first:
            self._begin(inputs)
        else:
            word = inputs[IN_CONTACTS]
            if word == self.raw_word and not limited:
                inputs[IN_CONTACTS] = self.last[IN_CONTACTS]
                inputs[IN_CHATTER] = self.last[IN_CHATTER]
            if diff(now_ms, self.due) < 0 and inputs == self.last and not self.always:
                return self.out
            inputs[IN_CONTACTS] = word
        if not limited:
            self.raw_word = inputs[IN_CONTACTS]
            inputs[IN_CONTACTS] = self.chatter.step(self.raw_word)
            inputs[IN_CHATTER] = self.chatter.mask
        for i in range(N_INPUTS):
            self.last[i] = inputs[i]
        self.forces.step(inputs)
        self._evaluate(self.forces.inputs)
        self._compare()
        self.due = add(now_ms, self._delay())
        return self.out

    def next_due(self, now_ms: int) -> int:
        """Return the instant by which step() must be called: later than `now_ms`, at most 24 h ahead."""
        return self.due if diff(self.due, now_ms) >= TICK_MS else add(now_ms, TICK_MS)

    def _clock(self, now_ms: int) -> None:
        # Running clocks, and what a clock that jumps does to them.
        elapsed = diff(now_ms, self.now)
        self.out[OUT_LATE] = 1 if diff(now_ms, self.due) > 0 else 0
        if elapsed < 0 or elapsed > DAY_MS:
            self._jumped(elapsed)
            elapsed = 0
        self.now = now_ms
        if elapsed:
            pumps = self.gate.out
            self.history.elapsed(elapsed, pumps)
            self.demand.elapsed(elapsed, (pumps & 1) + (pumps >> 1))
            minutes = diff(now_ms, self.mark) // _MINUTE_MS
            if minutes:
                self._minutes(minutes)
        self.out[OUT_CLOCK] = self.clock_fault

    def _minutes(self, count: int) -> None:
        self.mark = add(self.mark, count * _MINUTE_MS)
        self.uptime_min = min(_MOST_MIN, self.uptime_min + count)
        self.inspection_min = min(_MOST_MIN, self.inspection_min + count)
        self.battery_min = min(_MOST_MIN, self.battery_min + count)
        self.history.minutes(count)
        self.exercise.minutes(count, self.gate.out, self.belief.wet)

    def _jumped(self, delta_ms: int) -> None:
        # Every deadline moves with a clock that jumped, so nothing fires early or never;
        # the only one that is no list is `due`, and that is this very step.
        for _name, part in self.parts:
            for name, kind, count, _marks in part.FIELDS:
                if kind == DEADLINE:
                    value = getattr(part, name)
                    for i in range(count):
                        if value[i] >= 0:
                            value[i] = add(value[i], delta_ms)
        self.mark = add(self.mark, delta_ms)
        self.clock_fault = 1
        self.out[OUT_LATE] = 0
        self.due = add(self.now, delta_ms)

    def _evaluate(self, inputs: list[int]) -> None:
        c = self.contacts
        c.step(inputs[IN_CONTACTS] | self.transmitter.contacts(inputs))
        self.supply.lag = c.wet & (LAG | HIGH)
        if self._lit(self.dark == DARK_WET and not self.supply.lag) or not self.supply.lag | self.dark:
            self.dark = 1
        self.supply.loaded = self.gate.out & self.supply.on_battery
        self.transmitter.step(inputs, self._proved(), c.wet, c.fell)
        self.belief.running = self.gate.out
        self.belief.chatters = inputs[IN_CHATTER]
        self.belief.step(c.wet, c.rose, c.fell, self.transmitter.failed())
        self.supply.demanded = self.demand.demand
        self.supply.running = self.gate.out
        self.supply.step(inputs, c.wet & HIGH, self.belief.wet & (self.belief.fitted & LAG or LEAD))
        if self.supply.fell:
            self.exercise.flat = 1
        self.buttons.step(inputs, self.alarms.nothing)
        if self.buttons.reset:
            self._reset()
        if self.buttons.inspected:
            self.inspection_min = 0
        if self.buttons.replaced:
            self.battery_min = 0
        self.selectors.step(inputs, self.gate.out, self._dry(), self.belief.wet)
        self._protect(0, inputs)
        self._protect(1, inputs)
        self._level(inputs)
        self._duty(inputs)
        self._tell(inputs)

    def _lit(self, lit: int) -> bool:
        # A4: a supply that flaps is one outage.
        return self.timers.on_delay(tm.DARK, False, lit, _HOUR_MS)

    def _proved(self) -> bool:
        return self.pumps[0].state == pm.RUNNING or self.pumps[1].state == pm.RUNNING

    def _dry(self) -> int:
        return (1 if self.pumps[0].dry else 0) | (2 if self.pumps[1].dry else 0)

    def _reset(self) -> None:
        # R4, A1, L2: a reset ends lockouts, latched alarms and suspicion.
        for pump in self.pumps:
            if pump.state >= pm.RETRY or pump.held:
                pump.release()
            pump.failures = 0
            pump.out = 0
        for part in (self.belief, self.transmitter, self.demand, self.blind, self.pair, self.history):
            part.reset()
        self.exercise.failed = 0
        self.exercise.flat = 0
        self.clock_fault = 0

    def _protect(self, n: int, inputs: list[int]) -> None:
        # One pump's protections, and what takes its faults back.
        pump = self.pumps[n]
        pump.flooded = self.belief.wet & HIGH
        pump.unseen = self.supply.doubted() & (1 << n)
        pump.step(n, inputs)
        if self.supply.went and self.timers.at[tm.RECENT + n] >= 0 and self.supply.on_mains(n):
            pump.withdraw()
        if pump.state < pm.RETRY:
            return
        water = self.contacts.rose & (LEAD | LAG | HIGH) and pump.cause == pm.NOT_PUMPING
        if self.selectors.returned & (1 << n):
            pump.release()
        elif water:
            pump.release(pump.failures)  # R1: water says nothing of the pump

    def _level(self, inputs: list[int]) -> None:
        # What the level asks for.
        c = self.contacts
        self._dry_pump(0)
        self._dry_pump(1)
        self.gate.barred = self._barred()
        self.flood.step(self.belief.wet & HIGH, self.gate.barred | self._not_in_auto())
        self.pair.judge()
        if c.rose & LAG & self.belief.wet:
            self.pair.reached_lag(self.demand.demand)
        self.demand.loaded = self.blind.loaded = self._loaded(inputs)
        self.demand.step(c.wet, c.rose, c.fell, self._running(), inputs)
        self.blind.dry = self._dry()
        self.blind.moved = c.rose | c.fell
        self.blind.step(c.wet, self.demand.demand, self.gate.out)

    def _dry_pump(self, n: int) -> None:
        # R1, for a pump that runs for the level's sake.
        if self.demand.demand and self.pumps[n].dry and not self.selectors.hand(n) and self.exercise.who != n:
            if self.pair.dry_pump(n):
                self.demand.end(1)

    def _running(self) -> int:
        return (self.gate.out & 1) + (self.gate.out >> 1)

    def _loaded(self, inputs: list[int]) -> bool:
        if self.settings[s.SENSING] != s.SENSE_CURRENT:
            return False
        for n in range(2):
            if self.gate.out & (1 << n) and inputs[IN_CURRENT_1 + n] >= CURRENT_NORMAL:
                return True
        return False

    def _barred(self) -> int:
        barred = 3 & ~self.supply.fed & ~self.supply.unseen
        for n in range(2):
            if self.selectors.off(n) or self.pumps[n].open:
                barred |= 1 << n
        return barred

    def _not_in_auto(self) -> int:
        # Pumps in HAND: the pair does not start these, so they could not use a try.
        return (1 if self.selectors.hand(0) else 0) | (2 if self.selectors.hand(1) else 0)

    def _duty(self, inputs: list[int]) -> None:
        # Who runs: wishes, the gate, and the pumps told what it did.
        gate = self.gate
        gate.on_battery = self.supply.on_battery
        gate.contacts = (self.belief.wet & (LEAD | LAG)) | (self.contacts.wet & HIGH)
        gate.generator = inputs[IN_GENERATOR]
        calm = not self.demand.demand and not self.blind.reason and not self.blind.wants()
        self.exercise.calm = calm and self.supply.mains
        self.exercise.level_fell = not self.transmitter.watching
        self.exercise.drawing = self.supply.on_battery
        self.exercise.battery = inputs[IN_BATTERY]
        self.exercise.unfed = ~self.supply.fed if self.supply.mains else 0
        self.exercise.step(self.belief.wet & OFF, self.pair.available, gate.out)
        self._switch(self._wanted())
        self.history.count(self.belief.wet & LAG, self.pair.overdue, self.selectors.overrun)
        self.history.step(self.contacts.rose, self.contacts.fell, gate.out)
        self.out[OUT_PUMP_1] = gate.out & 1
        self.out[OUT_PUMP_2] = gate.out >> 1

    def _wanted(self) -> int:
        blind = self.blind
        self.pair.doubted = self.transmitter.doubted
        return self.pair.step(self.demand.demand, blind.turn if blind.wants() else -1, blind.takes())

    def _switch(self, want: int) -> None:
        # Through the gate, and the pumps told what it did.
        gate = self.gate
        if self.exercise.who >= 0:
            want |= 1 << self.exercise.who
        want &= ~self._tripped()
        gate.first = self.pair.goes_first()
        was = gate.out
        self._switched(0, was, gate.step(want))
        self._switched(1, was, gate.out)
        if gate.out:
            self.blind.started()
        self.flood.count(self.belief.wet & HIGH, gate.out & ~self.silent(), self.pair.ready)

    def silent(self) -> int:
        """R3: return the pumps on in a try that goes on though no current is seen: they keep nobody waiting."""
        return (1 if self.pumps[0].silent else 0) | (2 if self.pumps[1].silent else 0)

    def _tripped(self) -> int:
        # Pumps that tripped or were pardoned in this step: off first, whoever wants them.
        mask = 0
        for n in range(2):
            if self.gate.out & (1 << n) and not self.pumps[n].on():
                mask |= 1 << n
        return mask

    def _switched(self, n: int, was: int, out: int) -> None:
        if (was ^ out) & (1 << n):
            if out & (1 << n):
                self.pumps[n].started()
                self.transmitter.watch()
            elif self.pumps[n].on():
                self.pumps[n].stopped(self.demand.by_level and not self.demand.demand, was == 1 << n)

    def _tell(self, inputs: list[int]) -> None:
        alarms = self.alarms
        tell_alarms(self, inputs)
        if self.buttons.silence:
            alarms.silence()
        if self.buttons.reset:  # once the alarms know what it has ended: one press is enough
            alarms.reset()
        if self.buttons.shelve:
            alarms.shelve(self.buttons.shelve)
        alarms.step(1 if self.buttons.test() else 0)
        self.light = 1 if alarms.nothing and self.pair.available == 3 else 0
        self.out[OUT_HORN] = alarms.horn
        self.out[OUT_BEACON] = alarms.beacon
        self.out[OUT_RELAY] = alarms.relay
        self.out[OUT_SERVICE] = alarms.service
        self.out[OUT_LIGHT] = self.light

    def _compare(self) -> None:
        # A field that is marked AGAIN and differs from what it was at the last call: the next tick must look again.
        read = getattr  # looking a builtin up at each field would cost a board five times as much
        parts = self.marked_parts
        names = self.marked_names
        seen = self.seen
        self.pending = 0
        i = len(seen)
        while i:
            i -= 1
            value = read(parts[i], names[i])
            if value != seen[i]:
                seen[i] = value
                self.pending = 1

    def _delay(self) -> int:
        if self.pending:
            return TICK_MS
        delay = self.timers.next_ms(DAY_MS)
        minutes = self._sooner(self.exercise.next_min(), self.history.next_min())
        minutes = self._sooner(minutes, self.settings[s.INSPECTION_DAYS] * DAY_MIN - self.inspection_min)
        minutes = self._sooner(minutes, self.settings[s.BATTERY_AGE] * MONTH_MIN - self.battery_min)
        delay = min(delay, minutes * _MINUTE_MS - diff(self.now, self.mark))
        return max(delay, TICK_MS)

    def _sooner(self, minutes: int, left: int) -> int:
        return left if 0 < left < minutes else minutes

    def snapshot(self) -> list[int]:
        """Return the whole state as a new flat list of integers, one a place of FIELDS."""
        record = []
        for _prefix, part in self.parts:
            for name, _kind, count, _marks in part.FIELDS:
                value = getattr(part, name)
                if count:
                    record.extend([int(x) for x in value])
                else:
                    record.append(int(value))
        return record

    def restore(self, record: list[int]) -> None:
        """Take over a state that snapshot() gave, under the same settings.

        Raises ValueError for a record of another length.
        """
        self._set(record, False)
        pending = self.pending
        self._compare()
        self.pending = pending
        self.timers.now = self.now
        self.first = False
        self.out[OUT_PUMP_1] = self.gate.out & 1
        self.out[OUT_PUMP_2] = self.gate.out >> 1
        self.out[OUT_HORN] = self.alarms.horn
        self.out[OUT_BEACON] = self.alarms.beacon
        self.out[OUT_RELAY] = self.alarms.relay
        self.out[OUT_SERVICE] = self.alarms.service
        self.out[OUT_LIGHT] = self.light
        self.out[OUT_CLOCK] = self.clock_fault

    def retain(self) -> list[int]:
        """Return what survives a reset (J4, S4) as a new flat list of integers, one a place of RETAINED."""
        record = []
        for _prefix, part in self.parts:
            for name, _kind, count, marks in part.FIELDS:
                if marks & RETAIN:
                    value = getattr(part, name)
                    record.extend(value if count else [value])
        return [int(x) for x in record]

    def retained_places(self) -> list[int]:
        """Return the places of a snapshot that survive a reset (J4), in order."""
        found, place = [], 0
        for _prefix, part in self.parts:
            for _name, _kind, count, marks in part.FIELDS:
                if marks & RETAIN:
                    found.extend(range(place, place + max(count, 1)))
                place += max(count, 1)
        return found

    def _count(self, retained_only: bool) -> int:
        total = 0
        for _prefix, part in self.parts:
            for _name, _kind, count, marks in part.FIELDS:
                if marks & RETAIN or not retained_only:
                    total += max(count, 1)
        return total

    def _set(self, record: list[int], retained_only: bool) -> None:
        count = self._count(retained_only)
        if len(record) != count:
            what = "retained record" if retained_only else "snapshot"
            raise ValueError("%s of %d values: must hold %d" % (what, len(record), count))
        place = 0
        for _prefix, part in self.parts:
            for name, _kind, count, marks in part.FIELDS:
                if retained_only and not marks & RETAIN:
                    continue
                if count:
                    values = getattr(part, name)
                    for i in range(count):
                        values[i] = record[place + i]
                    place += count
                else:
                    setattr(part, name, record[place])
                    place += 1


def _places(retained_only: bool) -> tuple:
    names = []
    for prefix, part in Controller(s.defaults()).parts:
        for name, kind, count, marks in part.FIELDS:
            if retained_only and not marks & RETAIN:
                continue
            full = prefix + "." + name if prefix else name
            retained = bool(marks & RETAIN)
            if not count:
                names.append((full, kind, retained))
            for i in range(count):
                names.append(("%s[%d]" % (full, i), kind, retained))
    return tuple(names)


# Names for readers on the PC.  They are a hundred thousand bytes, nearly half of a Pico's heap, so they are made
# when somebody asks for one, which a board never does.
_readers = {}


def __getattr__(name: str) -> tuple:
    """FIELDS: one (name, kind, retained) for each place of a snapshot.  RETAINED: one for each that survives."""
    if name not in ("FIELDS", "RETAINED"):
        raise AttributeError(name)
    if name not in _readers:
        _readers[name] = _places(name == "RETAINED")
    return _readers[name]
