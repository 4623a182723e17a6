"""What the gateway keeps of the pit: a line a minute, runs, alarms, inspections, journal segments.  Bounded."""

import json

from hil.remote.database import open_database

DAY_S = 86400.0
KEEP_DAYS = 400.0
KEEP_MINUTES_DAYS = 40.0
MOST_SEGMENTS = 2000  # some 12 kB each
_SCHEMA = """
create table if not exists minute(at real primary key, inflow integer, battery integer, mains integer, wet integer,
    starts_1 integer, starts_2 integer, run_1 integer, run_2 integer, rate_1 integer, rate_2 integer,
    wear_1 integer, wear_2 integer, floor_min integer, inspection integer);
create table if not exists run(began real, pump integer, ended real, rate integer, ml integer,
    primary key(began, pump));
create table if not exists alarm(began real, name text, priority text, ended real, acknowledged real,
    primary key(began, name));
create table if not exists note(at real, kind text, who text, text text);
create table if not exists segment(board text, number integer, life integer, body blob, at real,
    primary key(board, number));
create table if not exists kept(name text primary key, value text);
"""
MINUTE_FIELDS = ("at", "inflow", "battery", "mains", "wet", "starts_1", "starts_2", "run_1", "run_2", "rate_1",
                 "rate_2", "wear_1", "wear_2", "floor_min", "inspection")  # fmt: skip


class Book:
    """One pit's records.  Times are s since 1970-01-01, water in mL, rates and inflow in mL/min."""

    def __init__(self, path):
        self.base = open_database(path, _SCHEMA)
        self.base.execute("pragma synchronous=normal")
        self.tidied = 0.0

    def close(self):
        """Close the database."""
        self.base.close()

    def minute(self, **fields):
        """Keep the line of one minute."""
        marks = ", ".join("?" * len(MINUTE_FIELDS))
        with self.base:
            self.base.execute(
                f"insert or replace into minute values({marks})", [fields[name] for name in MINUTE_FIELDS]
            )
        if fields["at"] - self.tidied > DAY_S:
            self._tidy(fields["at"])

    def minutes(self, begin, end):
        """Return the minutes' lines of a stretch, dictionaries in order."""
        rows = self.base.execute("select * from minute where at >= ? and at < ? order by at", (begin, end))
        return [dict(zip(MINUTE_FIELDS, row, strict=True)) for row in rows]

    def first_minute(self):
        """Return the oldest minute's line, None without one."""
        row = self.base.execute("select * from minute order by at limit 1").fetchone()
        return None if row is None else dict(zip(MINUTE_FIELDS, row, strict=True))

    def last_wet(self):
        """Return when `off` was last wet in the record of minutes, None if never."""
        sql = "select at from minute where wet & 1 order by at desc limit 1"
        row = self.base.execute(sql).fetchone()
        return None if row is None else row[0]

    def run(self, began, pump, ended, rate):
        """Keep one run of a pump at `rate`."""
        ml = round(rate * (ended - began) / 60.0)
        with self.base:
            self.base.execute("insert or replace into run values(?, ?, ?, ?, ?)", (began, pump, ended, rate, ml))

    def runs(self, begin, end):
        """Return [(began, pump, ended, rate, ml)] of the runs that began in a stretch."""
        sql = "select * from run where began >= ? and began < ? order by began"
        return self.base.execute(sql, (begin, end)).fetchall()

    def last_run(self, pump):
        """Return (began, ended) of a pump's last run, None without one."""
        sql = "select began, ended from run where pump = ? order by began desc limit 1"
        return self.base.execute(sql, (pump,)).fetchone()

    def alarm_began(self, name, priority, at):
        """Keep that an alarm began."""
        with self.base:
            self.base.execute("insert or ignore into alarm values(?, ?, ?, null, null)", (at, name, priority))

    def alarm_moved(self, name, column, at):
        """Keep when an alarm that stands `ended` or was `acknowledged` (the column)."""
        assert column in ("ended", "acknowledged")
        sql = f"update alarm set {column} = ? where name = ? and {column} is null"
        with self.base:
            self.base.execute(sql, (at, name))

    def alarms(self, begin, end):
        """Return [(began, name, priority, ended, acknowledged)] of alarms that stood within a stretch."""
        sql = "select * from alarm where began < ? and coalesce(ended, 1e18) >= ? order by began"
        return self.base.execute(sql, (end, begin)).fetchall()

    def standing(self):
        """Return {name: when it began} of the alarms that have not ended."""
        return dict(self.base.execute("select name, min(began) from alarm where ended is null group by name"))

    def note(self, at, kind, who, text):
        """Keep what a person did: kind inspection, silence or clock."""
        with self.base:
            self.base.execute("insert into note values(?, ?, ?, ?)", (at, kind, who[:80], text[:1000]))

    def notes(self, kind):
        """Return [(at, who, text)] of one kind, the latest first, at most 50."""
        sql = "select at, who, text from note where kind = ? order by at desc limit 50"
        return self.base.execute(sql, (kind,)).fetchall()

    def keep(self, name, value):
        """Keep one value (anything JSON) under a name."""
        with self.base:
            self.base.execute("insert or replace into kept values(?, ?)", (name, json.dumps(value)))

    def kept(self, name, otherwise=None):
        """Return a kept value."""
        row = self.base.execute("select value from kept where name = ?", (name,)).fetchone()
        return otherwise if row is None else json.loads(row[0])

    def segment(self, board, number, life, body, at):
        """Keep a journal segment; a longer copy replaces a shorter one."""
        with self.base:
            self.base.execute("insert or replace into segment values(?, ?, ?, ?, ?)", (board, number, life, body, at))

    def segment_sizes(self, board):
        """Return {number: bytes kept} of a board's segments."""
        return dict(self.base.execute("select number, length(body) from segment where board = ?", (board,)))

    def segments(self, board):
        """Return [(number, bytes)] of a board's segments in order."""
        sql = "select number, body from segment where board = ? order by number"
        return self.base.execute(sql, (board,)).fetchall()

    def _tidy(self, now):
        # Bounded: what is old goes once a day.
        self.tidied = now
        with self.base:
            self.base.execute("delete from minute where at < ?", (now - KEEP_MINUTES_DAYS * DAY_S,))
            for table, column in (("run", "began"), ("alarm", "began"), ("note", "at")):
                self.base.execute(f"delete from {table} where {column} < ?", (now - KEEP_DAYS * DAY_S,))
            self.base.execute(
                "delete from segment where rowid not in "
                "(select rowid from segment order by at desc, number desc limit ?)",
                (MOST_SEGMENTS,),
            )
