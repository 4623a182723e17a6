"""The explorer's way in and out of compiled parts: whole numbers by address instead of by name.

Every class of the core is a `Part`, and says by `_slots` which of its attributes are whole numbers, truth values
or lists of them, and by `_slot_address` and `_slot_list` where they lie.  The `Carrier` puts a state, a string of
bytes, into such objects and takes it out again; what it does is what `proof/search/canonical.py` does in plain Python.
An attribute that has no slot, as one of a stand-in in plain Python, is reached by its name.

`Ints` is a list of whole numbers whose length is fixed, held as numbers of C (`hooks.ARRAYS`).
"""

UNLIKELY = "-4611686018427387903"  # what a function of whole numbers returns when it raises
LONG, TRUTH, LIST, ARRAY = range(4)  # what a slot holds

PART = """\
from libc.stdlib cimport calloc, free
from cpython.bytes cimport PyBytes_FromStringAndSize, PyBytes_AS_STRING, PyBytes_GET_SIZE
from libc.string cimport memcmp, memcpy

cdef extern from "Python.h":
    ctypedef struct CList "PyListObject":
        void** ob_item


cdef class Ints:
    # A list of whole numbers whose length is fixed.
    def __cinit__(self, values):
        cdef Py_ssize_t i
        self.count = len(values)
        self.v = <long*>calloc(self.count + 1, sizeof(long))
        if not self.v:
            raise MemoryError()
        for i in range(self.count):
            self.v[i] = values[i]

    def __dealloc__(self):
        free(self.v)

    def __len__(self):
        return self.count

    def __getitem__(self, place):
        return list(self)[place] if isinstance(place, slice) else ints_get(self, place)

    def __setitem__(self, place, value):
        cdef Py_ssize_t i
        if not isinstance(place, slice):
            ints_put(self, place, value)
            return
        values = list(self)
        values[place] = value
        if len(values) != self.count:
            raise ValueError(f"{len(values)} values for a list of {self.count}")
        for i in range(self.count):
            self.v[i] = values[i]

    def __iter__(self):
        cdef Py_ssize_t i
        return iter([self.v[i] for i in range(self.count)])

    def __eq__(self, other):
        cdef Py_ssize_t i
        if not isinstance(other, list):
            return list(self) == (list(other) if isinstance(other, Ints) else other)
        if len(<list>other) != self.count:
            return False
        for i in range(self.count):
            if self.v[i] != <long>(<list>other)[i]:
                return False
        return True

    def __repr__(self):
        return repr(list(self))

    def __reduce__(self):
        return Ints, (list(self),)


cdef class Part:
    # Holds the marked fields against what they were, from place `at` on; returns the next place.
    cdef int _again(self, long* seen, int at, bint* differs) except -1:
        return at

    cdef int _marked(self) except -1:
        return 0

    # Where the number or the truth value of a slot lies; its list or its array; {name: (slot, what it holds)}.
    cdef void* _slot_address(self, int slot) except NULL:
        raise IndexError(slot)

    cdef object _slot_list(self, int slot):
        raise IndexError(slot)

    def _slots(self):
        return {}

"""
# The same as others may know it.
DECLARED = """\
cdef class Ints:
    cdef long* v
    cdef Py_ssize_t count


cdef inline Py_ssize_t ints_place(Ints a, Py_ssize_t i) except -1:
    if i < -a.count or i >= a.count:
        raise IndexError("list index out of range")
    return i + a.count if i < 0 else i


cdef inline long ints_get(Ints a, Py_ssize_t i) except? -4611686018427387903:
    return a.v[i] if 0 <= i < a.count else a.v[ints_place(a, i)]


cdef inline int ints_put(Ints a, Py_ssize_t i, long value) except -1:
    if 0 <= i < a.count:
        a.v[i] = value
    else:
        a.v[ints_place(a, i)] = value
    return 0


cdef struct Place:
    long* wide  # a whole number, of its own or of an array
    bint* narrow  # a truth value
    int number  # of its list or of its owner by name, in `held`
    int item  # of a list, or -1
    int kind  # AS_IS ...
    long value
    long* means  # what each byte stands for: [128 + byte]


cdef class Part:
    cdef int _again(self, long* seen, int at, bint* differs) except -1
    cdef int _marked(self) except -1
    cdef void* _slot_address(self, int slot) except NULL
    cdef object _slot_list(self, int slot)


cdef class Carrier:
    cdef Place* _places
    cdef Place* _rests
    cdef long* _means
    cdef long* _extra
    cdef int count, rests, loose, extra  # `loose` of what is put back are overwritten by no place of the state
    cdef list names, rest_names, held, rest_held, lists, lists_rest, arrays, arrays_rest, instants
    cdef readonly long base_ms, now_ms
    cdef long unit_ms, mask, most, soon
    cdef int _find(self, Place* place, owner, str name, item, list held) except -1
    cdef int _put_back(self, bint everything) except -1
    cdef int _by_name(self, Place* place, int i, long value) except -1
    cdef bytes _taken(self, long instant, bint silent, extra)
    cpdef int take(self, bytes state) except -1
    cpdef long told(self, int place) except? -4611686018427387903
    cpdef int tell(self, int place, long value) except -1
    cpdef tuple load(self, bytes state)
    cpdef bytes save(self, extra=*)
    cpdef bytes save_within(self, extra=*, bint over=*)
    cpdef bytes save_begun(self, extra=*)


"""
CARRIER = '''

cdef enum:
    AS_IS = 0
    IN_UNITS = 1
    ARMED = 2
    SILENT = 3

cdef long NOTHING = -4611686018427387903  # what a byte stands for that stands for no instant


cdef class Carrier:
    """Puts states into objects and takes them out.

    `owners`: the objects; `places`: (owner, name, item or None, kind); `at_rest`: (owner, name, value, kept) of
    every field as it is put back at each load; `extra`: places of the observers behind those.
    A list of the core stays the list that it was: the firmware makes none while it runs.
    Raises KeyError on saving a deadline off the unit's grid, OverflowError for a number that takes no byte.
    """

    def __cinit__(self, list owners, list places, list at_rest, int extra, tuple times, int most, long mask):
        cdef int i, k
        self.extra, self.count = extra, len(places)
        self.base_ms, self.now_ms, self.unit_ms = times
        self.mask, self.most = mask, most
        self.soon = ((self.now_ms - self.base_ms) & mask) // self.unit_ms
        self._places = <Place*>calloc(self.count + 1, sizeof(Place))
        self._rests = <Place*>calloc(len(at_rest) + 1, sizeof(Place))
        self._means = <long*>calloc(3 * 256, sizeof(long))
        self._extra = <long*>calloc(extra + 1, sizeof(long))
        if not self._places or not self._rests or not self._means or not self._extra:
            raise MemoryError()
        self.instants = [(self.base_ms + k * self.unit_ms) & mask for k in range(most)]
        for k in range(-128, 128):
            self._means[128 + k] = k
            self._means[384 + k] = k * self.unit_ms
            self._means[640 + k] = -1 if k < 0 else self.instants[k] if k < most else NOTHING
        self.names, self.rest_names, self.held, self.rest_held = [], [], [], []
        self.lists, self.lists_rest, self.arrays, self.arrays_rest = [], [], [], []
        for i, (owner, name, item, kind) in enumerate(places):
            self._places[i].kind = kind
            self._places[i].means = self._means + 128 + 256 * min(<int>kind, <int>ARMED)
            self._find(&self._places[i], owners[owner], name, item, self.held)
            self.names.append(name)
        for owner, name, value, kept in sorted(at_rest, key=kept_last):
            if isinstance(value, list):
                found = getattr(owners[owner], name)
                arrayed = isinstance(found, Ints)
                (self.arrays if arrayed else self.lists).append(found)
                (self.arrays_rest if arrayed else self.lists_rest).append(Ints(value) if arrayed else list(value))
                continue
            self._find(&self._rests[self.rests], owners[owner], name, None, self.rest_held)
            self._rests[self.rests].value = value
            self.rest_names.append(name)
            self.rests += 1
            if not kept:
                self.loose = self.rests

    def __dealloc__(self):
        free(self._places)
        free(self._rests)
        free(self._means)
        free(self._extra)

    cdef int _find(self, Place* place, owner, str name, item, list held) except -1:
        # Where a field lies: an address, an item of a list, or an owner that is asked by name.
        cdef Ints array
        slot, kind = owner._slots().get(name, (-1, 0)) if isinstance(owner, Part) else (-1, 0)
        place.item = -1
        if slot >= 0 and kind == 0:
            place.wide = <long*>(<Part>owner)._slot_address(slot)
        elif slot >= 0 and kind == 1:
            place.narrow = <bint*>(<Part>owner)._slot_address(slot)
        elif slot >= 0 and kind == 3:
            array = (<Part>owner)._slot_list(slot)
            if not 0 <= item < array.count:
                raise IndexError(item)
            place.wide = array.v + <int>item
        # Whoever is pointed into is held.
        place.number = len(held)
        held.append(owner if item is None else getattr(owner, name))
        if item is not None and not place.wide:
            place.item = item
            if not 0 <= item < len(held[place.number]):
                raise IndexError(item)
        return 0

    cdef int _put_back(self, bint everything) except -1:
        cdef int i, k
        cdef Place* place
        cdef list found, kept
        cdef Ints array, rest
        for i in range(self.rests if everything else self.loose):
            place = &self._rests[i]
            if place.wide:
                place.wide[0] = place.value
            elif place.narrow:
                place.narrow[0] = place.value
            else:
                setattr(self.rest_held[place.number], self.rest_names[i], place.value)
        for i in range(len(self.arrays)):
            array, rest = <Ints>self.arrays[i], <Ints>self.arrays_rest[i]
            memcpy(array.v, rest.v, array.count * sizeof(long))
        for i in range(len(self.lists)):
            found, kept = <list>self.lists[i], <list>self.lists_rest[i]
            if len(found) != len(kept):
                raise ValueError(f"{len(found)} values, not {len(kept)}")
            if memcmp((<CList*>found).ob_item, (<CList*>kept).ob_item, len(kept) * sizeof(void*)):
                for k in range(len(kept)):
                    if (<CList*>found).ob_item[k] != (<CList*>kept).ob_item[k]:
                        found[k] = kept[k]
        return 0

    def rest(self):
        """Put everything back as it was when the form was made."""
        self._put_back(True)

    cpdef int take(self, bytes state) except -1:
        """Put a state in, as of the beginning of a step; what the observers said is there by `told()`."""
        cdef const signed char* v = <const signed char*>PyBytes_AS_STRING(state)
        cdef int i
        cdef long value
        cdef Place* place
        if PyBytes_GET_SIZE(state) != self.count + self.extra:
            raise ValueError(f"a state of {len(state)} bytes, not {self.count + self.extra}")
        self._put_back(False)
        for i in range(self.count):
            place = &self._places[i]
            value = place.means[v[i]]
            if value == NOTHING:
                raise IndexError(v[i])
            if place.wide:
                place.wide[0] = value
            elif place.narrow:
                place.narrow[0] = value
            else:
                self._by_name(place, i, value)
        for i in range(self.extra):
            self._extra[i] = v[self.count + i]
        return 0

    cdef int _by_name(self, Place* place, int i, long value) except -1:
        if place.item >= 0:
            (<list>self.held[place.number])[place.item] = value
        else:
            setattr(self.held[place.number], self.names[i], value)
        return 0

    cpdef long told(self, int place) except? -4611686018427387903:
        """Return what an observer said in the state that was taken."""
        if not 0 <= place < self.extra:
            raise IndexError(place)
        return self._extra[place]

    cpdef int tell(self, int place, long value) except -1:
        """Say what an observer says in the state that is saved next."""
        if not 0 <= place < self.extra:
            raise IndexError(place)
        self._extra[place] = value
        return 0

    cpdef tuple load(self, bytes state):
        """Put a state in, as of the beginning of a step; return the observers' places as a tuple."""
        cdef int i
        self.take(state)
        if self.extra == 0:
            return ()
        if self.extra == 1:
            return (self._extra[0],)
        return tuple([self._extra[i] for i in range(self.extra)])

    cpdef bytes save(self, extra=None):
        """Return the state as of the end of a step; `extra`: the observers' places, those told where left out."""
        return self._taken(self.now_ms, True, extra)

    cpdef bytes save_within(self, extra=None, bint over=True):
        """Return the state as of its beginning; `over`: silent timers that are due count as not armed."""
        return self._taken(self.base_ms, over, extra)

    cpdef bytes save_begun(self, extra=None):
        """Return the state as of its end, silent timers as they are."""
        return self._taken(self.now_ms, False, extra)

    cdef bytes _taken(self, long instant, bint silent, extra):
        cdef bytes state = PyBytes_FromStringAndSize(NULL, self.count + self.extra)
        cdef signed char* v = <signed char*>PyBytes_AS_STRING(state)
        cdef int i
        cdef long value
        cdef unsigned int left, units, unit = <unsigned int>self.unit_ms
        cdef Place* place
        for i in range(self.count):
            place = &self._places[i]
            if place.wide:
                value = place.wide[0]
            elif place.narrow:
                value = place.narrow[0]
            elif place.item >= 0:
                value = (<list>self.held[place.number])[place.item]
            else:
                value = getattr(self.held[place.number], self.names[i])
            if place.kind == AS_IS:
                pass
            elif place.kind >= ARMED:
                if value != -1:
                    left = <unsigned int>((value - instant) & self.mask)
                    units = left // unit
                    if units * unit != left or units >= self.most:
                        raise KeyError((instant + left) & self.mask)
                    value = units
                    if silent and place.kind == SILENT and value <= self.soon:
                        value = -1
            else:
                value //= self.unit_ms
            if not -128 <= value <= 127:
                raise OverflowError(f"{self.names[i]} = {value}: a place of a state holds -128 to 127")
            v[i] = <signed char>value
        i = 0
        if extra is not None:
            if len(extra) != self.extra:
                raise ValueError(f"{len(extra)} observers, not {self.extra}")
            for said in extra:
                self._extra[i] = said
                i += 1
        for i in range(self.extra):
            value = self._extra[i]
            if not -128 <= value <= 127:
                raise OverflowError(f"an observer = {value}: a place of a state holds -128 to 127")
            v[self.count + i] = <signed char>value
        return state


def kept_last(row):
    return bool(row[3])


'''


def slots(first, numbers, lists, base):
    """Return the methods of a class that say where its attributes lie, from slot `first` on, as Cython.

    `numbers`, `lists`: (name outside, name inside, what it holds) of whole numbers and truth values, and of lists
    of them; `base`: the class that knows the slots before.
    """
    if not numbers and not lists:
        return ""
    address, held, found = [], [], {}
    for slot, (outer, inner, kind) in enumerate((*numbers, *lists), start=first):
        found[outer] = slot, kind
        if kind in (LONG, TRUTH):
            address.append(f"        if slot == {slot}:\n            return <void*>&self.{inner}\n")
        else:
            held.append(f"        if slot == {slot}:\n            return self.{inner}\n")
    return (
        f"\n    cdef void* _slot_address(self, int slot) except NULL:\n{''.join(address)}"
        f"        return {base}._slot_address(self, slot)\n"
        f"\n    cdef object _slot_list(self, int slot):\n{''.join(held)}"
        f"        return {base}._slot_list(self, slot)\n"
        f"\n    def _slots(self):\n        return {{**{base}._slots(self), **{found!r}}}\n"
    )
