"""The plant: pit, pumps, floats, transmitter and supply, as the controller's wires see them.

Everything that changes it from outside (outputs, faults, mains, people) does
so at an instant on the 100 ms grid.  In between the water follows its
`course`; `sample()` gives the raw record at a grid instant, `wake()` the first
grid instant at which a raw value may come to matter.
"""

from math import inf

from duplexsump.control.bands import HIGHEST, LOWEST
from duplexsump.control.records import (
    IN_BATTERY,
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
    SELECT_AUTO,
    SELECT_HAND,
    SELECT_OFF,
)
from duplexsump.control.settings import NORMALLY_CLOSED, SENSE_CURRENT, SENSING

from . import battery as batteries
from . import noise
from .conditions import AS_IS, BROKEN, CHATTERING, WET, Conditions
from .course import Course, Slots
from .discharge import Lines
from .mode import TURNING, ModeMaker
from .motion import time_to
from .trace import CONTACT_NAMES

TICK_MS = 100
EARLY_S = 1e-6  # a crossing is waited for from so long before its computed instant, against rounding
FLICKER_TICKS = 5  # the current of a pump that draws air changes this often
FLICKER = 0.08  # share by which it does; common practice, no source
CHATTER_TICKS = 2
SELECTOR_WORDS = {"auto": SELECT_AUTO, "off": SELECT_OFF, "hand": SELECT_HAND}
RECIRCULATION_SLOT_S, STORAGE_SLOT_S, CLOGGED_SLOT_S = 60.0, 30.0, 1.0
LEAST_UA, MOST_UA = 3800, 20500  # NAMUR NE 43: a transmitter's measuring range
BELOW_UA, ABOVE_UA = 0, 22000  # an open loop; a signalled fault


class Plant:
    """One site's plant.  `site` is a `host_sim.site.Site`; times are whole milliseconds from the start."""

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
        self.conditions = Conditions()
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
        lines = Lines(self.pit, site.pumps, site.discharge)
        self.maker = ModeMaker(site, lines, self)
        self.course = Course(site, volume, self.maker.make)
        self.frozen_ua = 0
        self.drift_from_s = 0.0
        self.volume = volume
        self.current = [0.0, 0.0]
        self.battery_v = 0.0
        self._slot_length()
        self.course.slots.at_s = self.course.slot_s
        self.course.begin()

    # Changes from outside.

    def change(self, now_ms, work):
        """Let `work()` change commands, conditions, mains or selectors at an instant."""
        now = now_ms / 1000.0
        self.course.cut(now)
        work()
        self._lines()
        self._slot_length()
        self.course.begin()

    def command(self, now_ms, pump_1, pump_2):
        """Set the relays; nothing happens when they are so already."""
        if self.commands[0] != pump_1 or self.commands[1] != pump_2:
            self.course.cut(now_ms / 1000.0)
            self.commands[0], self.commands[1] = pump_1, pump_2
            self.course.begin()

    def set_conditions(self, now_ms, conditions):
        """Put another Conditions record in force."""
        old = self.conditions

        def work():
            self.conditions = conditions
            if conditions.transmitter != old.transmitter:
                if conditions.transmitter == "frozen":
                    self.frozen_ua = self._loop_ua(now_ms // TICK_MS, self.course.head, old)
                elif conditions.transmitter == "drifting":
                    self.drift_from_s = now_ms / 1000.0
                elif conditions.transmitter == "clogged":
                    self._new_slots(now_ms / 1000.0)

        self.change(now_ms, work)

    def _lines(self):
        # A line is followed only while its check is bad; it starts full.
        line = list(self.course.line)
        for n in (0, 1):
            bad = self.conditions.pumps[n].check in ("leaking", "missing")
            if bad and line[n] is None:
                line[n] = 0.0
            elif not bad:
                line[n] = None
        self.course.line = tuple(line)

    def _slot_length(self):
        lengths = [inf]
        if self.site.discharge.recirculated > 0.0:
            lengths.append(RECIRCULATION_SLOT_S)
        if self.site.seepage is not None and self.site.seepage.storage_m2 > 0.0:
            lengths.append(STORAGE_SLOT_S)
        if self.conditions.transmitter == "clogged":
            lengths.append(CLOGGED_SLOT_S)
        self.course.slot_s = min(lengths)

    def _new_slots(self, now_s):
        old = self.course.slots
        new = Slots(old.at_s, old.ground_m, self.pit.level_m(self.course.v))
        new.returns, new.marks, new.returning_m3s = old.returns, old.marks, old.returning_m3s
        new.from_s = old.from_s
        if self.course.slot_s == inf:
            new.at_s, new.from_s = now_s, now_s
        self.course.slots = new

    # What the wires carry.

    def level_m(self):
        """Return the level at the last sample."""
        return self.pit.level_m(self.volume)

    def look(self, now_s):
        """Return (level m, inflow m3/s, (current 1, current 2) A, battery V) at a time that never goes back."""
        piece = self.course.at(now_s)
        volume = piece.volume(now_s)
        inflow = piece.back - piece.mode.back + piece.seep[0] + piece.seep[1] * volume
        loads = piece.mode.loads(piece.row, volume)
        currents = (loads[0] * piece.mode.rated_a[0], loads[1] * piece.mode.rated_a[1])
        volts = self._volts(piece, now_s) if piece.mode.battery is not None else 0.0
        return self.pit.level_m(volume), inflow, currents, volts

    def sample(self, now_ms, raw):
        """Fill a raw record (see `duplexsump.control.records`) with what is there at a grid instant."""
        piece = self.course.at(now_ms / 1000.0)
        volume = piece.volume(now_ms / 1000.0)
        self.volume = volume
        index = now_ms // TICK_MS
        mode, c = piece.mode, self.conditions
        self._floats(index, volume, piece)
        raw[IN_CONTACTS] = self._contacts(index)
        self._currents(index, volume, piece, raw)
        if self.site.transmitter is not None:
            raw[IN_LEVEL] = self._loop_ua(index, piece, c)
        raw[IN_MAINS] = 1 if self.mains else 0
        raw[IN_GENERATOR] = 1 if self.generator and self.mains else 0
        raw[IN_CHARGER] = 1 if mode.charging else 0
        if mode.battery is not None:
            self.battery_v = self._volts(piece, now_ms / 1000.0)
            raw[IN_BATTERY] = int(self.battery_v * 1000.0)
        one, two = c.pumps
        raw[IN_SELECTOR_1] = SELECTOR_WORDS[self.selectors[0]]
        raw[IN_SELECTOR_2] = SELECTOR_WORDS[self.selectors[1]]
        raw[IN_THERMAL_1] = 1 if mode.hot[0] or one.thermal_open else 0
        raw[IN_THERMAL_2] = 1 if mode.hot[1] or two.thermal_open else 0
        raw[IN_MOISTURE_1] = 1 if one.moisture else 0
        raw[IN_MOISTURE_2] = 1 if two.moisture else 0
        raw[IN_SILENCE] = 1 if self.silence or c.silence_stuck else 0
        raw[IN_RESET] = 1 if self.reset or c.reset_stuck else 0

    def _waves(self, piece):
        # The water is rough while something flows.
        return self.wave_m > 0.0 and (piece.mode.energised or piece.f0 != 0.0)

    def _floats(self, index, volume, piece):
        wet = self.wet
        if self._waves(piece):
            level = self.pit.level_m(volume) + noise.wave(self.seed, index, self.wave_m)
            for i in self.fitted:
                wet[i] = level > self.release_m[i] if wet[i] else level >= self.trip_m[i]
        else:
            for i in self.fitted:
                wet[i] = volume > self.release_m3[i] if wet[i] else volume >= self.trip_m3[i]

    def _contacts(self, index):
        closed = 0
        states, nc = self.conditions.contacts, self.settings[NORMALLY_CLOSED]
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

    def contact_wet(self, i, raw_contacts):
        """Whether contact i reads wet in a raw contacts word."""
        return bool(raw_contacts >> i & 1) != bool(self.settings[NORMALLY_CLOSED] >> i & 1)

    def contact_names_wet(self, raw_contacts):
        """Return {name: wet} of the fitted contacts in a raw contacts word."""
        return {CONTACT_NAMES[i]: self.contact_wet(i, raw_contacts) for i in self.fitted}

    def _currents(self, index, volume, piece, raw):
        mode = piece.mode
        if not mode.energised:
            self.current[0] = self.current[1] = 0.0
            raw[IN_CURRENT_1] = raw[IN_CURRENT_2] = 0
            return
        loads = mode.loads(piece.row, volume)
        for n in (0, 1):
            amps = loads[n] * mode.rated_a[n]
            if mode.states[n] == TURNING and volume < mode.regime.cover_m3[n]:
                amps *= self._flicker_factor(n, index)
            self.current[n] = amps
            place = IN_CURRENT_2 if n else IN_CURRENT_1
            if self.conditions.pumps[n].sensor_dead:
                raw[place] = 0
            elif self.sensing == SENSE_CURRENT:
                raw[place] = int(amps * self.site.pumps[n].motor.sensor_scale * 1000.0)
            else:
                raw[place] = 1 if mode.live[n] else 0

    def _flicker_factor(self, n, index):
        return 1.0 + FLICKER * noise.uniform(self.seed, index // FLICKER_TICKS, noise.FLICKER + 8 * n)

    def _reading_m(self, piece, volume, t):
        c = self.conditions
        if c.transmitter == "clogged":
            return piece.slots.reading_m
        level = self.pit.level_m(volume)
        if c.transmitter == "drifting":
            level += c.transmitter_value * 60.0 * ((t - self.drift_from_s) // 60.0)
        return level

    def _loop_ua(self, index, piece, conditions):
        word = conditions.transmitter
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
        level = self._reading_m(piece, piece.volume(t), t)
        if device.noise_m > 0.0:
            level += device.noise_m * noise.uniform(self.seed, index, noise.LEVEL)
        return min(MOST_UA, max(LEAST_UA, int(4000.0 + 16000.0 * (level - device.zero_m) / device.span_m)))

    def _volts(self, piece, t):
        if self.conditions.battery_dead:
            return batteries.DEAD_V
        mode = piece.mode
        depth = min(1.0, max(0.0, piece.depth + piece.depth_rate * (t - piece.t0)))
        if mode.flat:
            depth = 1.0
            wanted = any(self.commands[n] and self.maker._on_battery(n) for n in (0, 1))
            if wanted and not mode.charging:
                return batteries.volts(mode.battery, 1.0, 1.0, 1.0, False)
        return batteries.volts(mode.battery, depth, piece.amps, mode.battery_share, mode.charging)

    # When to look again.

    def wake(self, now_ms, limit_ms, edges):
        """Return the first grid instant after now, at most `limit_ms`, at which a raw value may cross one of `edges`.

        `edges` is what `Bands.thresholds()` fills.  Waking early is harmless.
        """
        now = now_ms / 1000.0
        if self._must_tick(edges, now):
            return min(now_ms + TICK_MS, limit_ms)
        up, down = self._targets(edges, now)
        if self.volume >= up or self.volume <= down:
            return min(now_ms + TICK_MS, limit_ms)
        limit = limit_ms / 1000.0
        course = self.course
        best = self._flicker(now_ms, limit_ms)
        if self.conditions.transmitter == "drifting":
            best = min(best, now + 60.0 - (now - self.drift_from_s) % 60.0)
        i = 0
        piece = course.head
        before = piece.mode
        calm = self.wave_m > 0.0 and not self._waves(piece)
        while piece.t0 < best and piece.t0 < limit:
            mode = piece.mode
            if mode is not before and self._seen(mode, before):
                best = min(best, piece.t0)
                break
            before = mode
            if calm and self._waves(piece):
                best = min(best, piece.t0)
                break
            if piece.f0 > 0.0:
                if piece.v1 >= up:
                    best = min(best, piece.t0 + _crossing(piece, up))
            elif piece.v1 <= down:
                best = min(best, piece.t0 + _crossing(piece, down))
            if mode.energised and self.sensing == SENSE_CURRENT:
                best = min(best, self._current_time(piece, now, edges))
            if mode.battery is not None and (edges[6] > LOWEST or edges[7] < HIGHEST):
                best = min(best, self._battery_time(piece, now, edges))
            if piece.slots is not course.head.slots and self.conditions.transmitter == "clogged":
                best = min(best, piece.t0)
            if piece.t1 >= limit or best <= piece.t1:
                break
            i += 1
            piece = course.after(i)
        if best >= limit:
            return limit_ms
        ticks = -int(-(best - EARLY_S) * 10.0 // 1)
        return min(max(now_ms + TICK_MS, ticks * TICK_MS), limit_ms)

    def _must_tick(self, edges, now):
        # What changes from tick to tick by itself.
        c = self.conditions
        if c.transmitter == "clogged" and self.site.transmitter is not None:
            low, high = self._transmitter_levels(edges, now)
            reading = self.course.head.slots.reading_m
            if reading <= low or reading >= high:
                return True
        return CHATTERING in c.contacts

    def _flicker(self, now_ms, limit_ms):
        # While a turning pump draws air its current changes on a grid of its own.
        mode = self.course.head.mode
        if self.sensing == SENSE_CURRENT and mode.energised:
            for n in (0, 1):
                if mode.states[n] == TURNING and self.volume < mode.regime.cover_m3[n]:
                    step = FLICKER_TICKS * TICK_MS
                    return (now_ms // step + 1) * step / 1000.0
        return inf

    def _targets(self, edges, now):
        # The nearest volumes above and below at which something may be read.
        up, down = inf, -inf
        wet, volume = self.wet, self.volume
        trips, releases = self.trip_m3, self.release_m3
        if self.wave_m > 0.0 and self._waves(self.course.head):
            trips, releases = self.rough_trip_m3, self.rough_release_m3
        for i in self.fitted:
            if wet[i]:
                if releases[i] > down:
                    down = releases[i]
            elif trips[i] < up:
                up = trips[i]
        floor = self.pit.floor_m3
        if volume < floor:
            up = min(up, floor)
        elif volume > floor:
            down = max(down, floor)
        mode = self.course.head.mode
        if mode.energised:
            for cover in mode.regime.cover_m3:
                if down < cover < volume:
                    down = cover
        if self.site.transmitter is not None:
            low, high = self._transmitter_targets(edges, now)
            up, down = min(up, high), max(down, low)
        return up, down

    def _transmitter_levels(self, edges, now):
        # The readings below and above which the noise may carry a value over an edge of its band.
        device, c = self.site.transmitter, self.conditions
        offset = 0.0
        if c.transmitter == "drifting":
            offset = c.transmitter_value * 60.0 * ((now - self.drift_from_s) // 60.0)
        scale = device.span_m / 16000.0
        low, high = -inf, inf
        if edges[4] > LEAST_UA:
            low = device.zero_m + (edges[4] - 4000) * scale - offset + device.noise_m
        if edges[5] <= MOST_UA:
            high = device.zero_m + (edges[5] - 4000) * scale - offset - device.noise_m
        return low, high

    def _transmitter_targets(self, edges, now):
        if self.conditions.transmitter not in (AS_IS, "drifting"):
            return -inf, inf
        low, high = self._transmitter_levels(edges, now)
        return (
            self.pit.volume_m3(low) if low > 0.0 else -inf,
            self.pit.volume_m3(high) if high < inf else inf,
        )

    def _seen(self, mode, before):
        # Whether a change by itself shows on a wire at once.
        return (
            mode.hot != before.hot
            or mode.fixed_load != before.fixed_load
            or mode.states != before.states
            or mode.flat != before.flat
            or mode.charging != before.charging
        )

    def _current_time(self, piece, now, edges):
        # When a motor current next crosses an edge of its band within a piece.
        mode, best = piece.mode, inf
        for n in (0, 1):
            if not mode.live[n] or self.conditions.pumps[n].sensor_dead:
                continue
            scale = mode.rated_a[n] * self.site.pumps[n].motor.sensor_scale * 1000.0
            if mode.states[n] == TURNING and self.volume < mode.regime.cover_m3[n]:
                # The flicker holds until the next look, which comes with its next value.
                scale *= self._flicker_factor(n, round(now * 10.0))
            low, high = edges[2 * n], edges[2 * n + 1]
            fixed = mode.fixed_load[n]
            if fixed is not None:
                if not low <= int(fixed * scale) < high:
                    best = min(best, max(piece.t0, now))
                continue
            a, b = piece.row[4 + 2 * n] * scale, piece.row[5 + 2 * n] * scale
            here = self.volume if piece.t0 <= now else piece.v0
            start, end = a + b * here, a + b * piece.v1
            if low <= start < high and low <= end < high:
                continue
            if not low <= start < high:
                best = min(best, max(now, piece.t0))
                continue
            for edge in (low, high):
                if b and min(start, end) <= edge <= max(start, end):
                    best = min(best, max(now, piece.t0 + _crossing(piece, (edge - a) / b)))
        return best

    def _battery_time(self, piece, now, edges):
        # When the battery's voltage next crosses an edge of its band within a piece.
        low, high = edges[6] / 1000.0, edges[7] / 1000.0
        start = self._volts(piece, max(piece.t0, now))
        if not low <= start < high:
            return max(piece.t0, now)
        if piece.depth_rate == 0.0 or piece.t1 == inf:
            return inf
        end = self._volts(piece, piece.t1)
        if low <= end < high:
            return inf
        edge = low if end < low else high
        return max(now, piece.t0) + (piece.t1 - max(now, piece.t0)) * (edge - start) / (end - start)


def _crossing(piece, volume):
    return time_to(piece.v0, piece.f0, piece.b, volume)

