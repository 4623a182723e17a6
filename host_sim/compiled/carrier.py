"""The explorer's way in and out of compiled parts: whole numbers by place instead of by name.

Every class of the core is a `Part`, and says by `_slots` which of its attributes are whole numbers, truth values
or lists of them, and gives and takes them by number.  The `Carrier` puts a state, a string of bytes, into
such objects and takes it out again; what it does is what `proof/search/canonical.py` does in plain Python.
An attribute that has no slot, as one of a stand-in in plain Python, is reached by its name.
"""

UNLIKELY = "-4611686018427387903"  # what a function of whole numbers returns when it raises

PART = """\
from libc.stdlib cimport calloc, free
from cpython.bytes cimport PyBytes_FromStringAndSize, PyBytes_AS_STRING, PyBytes_GET_SIZE
from cpython.object cimport PyObject

cdef extern from "Python.h":
    PyObject* PyList_GET_ITEM(object items, Py_ssize_t place)


cdef class Part:
    # Holds the marked fields against what they were, from place `at` on; returns the next place.
    cdef int _again(self, long* seen, int at, bint* differs) except -1:
        return at

    cdef int _marked(self) except -1:
        return 0

    # Numbers by slot; see `Carrier`.
    cdef long _slot(self, int slot) except? -4611686018427387903:
        raise IndexError(slot)

    cdef int _to_slot(self, int slot, long value) except -1:
        raise IndexError(slot)

    cdef list _slot_list(self, int slot):
        raise IndexError(slot)

    def _slots(self):
        return {}

"""
# The same as others may know it.
DECLARED = """\
cdef class Part:
    cdef int _again(self, long* seen, int at, bint* differs) except -1
    cdef int _marked(self) except -1
    cdef long _slot(self, int slot) except? -4611686018427387903
    cdef int _to_slot(self, int slot, long value) except -1
    cdef list _slot_list(self, int slot)

"""
CARRIER = '''

cdef struct Place:
    int owner  # its number
    int slot  # in the owner, or -1: by name
    int item  # of a list, or -1
    int kind  # AS_IS ...
    int kept  # of what is put back: a place of the state overwrites it
    long value

cdef enum:
    AS_IS = 0
    IN_UNITS = 1
    ARMED = 2
    SILENT = 3


cdef class Carrier:
    """Puts states into objects and takes them out.

    `owners`: the objects; `places`: (owner, name, item or None, kind); `at_rest`: (owner, name, value, kept) of
    every field as it is put back at each load; `extra`: places of the observers behind those.
    Raises KeyError on saving a deadline off the unit's grid, OverflowError for a number that takes no byte.
    """

    cdef Place* _places
    cdef Place* _rests
    cdef int count, rests, extra
    cdef list owners, names, rest_names, rest_lists, instants
    cdef long base_ms, now_ms, unit_ms, mask, most, soon

    def __init__(self, list owners, list places, list at_rest, int extra, tuple times, int most, long mask):
        self.owners, self.extra, self.count, self.rests = owners, extra, len(places), len(at_rest)
        self.base_ms, self.now_ms, self.unit_ms = times
        self.mask, self.most = mask, most
        self.soon = ((self.now_ms - self.base_ms) & mask) // self.unit_ms
        self._places = <Place*>calloc(self.count + 1, sizeof(Place))
        self._rests = <Place*>calloc(self.rests + 1, sizeof(Place))
        if not self._places or not self._rests:
            raise MemoryError()
        self.names, self.rest_names, self.rest_lists = [], [], []
        self.instants = [(self.base_ms + k * self.unit_ms) & mask for k in range(most)]
        slots = [owner._slots() if isinstance(owner, Part) else {} for owner in owners]
        for i, (owner, name, item, kind) in enumerate(places):
            self._places[i] = Place(owner, slots[owner].get(name, -1), -1 if item is None else item, kind, 0, 0)
            self.names.append(name)
        for i, (owner, name, value, kept) in enumerate(at_rest):
            listed = isinstance(value, list)
            self._rests[i] = Place(owner, slots[owner].get(name, -1), 0 if listed else -1, 0, kept,
                                   0 if listed else int(value))
            self.rest_names.append(name)
            self.rest_lists.append(value if listed else None)

    def __dealloc__(self):
        free(self._places)
        free(self._rests)

    cdef list _list(self, Place* place, str name):
        owner = self.owners[place.owner]
        if place.slot < 0:
            return getattr(owner, name)
        return (<Part>owner)._slot_list(place.slot)

    cdef int _put_back(self, bint everything) except -1:
        cdef int i, k
        cdef Place* place
        cdef list found, kept
        for i in range(self.rests):
            place = &self._rests[i]
            if place.item >= 0:
                found, kept = self._list(place, self.rest_names[i]), self.rest_lists[i]
                if len(found) != len(kept):
                    raise ValueError(f"{self.rest_names[i]}: {len(found)} values, not {len(kept)}")
                for k in range(len(kept)):
                    if PyList_GET_ITEM(found, k) != PyList_GET_ITEM(kept, k):
                        found[k] = kept[k]
            elif everything or not place.kept:
                if place.slot < 0:
                    setattr(self.owners[place.owner], self.rest_names[i], place.value)
                else:
                    (<Part>self.owners[place.owner])._to_slot(place.slot, place.value)
        return 0

    def rest(self):
        """Put everything back as it was when the form was made."""
        self._put_back(True)

    def load(self, bytes state):
        """Put a state in, as of the beginning of a step; return the observers' places as a tuple."""
        cdef const signed char* v = <const signed char*>PyBytes_AS_STRING(state)
        cdef int i, owner = -1, slot = -2
        cdef long value
        cdef Place* place
        cdef list found = None
        cdef object name = None
        if PyBytes_GET_SIZE(state) != self.count + self.extra:
            raise ValueError(f"a state of {len(state)} bytes, not {self.count + self.extra}")
        self._put_back(False)
        for i in range(self.count):
            place, value = &self._places[i], v[i]
            if place.item >= 0:
                if place.owner != owner or place.slot != slot or (slot < 0 and name != self.names[i]):
                    owner, slot, name = place.owner, place.slot, self.names[i]
                    found = self._list(place, name)
                if place.kind >= ARMED:
                    if value >= 0:
                        found[place.item] = self.instants[value]
                    else:
                        found[place.item] = -1
                else:
                    found[place.item] = value * self.unit_ms if place.kind == IN_UNITS else value
                continue
            if place.kind >= ARMED:
                value = self.instants[value] if value >= 0 else -1
            elif place.kind == IN_UNITS:
                value *= self.unit_ms
            if place.slot < 0:
                setattr(self.owners[place.owner], self.names[i], value)
            else:
                (<Part>self.owners[place.owner])._to_slot(place.slot, value)
        if self.extra == 0:
            return ()
        if self.extra == 1:
            return (<long>v[self.count],)
        return tuple([<long>v[self.count + i] for i in range(self.extra)])

    def save(self, extra=()):
        """Return the state as of the end of a step."""
        return self._taken(self.now_ms, True, extra)

    def save_within(self, extra=(), over=True):
        """Return the state as of its beginning; `over`: silent timers that are due count as not armed."""
        return self._taken(self.base_ms, over, extra)

    def save_begun(self, extra=()):
        """Return the state as of its end, silent timers as they are."""
        return self._taken(self.now_ms, False, extra)

    cdef bytes _taken(self, long instant, bint silent, extra):
        cdef bytes state = PyBytes_FromStringAndSize(NULL, self.count + self.extra)
        cdef signed char* v = <signed char*>PyBytes_AS_STRING(state)
        cdef int i, owner = -1, slot = -2
        cdef long value, left
        cdef Place* place
        cdef list found = None
        cdef object name = None
        for i in range(self.count):
            place = &self._places[i]
            if place.item >= 0:
                if place.owner != owner or place.slot != slot or (slot < 0 and name != self.names[i]):
                    owner, slot, name = place.owner, place.slot, self.names[i]
                    found = self._list(place, name)
                value = found[place.item]
            elif place.slot < 0:
                value = getattr(self.owners[place.owner], self.names[i])
            else:
                value = (<Part>self.owners[place.owner])._slot(place.slot)
            if place.kind >= ARMED:
                if value != -1:
                    left = (value - instant) & self.mask
                    value = left // self.unit_ms
                    if value * self.unit_ms != left or value >= self.most:
                        raise KeyError((instant + left) & self.mask)
                    if silent and place.kind == SILENT and value <= self.soon:
                        value = -1
            elif place.kind == IN_UNITS:
                value //= self.unit_ms
            if not -128 <= value <= 127:
                raise OverflowError(f"{self.names[i]} = {value}: a place of a state holds -128 to 127")
            v[i] = <signed char>value
        i = self.count
        if len(extra) != self.extra:
            raise ValueError(f"{len(extra)} observers, not {self.extra}")
        for value in extra:
            if not -128 <= value <= 127:
                raise OverflowError(f"an observer = {value}: a place of a state holds -128 to 127")
            v[i] = <signed char>value
            i += 1
        return state

'''


def slots(first, numbers, lists, base):
    """Return the methods of a class that give and take its attributes by slot, from slot `first` on, as Cython.

    `numbers`, `lists`: (name outside, name inside) of whole numbers and truth values, and of lists of them;
    `base`: the class that knows the slots before.
    """
    if not numbers and not lists:
        return ""
    names = [outer for outer, _inner in (*numbers, *lists)]
    get, put, found = [], [], []
    for slot, (_outer, inner) in enumerate(numbers, start=first):
        get.append(f"        if slot == {slot}:\n            return self.{inner}\n")
        put.append(f"        if slot == {slot}:\n            self.{inner} = value\n            return 0\n")
    for slot, (_outer, inner) in enumerate(lists, start=first + len(numbers)):
        found.append(f"        if slot == {slot}:\n            return self.{inner}\n")
    numbered = {name: slot for slot, name in enumerate(names, start=first)}
    return (
        f"\n    cdef long _slot(self, int slot) except? {UNLIKELY}:\n{''.join(get)}"
        f"        return {base}._slot(self, slot)\n"
        f"\n    cdef int _to_slot(self, int slot, long value) except -1:\n{''.join(put)}"
        f"        return {base}._to_slot(self, slot, value)\n"
        f"\n    cdef list _slot_list(self, int slot):\n{''.join(found)}"
        f"        return {base}._slot_list(self, slot)\n"
        f"\n    def _slots(self):\n        return {{**{base}._slots(self), **{numbered!r}}}\n"
    )  # fmt: skip
