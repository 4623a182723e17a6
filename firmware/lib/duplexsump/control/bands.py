"""Raw readings into a few discrete bands, with dead band; there is no time in it.

The core never sees a raw analog value.  The same bands serve the board and the
simulator: `convert()` fills an input record from a raw record, `thresholds()`
names the raw values that would next change a band.

Raw currents are at most 200,000 mA, loop currents 25,000 uA, battery 100,000 mV.
"""

from . import settings as s
from .records import (
    BATTERY_DEAD,
    BATTERY_GOOD,
    BATTERY_LOW,
    CURRENT_LOCKED,
    CURRENT_NONE,
    CURRENT_NORMAL,
    CURRENT_OVER,
    CURRENT_UNDER,
    IN_BATTERY,
    IN_CHATTER,
    IN_CONTACTS,
    IN_CURRENT_1,
    IN_CURRENT_2,
    IN_LEVEL,
    IN_MAINS,
    IN_MOVED,
    IN_TRANSMITTER,
    N_INPUTS,
    TRANSMITTER_HIGH,
    TRANSMITTER_LOW,
    TRANSMITTER_OK,
)
from .ticks import const

# NAMUR NE 43: failure at or below 3.6 mA, at or above 21.0 mA; measuring 3.8 to 20.5 mA.
FAIL_LOW_UA = const(3600)
FAIL_HIGH_UA = const(21000)
GOOD_LOW_UA = const(3800)
GOOD_HIGH_UA = const(20500)
STEP_MM = const(10)
STEP_BAND_MM = const(4)  # a level step is left only when this far outside it
MOVED_MM = const(2)
BATTERY_BAND_MV = const(200)
LOWEST = const(-1000000000)
HIGHEST = const(1000000000)

# Places of the analog channels in the record that thresholds() fills.
CHANNELS = (IN_CURRENT_1, IN_CURRENT_2, IN_LEVEL, IN_BATTERY)


class Bands:
    """Bands with the memory that their dead bands need."""

    def __init__(self, settings: list[int]) -> None:
        self.settings = settings
        self.current = [CURRENT_NONE, CURRENT_NONE]
        self.transmitter = TRANSMITTER_OK
        self.step = 0
        self.moved = 0
        self.start_mm = 0
        self.running = 0
        self.battery = BATTERY_GOOD
        self.loaded = 0

    def convert(self, raw: list[int], inputs: list[int], pump_1: int, pump_2: int) -> None:
        """Fill `inputs` from `raw`; `pump_1`, `pump_2` are the outputs now in force (0 or 1)."""
        self._copy(raw, inputs)
        inputs[IN_CONTACTS] = self._contacts(raw[IN_CONTACTS])
        inputs[IN_CHATTER] = 0
        inputs[IN_CURRENT_1] = self._current(0, raw[IN_CURRENT_1])
        inputs[IN_CURRENT_2] = self._current(1, raw[IN_CURRENT_2])
        if self.settings[s.TRANSMITTER]:
            self._level(raw[IN_LEVEL], pump_1 + 2 * pump_2)
        inputs[IN_TRANSMITTER] = self.transmitter
        inputs[IN_LEVEL] = self.step
        inputs[IN_MOVED] = self.moved
        self.loaded = self._on_battery(pump_1, pump_2, raw[IN_MAINS])
        inputs[IN_BATTERY] = self._battery(raw[IN_BATTERY], self.loaded)

    def _copy(self, raw: list[int], inputs: list[int]) -> None:
        for i in range(N_INPUTS):
            inputs[i] = raw[i]

    def _contacts(self, closed: int) -> int:
        # Electrically closed, or open where normally closed: wet.
        return (closed ^ self.settings[s.NORMALLY_CLOSED]) & self.settings[s.FITTED]

    def _edge(self, n: int, band: int) -> int:
        # The lowest current of `band` of pump `n`; one above the last band is never reached.
        st = self.settings
        if band <= CURRENT_NONE:
            return LOWEST
        if band == CURRENT_UNDER:
            return st[s.NO_CURRENT_1_MA + n]
        if band == CURRENT_NORMAL:
            return st[s.UNDERLOAD_1_MA + n]
        if band == CURRENT_OVER:
            return st[s.OVERLOAD_1_MA + n]
        return 3 * st[s.RATED_1_MA + n] if band == CURRENT_LOCKED else HIGHEST

    def _low_edge(self, n: int, band: int) -> int:
        # With the dead band: 5 % below the edge.
        edge = self._edge(n, band)
        return edge - edge // 20 if band else edge

    def _current(self, n: int, milliamps: int) -> int:
        sensing = self.settings[s.SENSING]
        if sensing == s.SENSE_NOTHING:
            return CURRENT_NONE
        if sensing == s.SENSE_FEEDBACK:
            self.current[n] = CURRENT_NORMAL if milliamps else CURRENT_NONE
            return self.current[n]
        band = self.current[n]
        while milliamps >= self._edge(n, band + 1):
            band += 1
        while milliamps < self._low_edge(n, band):
            band -= 1
        self.current[n] = band
        return band

    def level_mm(self, microamps: int) -> int:
        """Return the level in mm above the transmitter's 4 mA point for a loop current."""
        return (microamps - 4000) * self.settings[s.LEVEL_SPAN_MM] // 16000

    def _level(self, microamps: int, running: int) -> None:
        if microamps <= FAIL_LOW_UA:
            self.transmitter = TRANSMITTER_LOW
        elif microamps >= FAIL_HIGH_UA:
            self.transmitter = TRANSMITTER_HIGH
        elif GOOD_LOW_UA <= microamps <= GOOD_HIGH_UA:
            self.transmitter = TRANSMITTER_OK
        if self.transmitter != TRANSMITTER_OK:
            self.running = running
            return
        level = self.level_mm(microamps)
        if level < self.step * STEP_MM - STEP_BAND_MM or level >= (self.step + 1) * STEP_MM + STEP_BAND_MM:
            self.step = level // STEP_MM
        if running & ~self.running:
            self.start_mm = level
            self.moved = 0
        self.running = running
        if not -MOVED_MM <= level - self.start_mm <= MOVED_MM:
            self.moved = 1

    def _on_battery(self, pump_1: int, pump_2: int, mains: int) -> int:
        # Whether a pump that is on hangs on the battery.
        st = self.settings
        for n in range(2):
            on = pump_2 if n else pump_1
            supply = st[s.SUPPLY_2 if n else s.SUPPLY_1]
            if on and (supply == s.BATTERY or (supply == s.EITHER and not mains)):
                return 1
        return 0

    def _low_battery(self, loaded: int) -> int:
        return self.settings[s.BATTERY_LOADED_MV if loaded else s.BATTERY_LOW_MV]

    def _battery(self, millivolts: int, loaded: int) -> int:
        st = self.settings
        if st[s.SUPPLY_1] == s.MAINS and st[s.SUPPLY_2] == s.MAINS:
            return BATTERY_GOOD
        dead = st[s.BATTERY_DEAD_MV]
        low = self._low_battery(loaded)
        if millivolts < dead:
            self.battery = BATTERY_DEAD
        elif millivolts >= low + BATTERY_BAND_MV:
            self.battery = BATTERY_GOOD
        elif self.battery == BATTERY_DEAD and millivolts < dead + BATTERY_BAND_MV:
            pass
        elif millivolts < low or self.battery == BATTERY_DEAD:
            self.battery = BATTERY_LOW
        return self.battery

    def thresholds(self, edges: list[int], pump_1: int, pump_2: int, mains: int) -> None:
        """Fill `edges` with (lowest, first above) of the raw values that leave every band as it is.

        `edges` is a list of 8 integers, two for each of CHANNELS: a band stays
        while edges[2 * i] <= raw < edges[2 * i + 1].
        """
        for n in range(2):
            low, high = LOWEST, HIGHEST
            if self.settings[s.SENSING] == s.SENSE_CURRENT:
                low, high = self._low_edge(n, self.current[n]), self._edge(n, self.current[n] + 1)
            elif self.settings[s.SENSING] == s.SENSE_FEEDBACK:
                low, high = (1, HIGHEST) if self.current[n] else (LOWEST, 1)
            edges[2 * n] = low
            edges[2 * n + 1] = high
        self._level_thresholds(edges)
        self._battery_thresholds(edges, self._on_battery(pump_1, pump_2, mains))

    def _microamps(self, level_mm: int) -> int:
        # The least loop current that reads as level_mm or more.
        return -(-level_mm * 16000 // self.settings[s.LEVEL_SPAN_MM]) + 4000

    def _level_thresholds(self, edges: list[int]) -> None:
        low, high = LOWEST, HIGHEST
        if not self.settings[s.TRANSMITTER]:
            pass
        elif self.transmitter == TRANSMITTER_LOW:
            high = GOOD_LOW_UA
        elif self.transmitter == TRANSMITTER_HIGH:
            low = GOOD_HIGH_UA + 1
        else:
            low = max(FAIL_LOW_UA + 1, self._microamps(self.step * STEP_MM - STEP_BAND_MM))
            high = min(FAIL_HIGH_UA, self._microamps((self.step + 1) * STEP_MM + STEP_BAND_MM))
            if not self.moved:
                low = max(low, self._microamps(self.start_mm - MOVED_MM))
                high = min(high, self._microamps(self.start_mm + MOVED_MM + 1))
        edges[4] = low
        edges[5] = high

    def _battery_thresholds(self, edges: list[int], loaded: int) -> None:
        st = self.settings
        dead = st[s.BATTERY_DEAD_MV]
        low = self._low_battery(loaded)
        if st[s.SUPPLY_1] == s.MAINS and st[s.SUPPLY_2] == s.MAINS:
            edges[6], edges[7] = LOWEST, HIGHEST
        elif self.battery == BATTERY_DEAD:
            edges[6], edges[7] = LOWEST, dead + BATTERY_BAND_MV
        elif self.battery == BATTERY_LOW:
            edges[6], edges[7] = dead, low + BATTERY_BAND_MV
        else:
            edges[6], edges[7] = low, HIGHEST
