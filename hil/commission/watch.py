"""The board under the hose test: polled over its link, every change recorded with its time."""

import time

from duplexsump.control import alarm_table
from duplexsump.control import settings as s
from duplexsump.control.records import CONTACT_NAMES
from duplexsump.station import registers as r

from host_sim.errors import InputError

RING = 1 << 30
GAP_S = 3.0  # after a longer gap in polling the time of a change is unknown
LOOK_S = 0.1  # pause between two polls; a poll itself takes some 60 ms on USB
PUMPS = ("pump_1", "pump_2")
SELECTORS = ("auto", "off", "hand")


class WallClock:
    """The computer's monotonic clock."""

    def seconds(self):
        """Return monotonic seconds."""
        return time.monotonic()

    def pause(self, seconds):
        """Let time pass."""
        time.sleep(seconds)


class Board:
    """One board under the hose.  `connect()` gives an identified Client; every call raises InputError where it fails.

    `changes` holds (ms, name, value) of contacts, pumps, horn, mains, restarts
    and gaps in polling, in order; of a running pump `amps` holds
    (ms, pump 0 or 1, what its sensor reports), `battery` (ms, pump, mV).  Times
    are the board's own, going on across its restarts.
    """

    def __init__(self, connect, clock=None):
        self.connect = connect
        self.clock = clock or WallClock()
        self.client = None
        self.changes, self.amps, self.battery = [], [], []
        self.ms, self.ring, self.looked = 0, None, 0.0
        self.values, self.states, self.settings = {}, {}, []
        self.seen = {}

    def open(self):
        """Connect, read the settings, poll once.  Raises InputError."""
        if self.client is None:
            self.client = self.connect()
        self.settings = self.client.settings()
        self.look()

    def close(self):
        """Close the port."""
        if self.client is not None:
            self.client.close()
            self.client = None

    def look(self):
        """Poll the board once."""
        if self.client is None:
            self.client = self.connect()
        self.values = self.client.values()
        self.states = self.client.states()
        self._time(self.values["now"])
        now = self.clock.seconds()
        if now - self.looked > GAP_S:
            self.changes.append((self.ms, "gap", 1))
        self.looked = now
        for name, value in self._facts():
            if self.seen.get(name) != value:
                if name in self.seen:
                    self.changes.append((self.ms, name, value))
                self.seen[name] = value
        for n in (0, 1):
            if self.on(n):
                self.amps.append((self.ms, n, self.values[f"current_{n + 1}"]))
                self.battery.append((self.ms, n, self.values["battery"]))

    def _time(self, ring):
        if self.ring is not None:
            step = (ring - self.ring) % RING
            if step >= RING // 2:  # the board has restarted: its time began anew
                self.changes.append((self.ms, "restart", self.values["reset_cause"]))
                step = ring
            self.ms += step
        self.ring = ring

    def _facts(self):
        for name in CONTACT_NAMES:
            yield name, self.wet(name)
        for n, name in enumerate(PUMPS):
            yield name, self.on(n)
        yield "horn", self.states["outputs"] >> 2 & 1
        yield "mains", self.states["mains"]

    def rest(self):
        """Let a moment pass."""
        self.clock.pause(LOOK_S)

    def quiet_look(self):
        """Poll; return False where the board does not answer, as while its power is cut."""
        try:
            self.look()
        except InputError:
            self.close()
            return False
        return True

    # What it reads.

    def wet(self, name):
        """Return 1 while a contact is wet."""
        return self.states["wet"] >> CONTACT_NAMES.index(name) & 1

    def on(self, n):
        """Return 1 while pump n (0 or 1) is commanded on."""
        return self.states["outputs"] >> n & 1

    def hot(self, n):
        """Return 1 while the thermal contact of pump n (0 or 1) reads open."""
        return self.states["thermal"] >> n & 1

    def running(self):
        """Return the pumps that are on as words."""
        return " and ".join(str(n + 1) for n in (0, 1) if self.on(n)) or "none"

    def selector(self, n):
        """Return the selector position of pump n (0 or 1): "auto", "off" or "hand"."""
        return SELECTORS[self.values[f"selector_{n + 1}"]]

    def setting(self, name):
        """Return a setting of the board by name."""
        return self.settings[[row[s.NAME] for row in s.TABLE].index(name)]

    def fitted(self, name):
        """Return whether a float contact is fitted."""
        return bool(self.setting("fitted") >> CONTACT_NAMES.index(name) & 1)

    def on_battery(self, n):
        """Return whether pump n (0 or 1) can run on a battery."""
        return self.setting(f"supply_{n + 1}") != s.MAINS

    def alarms(self, which="standing"):
        """Return the texts of the alarms that are not normal, or with "active" those whose condition holds."""
        return [row[alarm_table.TEXT] for i, row in enumerate(alarm_table.TABLE) if self.states[which] >> i & 1]

    def alarm(self, name, which="active"):
        """Return whether one alarm, by its name in the table, is active (or standing)."""
        names = [row[alarm_table.NAME] for row in alarm_table.TABLE]
        return bool(self.states[which] >> names.index(name) & 1)

    def forces(self):
        """Return the number of inputs forced over the link."""
        return sum(self.client.bits(r.FORCE_MASK_AT, r.N_FORCES, 1))

    def since(self, ms):
        """Return the changes from a board time on."""
        return [change for change in self.changes if change[0] >= ms]

    def command(self, name):
        """Give a command over the link, such as "silence", "reset" or "inspected"."""
        names = [row[0] for row in r.COMMANDS]
        bits = [0] * len(names)
        bits[names.index(name)] = 1
        self.client.write_bits(0, bits)

    def reload(self):
        """Read the settings again."""
        self.settings = self.client.settings()

    def line(self):
        """Return floats, pumps, selectors and mains as one line."""
        water = ", ".join(f"{name} {'WET' if self.wet(name) else 'dry'}" for name in CONTACT_NAMES if self.known(name))
        mains = "" if self.states["mains"] else ", mains out"
        return f"{water}; pump on: {self.running()}; selectors {self.selector(0)}, {self.selector(1)}{mains}"

    def known(self, name):
        """Return whether a contact is fitted as a float or derived from the transmitter."""
        return self.fitted(name) or bool(self.setting("transmitter") and name != "high")
