"""A part's state as a short string of bytes: what a model checker may hold on to.

Each snapshot field of the core declares its kind.  The canonical form keeps
states and counters as they are, turns every deadline into the time that is
left, and drops clocks and statistics.  Two states with the same form then have
the same future, whatever the clock says.
"""

import struct

from duplexsump.control.pump import Pump
from duplexsump.control.records import CLOCK, DEADLINE, STATISTIC
from duplexsump.control.ticks import MASK, NEVER
from duplexsump.control.timers import NAMES as TIMER_NAMES
from duplexsump.control.timers import Timers

from host_sim.compiled import select

MOST_LEFT = 120  # in units; every coarse timer is far shorter


def look_at(timers, kept):
    """Make `timers` expire only those `kept`: in a state that was just loaded no other is armed.

    The same as `Timers.expire` for these, and several times as quick; a compiled core is quicker still.
    """
    if select.is_compiled():
        return
    kept = tuple(sorted(kept))
    at, rang = timers.at, timers.rang

    def forget():
        timers.any = False
        for i in kept:
            rang[i] = False

    def expire(now):
        timers.now = now
        if timers.any:
            forget()
        for i in kept:
            due = at[i]
            if due >= 0 and (now - due) & MASK < 0x20000000:
                at[i] = NEVER
                rang[i] = timers.any = True

    timers.expire, timers._forget = expire, forget


class Form:
    """Loads and saves the chosen fields of live objects.

    `owners` is a list of (object, keep), `keep` a function of a field's full
    name that tells whether to keep it (None: all).  A field of an owner that is
    not kept is put back, at each load, to what it was when the form was made,
    so nothing leaks from one branch of a search into another.  Every step is taken from
    `base_ms` to `base_ms + tick_ms`; the base lies so that each step crosses the
    wrap of the millisecond clock.  Deadlines count in units of `unit_ms`, and
    so do the counters named in `scaled` or with a name in "_ms".  `extra` more places are left to the
    part's observers.  `work` takes and gives states: the form itself, or a compiled core's carrier.
    A timer in `silent` is kept as not armed once it is due by the next step: nobody asks whether it
    rang, and the next step disarms it before anybody asks whether it is armed, so the two have the same future.
    Raises KeyError on saving a deadline off the unit's grid.
    """

    def __init__(self, owners, tick_ms, unit_ms=None, extra=0, scaled=(), silent=()):
        self.silent = {f"at[{i}]" for i in silent}
        self.tick_ms = tick_ms
        self.unit_ms = unit_ms or tick_ms
        self.base_ms = (MASK + 1 - tick_ms // 2 // 100 * 100) & MASK
        self.now_ms = (self.base_ms + tick_ms) & MASK
        self.names = []
        self.labels = []  # the same for a person: timers by name, pumps by number
        self.values = {}
        self.kept, self.at_rest = [], []  # for a compiled core, as `compiled/carrier.py` takes them
        load, save = [], []
        for which, (owner, keep) in enumerate(owners):
            self.values[f"o{which}"] = owner
            for name, kind, count, _marks in owner.FIELDS:
                self._field(which, name, kind, count, keep, name in scaled or name.endswith("_ms"), load, save)
        self.places = len(self.names)
        self.extra = extra
        self.packer = struct.Struct(f"{self.places + extra}b")
        self._compile(load, save)
        self._said = [0] * extra
        self.work = self
        carrier = select.carrier()
        if carrier is not None:
            self.work = work = carrier([owner for owner, _keep in owners], self.kept, self.at_rest, extra,
                                       (self.base_ms, self.now_ms, self.unit_ms), MOST_LEFT, MASK)  # fmt: skip
            self.take, self.told, self.tell = work.take, work.told, work.tell
            self.load, self.save, self.rest = work.load, work.save, work.rest
            self.save_within, self.save_begun = work.save_within, work.save_begun

    def _field(self, which, name, kind, count, keep, scaled, load, save):
        # One line of the loader and of the saver for each place.
        self._put_back(which, name, count, load)
        if kind in (CLOCK, STATISTIC):
            return
        before = len(self.names)
        for i in range(count or 1):
            full = f"{name}[{i}]" if count else name
            if keep is not None and not keep(full, i):
                continue
            place = len(self.names)
            self.names.append(full)
            self.labels.append(self._label(which, name, full, i))
            how = (3 if full in self.silent else 2) if kind == DEADLINE else int(scaled)
            self.kept.append((which, name, i if count else None, how))
            if kind == DEADLINE:
                load.append(f"o{which}.{full} = AT[v[{place}]]")
                save.append(f"{'SILENT' if full in self.silent else 'LEFT'}[o{which}.{full}]")
            elif scaled:
                load.append(f"o{which}.{full} = v[{place}] * UNIT")
                save.append(f"o{which}.{full} // UNIT")
            else:
                load.append(f"o{which}.{full} = v[{place}]")
                save.append(f"o{which}.{full}")
        if len(self.names) > before and not count:
            self.at_rest[-1] = (*self.at_rest[-1][:3], True)

    def _label(self, which, name, full, i):
        owner = self.values[f"o{which}"]
        if isinstance(owner, Timers) and name == "at":
            return TIMER_NAMES[i]
        return f"pump_{owner.n + 1}.{full}" if isinstance(owner, Pump) else full

    def _put_back(self, which, name, count, load):
        # Kept places are loaded after this, so they win.
        at_rest = getattr(self.values[f"o{which}"], name)
        self.values[f"rest_{which}_{name}"] = list(at_rest) if count else at_rest
        load.append(f"o{which}.{name}{'[:]' if count else ''} = rest_{which}_{name}")
        self.at_rest.append((which, name, self.values[f"rest_{which}_{name}"], False))

    def _compile(self, load, save):
        # AT[-1] is the last entry: a deadline that is not armed.
        at = [(self.base_ms + k * self.unit_ms) & MASK for k in range(MOST_LEFT)] + [NEVER]
        names = {"AT": at, "UNIT": self.unit_ms, **self.values}
        soon = self.tick_ms // self.unit_ms
        text = "def load(v):\n" + "\n".join(f"    {line}" for line in load or ["pass"])
        text += "\ndef rest():\n" + "\n".join(f"    {line}" for line in load if "rest_" in line or not load)
        text += "\n    return None\ndef save(LEFT, SILENT):\n"
        text += "    return (" + ", ".join(save) + ("," if save else "") + ")\n"
        exec(text, names)
        self._load, self._save, self.rest = names["load"], names["save"], names["rest"]
        self._left = [self._left_from(instant) for instant in (self.base_ms, self.now_ms)]
        self._silent = {instant: k if k > soon else -1 for instant, k in self._left[0].items()}
        self._silent_now = {instant: k if k > soon else -1 for instant, k in self._left[1].items()}

    def _left_from(self, instant):
        left = {(instant + k * self.unit_ms) & MASK: k for k in range(MOST_LEFT)}
        left[NEVER] = -1
        return left

    def take(self, state):
        """Put `state` (bytes) into the objects, as of `base_ms`; what the observers said is there by `told()`."""
        v = self.packer.unpack(state)
        self._load(v)
        self._said[:] = v[self.places :]

    def told(self, place):
        """Return what the observer at `place` said in the state that was taken."""
        return self._said[place]

    def tell(self, place, value):
        """Say what the observer at `place` says in the state that is saved next."""
        self._said[place] = value

    def load(self, state):
        """Put `state` (bytes) into the objects, as of `base_ms`; return the observers' places."""
        self.take(state)
        return tuple(self._said)

    def save(self, extra=None):
        """Return the state (bytes) of the objects as of `now_ms`, with the observers' places (default: those told)."""
        return self._packed(self._left[1], self._silent_now, extra)

    def save_within(self, extra=None, over=True):
        """Return the state of the objects as of `base_ms`: for a tick that is taken in parts.

        `over` tells that the tick ends here; before that silent timers are kept as they are.
        """
        left = self._left[0]
        return self._packed(left, self._silent if over else left, extra)

    def save_begun(self, extra=None):
        """Return the state as of `now_ms` with the rest of the tick to come: silent timers are kept as they are."""
        return self._packed(self._left[1], self._left[1], extra)

    def _packed(self, left, silent, extra):
        return self.packer.pack(*self._save(left, silent), *(self._said if extra is None else extra))

    def describe(self, state, extra_names=()):
        """Return the state as a list of (name, value) of every place that is not at rest (0 or not armed)."""
        v = self.packer.unpack(state)
        return [(n, x) for n, x in zip([*self.labels, *extra_names], v, strict=True) if x not in (0, -1)]
