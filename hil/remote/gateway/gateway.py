"""The gateway's core: one reading a second, what changed since the last, what is kept and what is told.

No thread and no clock of its own: `once()` does one pass at the time that `clock()` says.
"""

import sqlite3

from duplexsump.control import alarm_table, alarms
from duplexsump.control import settings as s
from duplexsump.station.registers import CLOCK_AT as CLOCK_REGISTER

from hil.remote import reading as parts
from hil.remote.gateway.catch_up import CatchUp
from host_sim.board.client import RefusedError
from host_sim.errors import InputError

SILENT_S = 5.0  # without a sound reading for so long the board is silent
MINUTE_S = 60.0
DAY_S = 86400.0
CLOCK_OFF_S = 90.0  # the board's clock counts whole minutes; further off than this it is set


class Gateway:
    """`port` is a `port.Port`, `floor` a `floor.Estimator`, `look(book, gateway, now)` works out the daily look.

    `states` holds what now goes out retained: {topic name: (at, fields)}.  `set_clock`: the board gets its time
    from here.
    """

    def __init__(self, port, book, outbox, floor, journal, clock, look=None, set_clock=True, daily_at_s=7 * 3600.0):
        self.port, self.book, self.outbox, self.floor, self.journal = port, book, outbox, floor, journal
        self.clock, self.look, self.set_clock, self.daily_at_s = clock, look, set_clock, daily_at_s
        self.states = {}
        self.reading = None
        self.settings = None
        self.sequence = None
        self.up = None
        self.heard_at = self.since = clock()
        self.began = [None, None]  # when each pump that runs was switched on
        self.alarm_states = book.kept("alarm_states", {})  # by name, so that a new firmware's table may differ
        self.alarm_since = book.standing()
        self.loaded = book.kept("loaded", [None, None])
        self.loading_mv = None
        self.day = book.kept("day")
        self.minute_at = self.kept_minute_at = 0.0
        self.error = ""
        self.waiting = []  # (function, arguments, fields) of what goes to disk at the end of the pass
        self.catch_up = CatchUp(book, outbox)
        journal.on_segment = self._fetched

    def _fetched(self, segment):
        values = self.reading.values
        self.catch_up.segment(segment, (values["rate_1"], values["rate_2"]))

    def once(self):
        """Read the board once and note what follows; raises nothing for a board that does not answer."""
        now = self.clock()
        try:
            reading = self.port.use(lambda client: self._read(client, now))
        except InputError as error:
            self.error = error.problems[0]
            self._unheard(now)
            reading = None
        else:
            self._heard(reading)
        if now - self.minute_at >= MINUTE_S:
            self.minute_at = now
            self._minute(now)
        self._day(now)
        self._keep()
        if reading is not None:
            self.journal.once(self.port, self.book, reading, now)

    def _later(self, work, *values, **fields):
        # What goes to disk waits for the end of the pass: a disk that is full must not keep the rest from being told.
        self.waiting.append((work, values, fields))

    def _keep(self):
        for work, values, fields in self.waiting:
            try:
                work(*values, **fields)
            except sqlite3.Error as error:
                self.error = f"nothing can be kept: {error}"
        self.waiting.clear()

    def put(self, name, at, **fields):
        """Have topic `name` go out where its fields differ from the last."""
        if name not in self.states or self.states[name][1] != fields:
            self.states[name] = (at, fields)

    # A reading, or none.

    def _read(self, client, now):
        reading = parts.take(client, now)
        if self.settings is None or reading.values["settings_sequence"] != self.sequence:
            self.settings = client.settings()
            self.sequence = reading.values["settings_sequence"]
        if self.set_clock and abs(reading.values["clock"] - now) > CLOCK_OFF_S:
            seconds = int(now)
            try:
                client.write_words(CLOCK_REGISTER, [seconds >> 16, seconds & 0xFFFF])
            except RefusedError:
                self.set_clock = False  # this link may only read
        return reading

    def _unheard(self, now):
        if self.up is not False and now - self.heard_at >= SILENT_S:
            self.up, self.since = False, now
            self.began = [None, None]
            self.put("board", now, up=0, since=now, firmware=None, uptime_min=None, reset_cause=None)
            self._later(self.outbox.put, now, "alarm", name="board_silent", event="raised", why=self.error)
            self.settings = None

    def _heard(self, reading):
        now, before = reading.at, self.reading
        if self.up is not True:
            if self.up is False:
                self._later(self.outbox.put, now, "alarm", name="board_silent", event="cleared", why="")
            self.up, self.since = True, now
        self.heard_at, self.reading = now, reading
        self._later(self.catch_up.heard, now)
        if before is not None and reading.values["uptime"] < before.values["uptime"]:
            self._later(
                self.outbox.put, now, "event", name="power-up", why=parts.RESETS[min(2, reading.values["reset_cause"])]
            )
        self._runs(reading)
        self._battery(reading)
        self.put(
            "board", now, **{**parts.board(reading, self.since), "uptime_min": reading.values["uptime"] // 60 * 60}
        )
        self.put("state", now, **parts.state(reading))
        self.put("level", now, **parts.level(reading, self.settings))
        self.put("pumps", now, **parts.pumps(reading))
        self.put("battery", now, **parts.battery(reading, self.settings, *self.loaded))
        self.put("floor", now, **self.floor.look(reading, self.settings))
        self._alarms(reading)  # last: who is told of an alarm then knows the rest

    def _runs(self, reading):
        for n in range(2):
            on = reading.states["outputs"] >> n & 1
            if on and self.began[n] is None:
                self.began[n] = reading.at
            elif not on and self.began[n] is not None:
                self._later(self.book.run, self.began[n], n + 1, reading.at, reading.values[f"rate_{n + 1}"])
                self.began[n] = None

    def _battery(self, reading):
        # The lowest voltage of a run that the battery carries: at the weekly test, or in an outage.
        carried = False
        for n, supply in enumerate((s.SUPPLY_1, s.SUPPLY_2)):
            source = self.settings[supply]
            on = reading.states["outputs"] >> n & 1
            carried |= bool(on) and (source == s.BATTERY or (source == s.EITHER and not reading.states["mains"]))
        if carried:
            mv = reading.values["battery"] // parts.STEP_MV * parts.STEP_MV
            self.loading_mv = mv if self.loading_mv is None else min(mv, self.loading_mv)
        elif self.loading_mv is not None:
            self.loaded, self.loading_mv = [self.loading_mv, reading.at], None
            self._later(self.book.keep, "loaded", self.loaded)

    def _alarms(self, reading):
        told, moved = [], False
        for place, state in enumerate(reading.alarm_states):
            row = alarm_table.TABLE[place]
            name = row[alarm_table.NAME]
            before = self.alarm_states.get(name, alarms.NORMAL)
            if state != before:
                moved = True
                self._moved(name, alarm_table.PRIORITIES[row[alarm_table.PRIORITY]], before, state, reading.at)
            if state != alarms.NORMAL:
                told.append(parts.alarm(place, state, self.alarm_since.get(name, reading.at)))
        if moved:
            self._later(self.book.keep, "alarm_states", self.alarm_states)
        self.put("alarms", reading.at, alarms=told)

    def _moved(self, name, priority, before, state, now):
        was, is_ = before in parts.ACTIVE, state in parts.ACTIVE
        events = []
        if is_ and not was:
            self.alarm_since[name] = now
            self._later(self.book.alarm_began, name, priority, now)
            events.append("raised")
        elif was and not is_:
            self._later(self.book.alarm_moved, name, "ended", now)
            events.append("cleared")
        if before == alarms.UNACKNOWLEDGED and state == alarms.ACKNOWLEDGED:
            self._later(self.book.alarm_moved, name, "acknowledged", now)
            events.append("acknowledged")
        if state == alarms.NORMAL:
            self.alarm_states.pop(name, None)
            self.alarm_since.pop(name, None)
        else:
            self.alarm_states[name] = state
        for event in events:
            self._later(
                self.outbox.put, now, "alarm", name=name, priority=priority, event=event, state=alarms.STATES[state]
            )

    # By the clock.

    def _minute(self, now):
        fields = {name: self.states[name][1] for name in ("state", "pumps", "battery", "floor") if name in self.states}
        standing = [alarm["name"] for alarm in self.states.get("alarms", (0, {"alarms": []}))[1]["alarms"]]
        self._later(self.outbox.put, now, "status", up=1 if self.up else 0, alarms=standing, **fields)
        if not self.up:
            return
        v = self.reading.values
        self._later(
            self.book.minute, at=now, inflow=v["inflow"], battery=v["battery"], mains=self.reading.states["mains"],
            wet=self.reading.states["wet"], starts_1=v["starts_1"], starts_2=v["starts_2"], run_1=v["run_1"],
            run_2=v["run_2"], rate_1=v["rate_1"], rate_2=v["rate_2"], wear_1=v["wear_1"], wear_2=v["wear_2"],
            floor_min=self.states["floor"][1]["at_least_min"], inspection=v["inspection"],
        )  # fmt: skip

    def _day(self, now):
        # Once a day, at the first pass after `daily_at_s` of UTC; again only the next day.
        day = (now - self.daily_at_s) // DAY_S
        if self.look is None or self.up is None or self.day == day:
            return
        self.day = day
        self._later(self.book.keep, "day", day)
        look = self.look(self, now)
        self.put("daily", now, look=look)
        self._later(self.outbox.put, now, "event", name="daily")
