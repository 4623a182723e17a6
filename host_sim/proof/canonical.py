"""A part's state as a short string of bytes: what a model checker may hold on to.

Each snapshot field of the core declares its kind.  The canonical form keeps
states and counters as they are, turns every deadline into the time that is
left, and drops clocks and statistics.  Two states with the same form then have
the same future, whatever the clock says.
"""

import struct

from duplexsump.control.records import CLOCK, DEADLINE, STATISTIC
from duplexsump.control.ticks import MASK, NEVER

MOST_LEFT = 120  # in units; every coarse timer is far shorter


class Form:
    """Loads and saves the chosen fields of live objects.

    `owners` is a list of (object, keep), `keep` a function of a field's full
    name that tells whether to keep it (None: all).  A field of an owner that is
    not kept is put back, at each load, to what it was when the form was made,
    so nothing leaks from one branch of a search into another.  Every step is taken from
    `base_ms` to `base_ms + tick_ms`; the base lies so that each step crosses the
    wrap of the millisecond clock.  Deadlines count in units of `unit_ms`, and
    so do the counters named in `scaled` or with a name in "_ms".  `extra` more places are left to the
    part's observers.  Raises KeyError on saving a deadline off the unit's grid.
    """

    def __init__(self, owners, tick_ms, unit_ms=None, extra=0, scaled=()):
        self.tick_ms = tick_ms
        self.unit_ms = unit_ms or tick_ms
        self.base_ms = (MASK + 1 - tick_ms // 2 // 100 * 100) & MASK
        self.now_ms = (self.base_ms + tick_ms) & MASK
        self.names = []
        self.values = {}
        load, save = [], []
        for which, (owner, keep) in enumerate(owners):
            self.values[f"o{which}"] = owner
            for name, kind, count, _kept in owner.FIELDS:
                self._field(which, name, kind, count, keep, name in scaled or name.endswith("_ms"), load, save)
        self.places = len(self.names)
        self.extra = extra
        self.packer = struct.Struct(f"{self.places + extra}b")
        self._compile(load, save)

    def _field(self, which, name, kind, count, keep, scaled, load, save):
        # One line of the loader and of the saver for each place.
        self._put_back(which, name, count, load)
        if kind in (CLOCK, STATISTIC):
            return
        for i in range(count or 1):
            full = f"{name}[{i}]" if count else name
            if keep is not None and not keep(full, i):
                continue
            place = len(self.names)
            self.names.append(full)
            if kind == DEADLINE:
                load.append(f"o{which}.{full} = AT[v[{place}]]")
                save.append(f"LEFT[o{which}.{full}]")
            elif scaled:
                load.append(f"o{which}.{full} = v[{place}] * UNIT")
                save.append(f"o{which}.{full} // UNIT")
            else:
                load.append(f"o{which}.{full} = v[{place}]")
                save.append(f"o{which}.{full}")

    def _put_back(self, which, name, count, load):
        # Kept places are loaded after this, so they win.
        at_rest = getattr(self.values[f"o{which}"], name)
        self.values[f"rest_{which}_{name}"] = list(at_rest) if count else at_rest
        load.append(f"o{which}.{name}{'[:]' if count else ''} = rest_{which}_{name}")

    def _compile(self, load, save):
        # AT[-1] is the last entry: a deadline that is not armed.
        at = [(self.base_ms + k * self.unit_ms) & MASK for k in range(MOST_LEFT)] + [NEVER]
        left = {(self.now_ms + k * self.unit_ms) & MASK: k for k in range(MOST_LEFT)}
        left[NEVER] = -1
        names = {"AT": at, "LEFT": left, "UNIT": self.unit_ms, **self.values}
        text = "def load(v):\n" + "\n".join(f"    {line}" for line in load or ["pass"])
        text += "\ndef save():\n    return (" + ", ".join(save) + ("," if save else "") + ")\n"
        exec(text, names)
        self._load, self._save = names["load"], names["save"]

    def load(self, state):
        """Put `state` (bytes) into the objects, as of `base_ms`; return the observers' places."""
        v = self.packer.unpack(state)
        self._load(v)
        return v[self.places :]

    def save(self, extra=()):
        """Return the state (bytes) of the objects as of `now_ms`, with the observers' places."""
        return self.packer.pack(*self._save(), *extra)

    def describe(self, state, extra_names=()):
        """Return the state as a list of (name, value) of every place that is not at rest (0 or not armed)."""
        v = self.packer.unpack(state)
        return [(n, x) for n, x in zip([*self.names, *extra_names], v, strict=True) if x not in (0, -1)]
