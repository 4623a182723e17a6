"""The plant: pit, pumps, floats, transmitter and supply, as seen at the controller's inputs.

Everything that changes it from outside (outputs, faults, mains, people) does
so at an instant on the 100 ms grid.  In between the water follows its
`trajectory`; `sample()` gives the raw record at a grid instant, `wake()` the first
grid instant at which a raw value may cross a threshold.
"""

from math import inf

from duplexsump.control.records import (
    FAULT_CONVERTER,
    FAULT_EXPANDER,
    IN_BATTERY,
    IN_BOARD,
    IN_CHARGER,
    IN_CONTACTS,
    IN_CURRENT_1,
    IN_CURRENT_2,
    IN_GENERATOR,
    IN_LEVEL,
    IN_MAINS,
    IN_MOISTURE_1,
    IN_MOISTURE_2,
    IN_RESET,
    IN_SELECTOR_1,
    IN_SELECTOR_2,
    IN_SILENCE,
    IN_THERMAL_1,
    IN_THERMAL_2,
    N_INPUTS,
    SELECT_AUTO,
    SELECT_HAND,
    SELECT_OFF,
)
from duplexsump.control.settings import NORMALLY_CLOSED, SENSE_CURRENT, SENSING

from host_sim.plant import battery as batteries
from host_sim.plant import next_event as wake
from host_sim.plant import noise
from host_sim.plant.discharge import lines_of
from host_sim.plant.fault_state import AS_IS, BROKEN, CHATTERING, WET, FaultState
from host_sim.plant.geometry import Pit
from host_sim.plant.mode import TURNING, ModeMaker
from host_sim.plant.next_event import DRIFT_STEP_S, FLICKER_TICKS, LEAST_UA, MOST_UA, TICK_MS
from host_sim.plant.trajectory import Segment, Slots, Trajectory

FLICKER = 0.08  # share by which the current of a pump that draws air fluctuates; common practice, no source
CHATTER_TICKS = 2
SELECTOR_WORDS = {"auto": SELECT_AUTO, "off": SELECT_OFF, "hand": SELECT_HAND}
RECIRCULATION_SLOT_S, STORAGE_SLOT_S, CLOGGED_SLOT_S = 60.0, 30.0, 1.0
BELOW_UA, ABOVE_UA = 0, 22000  # an open loop; a signaled fault
FULL_MV = 33000  # what a board takes for the battery while its converter does not answer
ANALOG = (IN_CURRENT_1, IN_CURRENT_2, IN_LEVEL, IN_BATTERY)


class Plant:
    """One site's plant.  `site` is a `host_sim.site.load.Site`; times are whole milliseconds from the start."""

    pit: Pit
    seed: int
    settings: list
    commands: list
    selectors: list
    mains: bool
    generator: bool
    chattering: bool
    sensing: int
    fitted: list
    wave_m: float
    trip_m: list
    release_m: list
    trip_m3: list
    release_m3: list
    rough_trip_m3: list
    rough_release_m3: list
    wet: list
    ahead: list
    closed: int
    maker: ModeMaker
    trajectory: Trajectory
    frozen_ua: int
    drift_from_s: float
    volume: float
    current: list
    battery_v: float
    opened: tuple
    dead: tuple
    silent: int
    stuck: bool
    held: list

    def __init__(self, site, seed=0):
        self.site = site
        self.pit = site.pit
        self.seed = seed
        self.settings = site.settings
        self.commands = [0, 0]
        self.selectors = ["auto", "auto"]
        self.mains = True
        self.generator = False
        self.silence = self.reset = False
        self.fault_state = FaultState()
        self.wired = None  # the raw record that holds what changes only from outside
        self.opened = (False, False)  # by pump: its thermal contact is held open
        self.dead = (False, False)  # by pump: its current sensor is dead
        self.silent = 0  # parts on the controller's bus that do not answer
        self.stuck = False  # the analog converter reads `held` for good
        self.held = [0] * N_INPUTS
        self.chattering = False
        self.sensing = site.settings[SENSING]
        self.contacts = site.contacts
        self.fitted = [i for i in range(4) if site.contacts[i] is not None]
        self.wave_m = site.wave_m
        trips = [site.contacts[i].wet_m if i in self.fitted else inf for i in range(4)]
        releases = [site.contacts[i].dry_m if i in self.fitted else -inf for i in range(4)]
        self.trip_m, self.release_m = trips, releases
        self.trip_m3 = [self.pit.volume_m3(x) if x < inf else inf for x in trips]
        self.release_m3 = [self.pit.volume_m3(x) if x > -inf else -inf for x in releases]
        # Where waves begin to matter: within their reach below a trip and above a release.
        self.rough_trip_m3 = [self.pit.volume_m3(x - self.wave_m) if x < inf else inf for x in trips]
        self.rough_release_m3 = [self.pit.volume_m3(x + self.wave_m) if x > -inf else -inf for x in releases]
        volume = self.pit.volume_m3(site.start_m)
        self.wet = [site.start_m >= trips[i] for i in range(4)]
        self.closed = 0  # the contacts' word of the last sample
        self.ahead = list(self.wet)  # the floats at a tick that is thought ahead
        lines = lines_of(self.pit, site.pumps, site.discharge)
        self.maker = ModeMaker(site, lines, self)
        self.trajectory = Trajectory(site, volume, self.maker.make)
        self.frozen_ua = 0
        self.drift_from_s = 0.0
        self.volume = volume
        self.current = [0.0, 0.0]
        self.battery_v = 0.0
        self._slot_length()
        self.trajectory.slots.at_s = self.trajectory.slot_s
        self.trajectory.begin()

    # Changes from outside.

    def change(self, now_ms, work):
        """Let `work()` change commands, faults, mains or selectors at an instant."""
        now = now_ms / 1000.0
        self.trajectory.cut(now)
        work()
        self.wired = None
        self._lines()
        self._slot_length()
        self.trajectory.begin()

    def command(self, now_ms: int, pump_1: int, pump_2: int):
        """Set the relays; nothing happens when they are so already."""
        if self.commands[0] != pump_1 or self.commands[1] != pump_2:
            self.trajectory.cut(now_ms / 1000.0)
            self.commands[0], self.commands[1] = pump_1, pump_2
            self.trajectory.begin()

    def set_inflow(self, now_ms, rate_m3s):
        """Let the given flows be one constant flow, m3/s, from an instant on."""
        self.change(now_ms, lambda: self.trajectory.flow_from(now_ms / 1000.0, rate_m3s))

    def press(self, name, pressed):
        """Press or let go a button, "silence" or "reset"."""
        setattr(self, name, pressed)
        self.wired = None

    def set_fault_state(self, now_ms, fault_state):
        """Put another FaultState record in force."""
        old = self.fault_state

        def work():
            self.fault_state = fault_state
            if fault_state.transmitter != old.transmitter:
                if fault_state.transmitter == "frozen":
                    self.frozen_ua = self.loop_ua(now_ms // TICK_MS, self.trajectory.head, old)
                elif fault_state.transmitter == "drifting":
                    self.drift_from_s = now_ms / 1000.0
                elif fault_state.transmitter == "clogged":
                    self._new_slots(now_ms / 1000.0)
            if fault_state.adc_stuck and not old.adc_stuck:
                self._hold(now_ms)

        self.change(now_ms, work)

    def _hold(self, now_ms: int):
        # What the analog channels read when their converter sticks.
        segment = self.trajectory.head
        t = now_ms / 1000.0
        self._currents(now_ms // TICK_MS, segment.volume(t), segment, self.held)
        self.held[IN_LEVEL] = self.loop_ua(now_ms // TICK_MS, segment, self.fault_state)
        if segment.mode.battery is not None:
            self.held[IN_BATTERY] = int(self.volts(segment, t) * 1000.0)

    def _lines(self):
        # A line is followed only while its check is bad; it starts full.
        line = list(self.trajectory.line)
        for n in (0, 1):
            bad = self.fault_state.pumps[n].check in ("leaking", "missing")
            if bad and line[n] is None:
                line[n] = 0.0
            elif not bad:
                line[n] = None
        self.trajectory.line = tuple(line)

    def _slot_length(self):
        lengths = [inf]
        if self.site.discharge.recirculated > 0.0:
            lengths.append(RECIRCULATION_SLOT_S)
        if self.site.seepage is not None and self.site.seepage.storage_m2 > 0.0:
            lengths.append(STORAGE_SLOT_S)
        if self.fault_state.transmitter == "clogged":
            lengths.append(CLOGGED_SLOT_S)
        self.trajectory.slot_s = min(lengths)

    def _new_slots(self, now_s):
        old = self.trajectory.slots
        new = Slots(old.at_s, old.ground_m, self.pit.level_m(self.trajectory.v))
        new.returns, new.marks, new.returning_m3s = old.returns, old.marks, old.returning_m3s
        new.from_s = old.from_s
        if self.trajectory.slot_s == inf:
            new.at_s, new.from_s = now_s, now_s
        self.trajectory.slots = new

    # Readings.

    def level_m(self) -> float:
        """Return the level at the last sample."""
        return self.pit.level_m(self.volume)

    def look(self, now_s: float) -> tuple:
        """Return (level m, inflow m3/s, (current 1, current 2) A, battery V) at a time that never goes back."""
        segment = self.trajectory.at(now_s)
        volume = segment.volume(now_s)
        inflow = segment.back - segment.mode.back + segment.seep[0] + segment.seep[1] * volume
        loads = segment.mode.loads(segment.row, volume)
        currents = (loads[0] * segment.mode.rated_a[0], loads[1] * segment.mode.rated_a[1])
        volts = self.volts(segment, now_s) if segment.mode.battery is not None else 0.0
        return self.pit.level_m(volume), inflow, currents, volts

    def sample(self, now_ms: int, raw: list):
        """Fill a raw record (see `duplexsump.control.records`) with what is there at a grid instant."""
        segment = self.trajectory.at(now_ms / 1000.0)
        volume = segment.volume(now_ms / 1000.0)
        self.volume = volume
        index = now_ms // TICK_MS
        mode = segment.mode
        self._floats(index, volume, segment, self.wet)
        if raw is not self.wired:
            self._wire(raw)
        self.closed = raw[IN_CONTACTS] = self._contacts(index)
        self._currents(index, volume, segment, raw)
        if self.site.transmitter is not None:
            raw[IN_LEVEL] = self.loop_ua(index, segment, self.fault_state)
        raw[IN_CHARGER] = 1 if mode.charging and not self.silent & FAULT_EXPANDER else 0
        if mode.battery is not None:
            self.battery_v = self.volts(segment, now_ms / 1000.0)
            raw[IN_BATTERY] = FULL_MV if self.silent & FAULT_CONVERTER else int(self.battery_v * 1000.0)
        if self.stuck:
            for place in ANALOG:
                raw[place] = self.held[place]
        hot = mode.hot
        raw[IN_THERMAL_1] = 1 if hot[0] or self.opened[0] else 0
        raw[IN_THERMAL_2] = 1 if hot[1] or self.opened[1] else 0

    def _wire(self, raw: list):
        # Inputs that only people or faults change.
        c = self.fault_state
        raw[IN_MAINS] = 1 if self.mains and not c.mains_sense_open else 0
        raw[IN_GENERATOR] = 1 if self.generator and self.mains else 0
        raw[IN_SELECTOR_1] = SELECTOR_WORDS[self.selectors[0]]
        raw[IN_SELECTOR_2] = SELECTOR_WORDS[self.selectors[1]]
        raw[IN_MOISTURE_1] = 1 if c.pumps[0].moisture else 0
        raw[IN_MOISTURE_2] = 1 if c.pumps[1].moisture else 0
        raw[IN_SILENCE] = 1 if self.silence or c.silence_stuck else 0
        raw[IN_RESET] = 1 if self.reset or c.reset_stuck else 0
        self.stuck = c.adc_stuck
        self.silent = (FAULT_EXPANDER if c.expander_silent else 0) | (FAULT_CONVERTER if c.converter_silent else 0)
        raw[IN_BOARD] = self.silent
        if c.expander_silent:
            for place in (IN_GENERATOR, IN_MOISTURE_1, IN_MOISTURE_2, IN_SILENCE, IN_RESET):
                raw[place] = 0
            for place in (IN_SELECTOR_1, IN_SELECTOR_2):
                raw[place] = SELECT_OFF if raw[place] == SELECT_OFF else SELECT_AUTO
        self.opened = (c.pumps[0].thermal_open, c.pumps[1].thermal_open)
        self.dead = (c.pumps[0].sensor_dead, c.pumps[1].sensor_dead)
        self.chattering = any(c.contacts[i] == CHATTERING for i in self.fitted)
        self.wired = raw

    def waves(self, segment: Segment) -> bool:
        """Whether the water is rough in a segment: while something flows."""
        return self.wave_m > 0.0 and (segment.mode.energised or segment.f0 != 0.0)

    def _floats(self, index: int, volume: float, segment: Segment, found: list):
        # Where the floats stand at a grid index, by where they stood at the last sample.
        i: int
        wet = self.wet
        if self.waves(segment):
            level = self.pit.level_m(volume) + noise.wave(self.seed, index, self.wave_m)
            for i in self.fitted:
                found[i] = level > self.release_m[i] if wet[i] else level >= self.trip_m[i]
        else:
            for i in self.fitted:
                found[i] = volume > self.release_m3[i] if wet[i] else volume >= self.trip_m3[i]

    def contacts_turn(self, index: int, volume: float, segment: Segment) -> bool:
        """Return whether a float turns or a contact chatters at a grid index within a segment, were it sampled next."""
        self._floats(index, volume, segment, self.ahead)
        if self.ahead != self.wet:
            return True
        return self.chattering and self._contacts(index) != self.closed

    def _contacts(self, index: int) -> int:
        i: int
        closed = 0
        nc: int = self.settings[NORMALLY_CLOSED]
        states: list = self.fault_state.contacts
        for i in self.fitted:
            state = states[i]
            if state == AS_IS:
                wet = self.wet[i]
            elif state == BROKEN:
                continue
            elif state == CHATTERING:
                wet = noise.mixed(self.seed, index // CHATTER_TICKS, 16 + i) & 1
            else:
                wet = state == WET
            if bool(wet) != bool(nc >> i & 1):
                closed |= 1 << i
        return closed

    def contact_wet(self, i: int, raw_contacts: int) -> bool:
        """Whether contact i reads wet in a raw contacts word."""
        return bool(raw_contacts >> i & 1) != bool(self.settings[NORMALLY_CLOSED] >> i & 1)

    def _currents(self, index: int, volume: float, segment: Segment, raw: list):
        mode = segment.mode
        if not mode.energised:
            self.current[0] = self.current[1] = 0.0
            raw[IN_CURRENT_1] = raw[IN_CURRENT_2] = 0
            return
        loads = mode.loads(segment.row, volume)
        for n in (0, 1):
            amps: float = loads[n] * mode.rated_a[n]
            if mode.states[n] == TURNING and volume < mode.regime.cover_m3[n]:
                amps *= self.flicker_factor(n, index)
            self.current[n] = amps
            place = IN_CURRENT_2 if n else IN_CURRENT_1
            if self.dead[n]:
                raw[place] = 0
            elif self.sensing == SENSE_CURRENT:
                raw[place] = int(amps * self.site.pumps[n].motor.sensor_scale * 1000.0)
            else:
                raw[place] = 1 if mode.live[n] else 0

    def flicker_factor(self, n: int, index: int) -> float:
        """Return by what the current of a pump that draws air is multiplied at a grid index."""
        return 1.0 + FLICKER * noise.uniform(self.seed, index // FLICKER_TICKS, noise.FLICKER + 8 * n)

    def _reading_m(self, segment: Segment, volume: float, t: float) -> float:
        c = self.fault_state
        if c.transmitter == "clogged":
            return segment.slots.reading_m
        level = self.pit.level_m(volume)
        if c.transmitter == "drifting":
            level += self.drift_m(t)
        return level

    def drift_m(self, t: float) -> float:
        """Return how far a drifting transmitter has gone by a time."""
        return self.fault_state.transmitter_value * DRIFT_STEP_S * ((t - self.drift_from_s) // DRIFT_STEP_S)

    def loop_ua(self, index: int, segment: Segment, fault_state) -> int:
        """Return what the transmitter's loop carries at a grid index within a segment, in microamps; 0 without one."""
        word = fault_state.transmitter
        if word == "below range":
            return BELOW_UA
        if word == "above range":
            return ABOVE_UA
        if word == "frozen":
            return self.frozen_ua
        device = self.site.transmitter
        if device is None:
            return 0
        t = index / 10.0
        level = self._reading_m(segment, segment.volume(t), t)
        if device.noise_m > 0.0:
            level += device.noise_m * noise.uniform(self.seed, index, noise.LEVEL)
        return min(MOST_UA, max(LEAST_UA, int(4000.0 + 16000.0 * (level - device.zero_m) / device.span_m)))

    def volts(self, segment: Segment, t: float) -> float:
        """Return the battery's terminal voltage at a time within a segment."""
        if self.fault_state.battery_dead:
            return batteries.DEAD_V
        mode = segment.mode
        depth = min(1.0, max(0.0, segment.depth + segment.depth_rate * (t - segment.t0)))
        if mode.flat:
            depth = 1.0
            wanted = any(self.commands[n] and self.maker.on_battery(n) for n in (0, 1))
            if wanted:  # a charger does not carry a pump: its current is a fraction of the motor's
                return batteries.volts(mode.battery, 1.0, 1.0, 1.0, False)
        return batteries.volts(mode.battery, depth, segment.amps, mode.battery_share, mode.charging)

    def wake(self, now_ms: int, limit_ms: int, edges: list) -> int:
        """Return the first grid instant after now, at most `limit_ms`, at which a raw value may cross one of `edges`.

        `edges` is what `Bands.thresholds()` fills.  Waking early is harmless.
        """
        return wake.next_look(self, now_ms, limit_ms, edges)
