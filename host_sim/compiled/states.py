"""What a search has found, held without an object for each state: `proof/search/found.py` in plain Python.

The states stand one behind the other.  A table of hashes, open to the next free place, tells which are there: half of
an entry is the hash, which says without a look at the state that it is another one, or where the entry goes in a
larger table; the other half is the number of the state.
"""

DECLARED = """
from libc.stdint cimport uint64_t


cdef class States:
    cdef unsigned char* _text  # the states, one behind the other
    cdef size_t* _begins  # where each begins in it; one more for the end
    cdef long long* _came
    cdef uint64_t* _table  # the upper half of a hash, and 1 + the number of the state that has it; 0: free
    cdef size_t count, room, space, mask
    cdef size_t _place(self, const unsigned char* state, size_t size, uint64_t hashed)
    cdef int _grow(self, size_t size) except -1
    cdef int _spread(self) except -1
    cpdef bint add(self, bytes state, long long came) except -1
    cpdef long long came(self, long long place) except? -4611686018427387903
    cpdef bytes at(self, long long place)

"""
STATES = '''

from libc.stdlib cimport realloc


cdef class States:
    """States (bytes) in the order in which they were added, each once, and with each a number: how it came."""

    def __cinit__(self):
        self.mask = 1023
        self._table = <uint64_t*>calloc(self.mask + 1, sizeof(uint64_t))
        if not self._table:
            raise MemoryError()
        self._grow(0)

    def __dealloc__(self):
        free(self._text)
        free(self._begins)
        free(self._came)
        free(self._table)

    cdef int _grow(self, size_t size) except -1:
        # Make room for one more state of `size` bytes.
        cdef void* more
        cdef size_t end = self._begins[self.count] if self.room else 0
        if end + size > self.space:
            self.space = (end + size) // 2 * 3 + 4096
            more = realloc(self._text, self.space)
            if not more:
                raise MemoryError()
            self._text = <unsigned char*>more
        if self.count + 1 >= self.room:
            self.room = self.room // 2 * 3 + 1024
            more = realloc(self._begins, self.room * sizeof(size_t))
            if not more:
                raise MemoryError()
            self._begins = <size_t*>more
            more = realloc(self._came, self.room * sizeof(long long))
            if not more:
                raise MemoryError()
            self._came = <long long*>more
            self._begins[self.count] = end
        return 0

    cdef int _spread(self) except -1:
        # Make the table larger: what stands in it tells where it goes.
        cdef size_t i, k, mask = 2 * self.mask + 1
        cdef uint64_t* table = <uint64_t*>calloc(mask + 1, sizeof(uint64_t))
        if not table:
            raise MemoryError()
        for i in range(self.mask + 1):
            if self._table[i]:
                k = (self._table[i] >> 32) & mask
                while table[k]:
                    k = (k + 1) & mask
                table[k] = self._table[i]
        free(self._table)
        self._table = table
        self.mask = mask
        return 0

    cdef size_t _place(self, const unsigned char* state, size_t size, uint64_t hashed):
        # Where in the table a state stands, or may be put.
        cdef size_t i = hashed & self.mask, number
        while self._table[i]:
            if self._table[i] >> 32 == hashed:
                number = (self._table[i] & 0xFFFFFFFF) - 1
                if self._begins[number + 1] - self._begins[number] == size:
                    if not memcmp(&self._text[self._begins[number]], state, size):
                        break
            i = (i + 1) & self.mask
        return i

    cpdef bint add(self, bytes state, long long came) except -1:
        """Add a state, unless it is there; tell whether it was added."""
        cdef const unsigned char* v = <const unsigned char*>PyBytes_AS_STRING(state)
        cdef size_t size = PyBytes_GET_SIZE(state), at = 0, i
        cdef uint64_t hashed = size, word
        while at < size:
            word = 0
            memcpy(&word, &v[at], min(<size_t>8, size - at))
            hashed = (hashed ^ word) * <uint64_t>0x9E3779B97F4A7C15
            hashed ^= hashed >> 29
            at += 8
        hashed = (hashed * <uint64_t>0xBF58476D1CE4E5B9) >> 32
        i = self._place(v, size, hashed)
        if self._table[i]:
            return False
        if self.count >= 0xFFFFFFFE:
            raise MemoryError("more states than a number of 32 bits tells apart")
        self._grow(size)
        memcpy(&self._text[self._begins[self.count]], v, size)
        self._came[self.count] = came
        self._begins[self.count + 1] = self._begins[self.count] + size
        self.count += 1
        self._table[i] = hashed << 32 | self.count
        if 3 * self.count > 2 * self.mask:
            self._spread()
        return True

    cpdef long long came(self, long long place) except? -4611686018427387903:
        """Return how the state at `place` came."""
        if not 0 <= place < <long long>self.count:
            raise IndexError(place)
        return self._came[place]

    cpdef bytes at(self, long long place):
        """Return the state at `place`."""
        if not 0 <= place < <long long>self.count:
            raise IndexError(place)
        return self._text[self._begins[place] : self._begins[place + 1]]

    def __len__(self):
        return self.count

    def __getitem__(self, place):
        if isinstance(place, slice):
            return [self.at(i) for i in range(*place.indices(self.count))]
        return self.at(place + self.count if place < 0 else place)

'''
