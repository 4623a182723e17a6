"""Where a fleet is kept: SQLite (WAL) by default, PostgreSQL behind the same schema for several machines."""

import contextlib
import sqlite3
from pathlib import Path
from urllib.parse import urlsplit

from host_sim.errors import InputError

SILENT_S = 180.0  # three statuses missed
SCHEMA = """
create table if not exists now_(pit text primary key, heard real, gateway_up integer, board_up integer, alarms text,
    worst integer, pumps_out integer, floor_min integer, inflow integer, rate integer, battery integer, mains integer);
create table if not exists status(pit text, box text, n integer, at real, up integer, inflow integer, rate_1 integer,
    rate_2 integer, starts_1 integer, starts_2 integer, run_1 integer, run_2 integer, floor_min integer,
    battery integer, mains integer, alarms text, primary key(pit, box, n));
create table if not exists record(pit text, box text, n integer, at real, kind text, body text,
    primary key(pit, box, n));
create index if not exists status_at on status(pit, at);
create index if not exists record_at on record(pit, at);
"""
NOW_FIELDS = ("pit", "heard", "gateway_up", "board_up", "alarms", "worst", "pumps_out", "floor_min", "inflow", "rate",
              "battery", "mains")  # fmt: skip
STATUS_FIELDS = ("pit", "box", "n", "at", "up", "inflow", "rate_1", "rate_2", "starts_1", "starts_2", "run_1", "run_2",
                 "floor_min", "battery", "mains", "alarms")  # fmt: skip
RECORD_FIELDS = ("pit", "box", "n", "at", "kind", "body")
# Silent first, then the shortest time to floor, inflow over the pump's rate, pumps out, the lowest battery.
RANKING = """
select case when ? - heard > ? or gateway_up = 0 or board_up = 0 then 1 else 0 end as silent, {fields}
from now_ order by silent desc, case when floor_min is null then 1 else 0 end, floor_min,
    cast(inflow as real) / case when rate > 0 then rate else 1000000000 end desc, pumps_out desc,
    case when battery is null then 1 else 0 end, battery, pit limit ?
""".format(fields=", ".join(NOW_FIELDS))


class Store:
    """`where`: the path of an SQLite file, or `postgresql://user@host/name` (password: PGPASSWORD or ~/.pgpass).

    Raises InputError where it cannot be opened.
    """

    def __init__(self, where):
        self.where = str(where)
        self.postgres = self.where.startswith(("postgresql://", "postgres://"))
        self.base = self._open_postgres() if self.postgres else self._open_sqlite()
        if self.postgres:
            schema = SCHEMA.replace(" real", " double precision").replace(" integer", " bigint")
        else:
            schema = SCHEMA.replace("primary key(pit, box, n))", "primary key(pit, box, n)) without rowid")
        for statement in filter(str.strip, schema.split(";")):
            self._run(statement)
        self.base.commit()

    def _open_sqlite(self):
        try:
            Path(self.where).parent.mkdir(parents=True, exist_ok=True)
            base = sqlite3.connect(self.where, check_same_thread=False, timeout=30.0)
            base.execute("pragma journal_mode=wal")
            base.execute("pragma synchronous=full")
        except (sqlite3.Error, OSError) as error:
            raise InputError(f"this database cannot be used: {error}", self.where) from error
        self.errors = (sqlite3.Error,)
        return base

    def _open_postgres(self):
        parts = urlsplit(self.where)
        if parts.password:
            raise InputError("no password on the command line: set PGPASSWORD, or use ~/.pgpass", "--store")
        try:
            import psycopg
        except ImportError as error:
            raise InputError('psycopg is missing: python -m pip install "sumpbench[fleet]"', "--store") from error
        self.errors = (psycopg.Error,)
        try:
            return psycopg.connect(self.where, connect_timeout=10)
        except psycopg.Error as error:
            raise InputError(f"this database cannot be used: {error}", f"{parts.hostname}{parts.path}") from error

    def _run(self, sql, values=()):
        return self.base.execute(sql.replace("?", "%s") if self.postgres else sql, values)

    def _many(self, sql, rows):
        if self.postgres:
            with self.base.cursor() as cursor:
                cursor.executemany(sql.replace("?", "%s"), rows)
        else:
            self.base.executemany(sql, rows)

    def close(self):
        """Close the connection."""
        self.base.close()

    def put(self, now_rows, status_rows, record_rows, ups=()):
        """Store rows in one transaction: `now_rows` replace; a known (pit, box, n) is dropped.  Raises InputError."""
        try:
            if ups:
                self._ups(ups)
            if now_rows:
                names = ", ".join(NOW_FIELDS)
                sets = ", ".join(f"{name} = coalesce(excluded.{name}, now_.{name})" for name in NOW_FIELDS[1:4])
                sets += ", " + ", ".join(f"{name} = excluded.{name}" for name in NOW_FIELDS[4:])
                into = f"insert into now_({names}) values({_marks(NOW_FIELDS)})"
                self._many(f"{into} on conflict(pit) do update set {sets}",
                           now_rows)  # fmt: skip
            for table, fields, rows in (("status", STATUS_FIELDS, status_rows), ("record", RECORD_FIELDS, record_rows)):
                if rows:
                    self._many(
                        f"insert into {table}({', '.join(fields)}) values({_marks(fields)}) on conflict do nothing",
                        rows,
                    )
            self.base.commit()
        except self.errors as error:
            with contextlib.suppress(*self.errors):
                self.base.rollback()
            raise InputError(f"cannot be written: {error}", self.where.rpartition("@")[2]) from error

    def _ups(self, rows):
        # [(pit, heard, gateway_up or None, board_up or None)]; None leaves what is known.
        self._many(
            "insert into now_(pit, heard, gateway_up, board_up) values(?, ?, ?, ?) on conflict(pit) do update set "
            "heard = excluded.heard, gateway_up = coalesce(excluded.gateway_up, now_.gateway_up), "
            "board_up = coalesce(excluded.board_up, now_.board_up)", rows)  # fmt: skip

    def ranking(self, now, most=100):
        """Return the pits in the order in which they need somebody, dictionaries with `silent` and NOW_FIELDS."""
        rows = self._run(RANKING, (now, SILENT_S, most)).fetchall()
        self.base.rollback()
        return [dict(zip(("silent", *NOW_FIELDS), row, strict=True)) for row in rows]

    def statuses(self, pit, begin, end):
        """Return a pit's statuses of a stretch, dictionaries in order."""
        sql = f"select {', '.join(STATUS_FIELDS)} from status where pit = ? and at >= ? and at < ? order by at"
        rows = self._run(sql, (pit, begin, end)).fetchall()
        self.base.rollback()
        return [dict(zip(STATUS_FIELDS, row, strict=True)) for row in rows]

    def records(self, pit, begin, end):
        """Return a pit's other records of a stretch, dictionaries in order."""
        sql = (
            f"select {', '.join(RECORD_FIELDS)} from record where pit = ? and at >= ? and at < ? order by at limit 1000"
        )
        rows = self._run(sql, (pit, begin, end)).fetchall()
        self.base.rollback()
        return [dict(zip(RECORD_FIELDS, row, strict=True)) for row in rows]

    def all_statuses(self, begin, end):
        """Yield every pit's statuses of a stretch as tuples of STATUS_FIELDS, in order of pit and time."""
        sql = f"select {', '.join(STATUS_FIELDS)} from status where at >= ? and at < ? order by pit, at"
        cursor = self._run(sql, (begin, end))
        while rows := cursor.fetchmany(20000):
            yield rows
        self.base.rollback()

    def count(self):
        """Return (statuses, records)."""
        found = tuple(self._run(f"select count(*) from {name}").fetchone()[0] for name in ("status", "record"))
        self.base.rollback()
        return found

    def purge(self, before):
        """Remove statuses from before a time; records of alarms and events stay."""
        self._run("delete from status where at < ?", (before,))
        self.base.commit()


def _marks(fields):
    return ", ".join("?" * len(fields))
