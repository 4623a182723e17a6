"""The outbox: numbered records on disk until the broker, or the readers that were named, have them.

SQLite with full synchronization: what was put in survives a kill and a power cut.  Bounded: when it is full the
oldest status record goes first, then the oldest event, alarms last.  Numbers are never used twice.
"""

import json
import secrets
import sqlite3

from hil.remote import topics
from hil.remote.database import open_database

STATUS, EVENT, ALARM = range(3)  # the order in which they are given up
RANKS = {"status": STATUS, "event": EVENT, "gap": EVENT, "alarm": ALARM}
MOST_RECORDS = 50000  # a status record a minute for a month
MOST_BYTES = 24_000_000
RESEND_S = 30.0  # a record whose receipt has not come by then is sent again
_SCHEMA = """
create table if not exists meta(name text primary key, value text);
create table if not exists waiting(
    n integer primary key autoincrement, rank integer, kind text, at real, body text, sent_at real, receipts text);
create index if not exists by_rank on waiting(rank, n);
"""


class Outbox:
    """`readers`: names whose receipts are awaited; without any the broker's acknowledgement is enough."""

    def __init__(self, path, most_records=MOST_RECORDS, most_bytes=MOST_BYTES, readers=()):
        self.base = open_database(path, _SCHEMA)
        self.most_records, self.most_bytes, self.readers = most_records, most_bytes, frozenset(readers)
        row = self.base.execute("select value from meta where name = 'id'").fetchone()
        self.id = row[0] if row else secrets.token_hex(6)
        with self.base:
            self.base.execute("insert or ignore into meta values('id', ?)", (self.id,))
            self.base.execute("update waiting set sent_at = null")
        self.count, self.bytes = self.base.execute(
            "select count(*), coalesce(sum(length(body)), 0) from waiting"
        ).fetchone()
        self.next = 0  # no record below this number waits to be sent
        self.under_way = set()  # handed to the connection, not yet acknowledged

    def close(self):
        """Close the database."""
        self.base.close()

    def put(self, at, kind, **fields):
        """Add one record of `kind`, on disk before this returns."""
        self.put_all([(at, kind, fields)])

    def put_all(self, records):
        """Add records (at, kind, fields) in one transaction.  A full disk raises sqlite3.Error and changes nothing."""
        before = self.count, self.bytes
        try:
            with self.base:
                for at, kind, fields in records:
                    self._insert(at, kind, fields)
                self._bound(records[-1][0] if records else 0.0)
        except sqlite3.Error:
            self.count, self.bytes = before
            raise

    def _insert(self, at, kind, fields):
        body = json.dumps(fields, separators=(",", ":"), allow_nan=False)
        self.base.execute("insert into waiting(rank, kind, at, body) values(?, ?, ?, ?)", (RANKS[kind], kind, at, body))
        self.count += 1
        self.bytes += len(body)

    def _bound(self, at):
        # Give up a hundredth at once, and say so in a record that outlasts status.
        if self.count <= self.most_records and self.bytes <= self.most_bytes:
            return
        lost, first, last = 0, None, None
        while self.count > self.most_records * 99 // 100 or self.bytes > self.most_bytes * 99 // 100:
            n, size = self.base.execute("select n, length(body) from waiting order by rank, n limit 1").fetchone()
            self.base.execute("delete from waiting where n = ?", (n,))
            self.count, self.bytes, lost = self.count - 1, self.bytes - size, lost + 1
            first, last = min(n, first or n), max(n, last or n)
        self._insert(at, "gap", self._merge_gaps({"lost": lost, "first": first, "last": last}))

    def _merge_gaps(self, gap):
        # One gap waits at a time: a new one takes in those that have not gone.
        rows = self.base.execute("select n, body from waiting where kind = 'gap' and sent_at is null").fetchall()
        rows = [(n, json.loads(body)) for n, body in rows if n not in self.under_way]
        self._delete([n for n, _ in rows])
        for _, old in rows:
            gap = {"lost": gap["lost"] + old["lost"], "first": min(gap["first"], old["first"]),
                   "last": max(gap["last"], old["last"])}  # fmt: skip
        return gap

    def take(self, most):
        """Return up to `most` records not sent yet, as (n, payload), in order, and count them as under way."""
        rows = self.base.execute(
            "select n, kind, at, body from waiting where n >= ? and sent_at is null order by n limit ?",
            (self.next, most),
        ).fetchall()
        if rows:
            self.next = rows[-1][0] + 1
        rows = [row for row in rows if row[0] not in self.under_way]
        self.under_way.update(row[0] for row in rows)
        return [(n, topics.pack(at, **json.loads(body), id=self.id, n=n, kind=kind)) for n, kind, at, body in rows]

    def again(self):
        """Count everything that has not arrived as not sent: after a loss of the connection's own memory."""
        self.next = 0
        self.under_way.clear()
        with self.base:
            self.base.execute("update waiting set sent_at = null")

    def arrived(self, numbers, at):
        """Note that the broker has these; they go, or wait for the receipts of the readers."""
        if not numbers:
            return
        self.under_way.difference_update(numbers)
        with self.base:
            if self.readers:
                self.base.executemany("update waiting set sent_at = ? where n = ?", [(at, n) for n in numbers])
            else:
                self._delete(numbers)

    def receipt(self, reader, box, numbers):
        """Note that `reader` has stored these numbers of outbox `box`; anything else is passed over."""
        if box != self.id or reader not in self.readers or not isinstance(numbers, list):
            return
        full = []
        with self.base:
            for n in numbers[:500]:
                if type(n) is not int or not 0 < n < 1 << 62:
                    continue
                row = self.base.execute(
                    "select receipts from waiting where n = ? and sent_at is not null", (n,)
                ).fetchone()
                if row is None:
                    continue
                have = {*filter(None, (row[0] or "").split(",")), reader}
                if have >= self.readers:
                    full.append(n)
                else:
                    self.base.execute("update waiting set receipts = ? where n = ?", (",".join(sorted(have)), n))
            self._delete(full)

    def overdue(self, at):
        """Count what was sent long ago without a receipt as not sent."""
        if not self.readers:
            return
        with self.base:
            changed = self.base.execute(
                "update waiting set sent_at = null where sent_at < ?", (at - RESEND_S,)
            ).rowcount
        if changed:
            self.next = 0

    def _delete(self, numbers):
        for n in numbers:
            row = self.base.execute("delete from waiting where n = ? returning length(body)", (n,)).fetchone()
            if row is not None:
                self.count, self.bytes = self.count - 1, self.bytes - row[0]
