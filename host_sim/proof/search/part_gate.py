"""Part (b): the gate under arbitrary commands.  I1, I2, I7, and S4 and the battery limit with them."""

from itertools import product

from duplexsump.control import settings as s
from duplexsump.control import timers as tm
from duplexsump.control.gate import Gate
from duplexsump.control.records import HIGH, LAG, LEAD
from duplexsump.control.timers import Timers

from host_sim.proof.search import coarse
from host_sim.proof.search.canonical import Form

_TIMERS = {*range(tm.BOOT, tm.SPACING + 1), *range(tm.REST, tm.REST_FLOOD + 2)}
# (lead and lag believed wet and high reading wet, contacts that read wet): every class the gate can tell apart.
_LEVELS = (0, LEAD, LAG, LEAD | LAG, HIGH, LEAD | LAG | HIGH)
_FEW_LEVELS = (0, LEAD, LAG, HIGH)
POWER_UP = ("power up",)


class GatePart:
    """The real gate.  A move is (want, barred, on_battery, first, level, generator), or a power-up.

    Observers: ticks off of each pump, ticks the spacing must still hold, ticks
    since power-up; all saturate.
    """

    name = "gate"
    title = "the gate under arbitrary commands"
    invariants = ("I1", "I2", "I7", "S4", "A4")
    observers = ("off_1", "off_2", "spacing_left", "since_boot")
    timers: Timers
    work: Form
    gate: Gate

    def __init__(self, world, every=True):
        self.settings = coarse.values(world)
        self.timers = Timers()
        self.gate = Gate(self.settings, self.timers)
        self.form = Form([(self.gate, None), (self.timers, lambda name, i: i in _TIMERS)], coarse.TICK_MS, extra=4)
        self.work = self.form.work
        if every:
            self.moves = list(product(range(4), range(4), range(4), range(2), _LEVELS, range(2)))
        else:
            # `on_battery` decides nothing unless both pumps are on it, and not while one is barred.
            self.moves = list(product(range(4), (0,), (0, 3), range(2), _FEW_LEVELS, range(2)))
            self.moves += list(product((1, 2, 3), (1, 2, 3), (0,), (0,), _FEW_LEVELS, (0,)))
        self.moves.append(POWER_UP)
        ms = self.settings
        self.rests = [ms[i] // coarse.TICK_MS for i in (s.MIN_OFF_MS, s.LAG_MIN_OFF_MS, s.FLOOD_MIN_OFF_MS)]
        self.hold = coarse.ticks(world, "boot_hold")
        self.spacing = [ms[i] // coarse.TICK_MS for i in (s.START_SPACING_MS, s.GENERATOR_SPACING_MS)]

    def start(self):
        """One state: just powered up."""
        self.timers.at[:] = [-1] * tm.N_TIMERS
        self.timers.expire(self.work.now_ms)
        self.gate.begin()
        return [self.work.save((0, 0, 0, 0))]

    def step(self, state: bytes, move: tuple):
        """One tick of the real gate, and what the invariants say of it."""
        off_1, off_2, spacing, boot = self.work.load(state)
        gate: Gate = self.gate
        was: int = gate.out
        self.timers.expire(self.work.now_ms)
        off = [min(off_1 + 1, self.rests[0]), min(off_2 + 1, self.rests[0])]
        spacing, boot = max(0, spacing - 1), min(boot + 1, self.hold)
        if move is POWER_UP:
            gate.begin()
            return self.work.save((0, 0, spacing, 0)), None
        want, barred, on_battery, first, contacts, generator = move
        gate.barred, gate.on_battery, gate.first = barred, on_battery, first
        gate.contacts, gate.generator = contacts, generator
        out: int = gate.step(want)
        breach = self._judge(move, was, out, off, spacing, boot)
        for n in range(2):
            if out & (1 << n) or was & (1 << n):
                off[n] = 0
        if out & ~was:
            spacing = self.spacing[generator]
        return self.work.save((*off, spacing, boot)), breach

    def _judge(self, move, was, out, off, spacing, boot):
        want, barred, on_battery, _first, contacts, _generator = move
        started = out & ~was
        if out & barred:
            return "I2", f"outputs {out} with pumps {barred} barred"
        if out & ~want:
            return "S3", f"outputs {out}, only {want} asked for"
        if out == 3 and on_battery == 3:
            return "A4", "two pumps on the battery, battery_pumps = 1"
        if started == 3 or (started and spacing):
            return "I7", f"pumps {started} started {spacing} ticks too early after another start"
        flood = contacts & HIGH or (contacts & LAG and not was & out)
        lag = contacts & LAG or (contacts & LEAD and not was & out)
        rest = self.rests[2 if flood else 1 if lag else 0]
        for n in range(2):
            if started & (1 << n) and off[n] < rest:
                return "I1", f"pump {n + 1} started after {off[n]} ticks of rest, {rest} are asked for"
        if started and boot < self.hold:
            return "S4", f"pumps {started} started {boot} ticks after power-up"
        return None

    def liveness(self):
        """Return (claim, moves, waiting) for the search for loops: asked for for ever, a pump comes on."""
        for bit, name in ((1, "pump 1"), (2, "pump 2")):
            moves = [m for m in self.moves if m is not POWER_UP and m[0] & bit and not m[1] and m[2] != 3]
            place = self.form.names.index("out")
            yield f"{name}, asked for and not barred, starts", moves, lambda st, b=bit, p=place: not st[p] & b

    def show(self, move):
        """Say a move in words."""
        if move is POWER_UP:
            return "power up"
        want, barred, battery, first, contacts, generator = move
        return (f"want={want} barred={barred} on_battery={battery} first={first} contacts={contacts} "
                f"generator={generator}")

    def describe(self, state):
        """Return what is not at rest in a state."""
        return self.form.describe(state, self.observers)
