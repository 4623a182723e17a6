"""Delivers messages: kept on disk until they went, a worker for each person, so a hung service holds up nobody else.

A message that did not go is tried again after 5 s, 15 s, 1 min, then every 5 min for a day.  One that has been tried
in vain is dropped for a newer one of the same pit, which says all that it said.  After a crash in mid-sending a message
may come twice: better than not at all.  With a full disk messages wait in memory, and go.
"""

import sqlite3
import threading
import time
from collections import deque

from hil.remote.database import open_database
from host_sim.errors import InputError

RETRY_S = (5.0, 15.0, 60.0, 300.0)
GIVE_UP_S = 86400.0
KEEP_S = 90 * 86400.0
MOST_UNKEPT = 100  # of each person
FULL_S = 60.0  # between two tries to one person while the disk is full
SCHEMA = """
create table if not exists message(id integer primary key, who text, pit text, title text, body text, at real,
    tries integer, next_at real, sent_at real, fate text);
create index if not exists waiting on message(who, fate, next_at);
create table if not exists kept(pit text primary key, body text);
create table if not exists acknowledged(pit text, who text, at real);
"""


def apprise_send(url, title, body):
    """Send one message by an Apprise URL; return whether it went.  Takes as long as the service takes."""
    import apprise

    to = apprise.Apprise()
    return bool(to.add(url)) and bool(to.notify(title=title, body=body, body_format=apprise.NotifyFormat.TEXT))


def check_urls(people):
    """Raise InputError for a URL that Apprise cannot use, naming the person and not the URL, which is a secret."""
    try:
        import apprise
    except ImportError as error:
        raise InputError('apprise is missing: python -m pip install "sumpbench[remote]"', "watchman") from error
    bad = [person.who for person in people if not apprise.Apprise().add(person.url)]
    if bad:
        raise InputError([f"{who}: Apprise cannot use this URL; see its list of services" for who in bad], "watchman")


class Delivery:
    """`put(who, pit, title, body, now)`; `start()` begins a worker a person; `send(url, title, body)` sends."""

    def __init__(self, path, people, send=apprise_send, clock=time.time, poll_s=0.2):
        self.base = open_database(path, SCHEMA)
        self.lock = threading.Lock()
        self.people, self.send, self.clock, self.poll_s = people, send, clock, poll_s
        self.stop = threading.Event()
        self.errors = {}
        self.unkept = {person.who: deque(maxlen=MOST_UNKEPT) for person in people}  # (title, body) of a full disk
        self.later = {}  # who: not before, while the disk is full and the service refuses
        self.went = {}  # number: when; sent, and not yet noted on disk

    def put(self, who, pit, title, body, now):
        """Keep one message until it went."""
        try:
            self._put(who, pit, title, body, now)
        except sqlite3.Error:
            self.unkept[who].append((title, body))

    def _put(self, who, pit, title, body, now):
        with self.lock, self.base:
            self.base.execute(
                "update message set fate = 'superseded' where who = ? and pit = ? and fate is null and tries > 0",
                (who, pit),
            )
            self.base.execute(
                "insert into message(who, pit, title, body, at, tries, next_at) values(?, ?, ?, ?, ?, 0, ?)",
                (who, pit, title, body, now, now),
            )
            self.base.execute("delete from message where at < ?", (now - KEEP_S,))

    def start(self):
        """Begin to send."""
        for person in self.people:
            threading.Thread(target=self._work, args=(person,), name=f"tell {person.who}", daemon=True).start()

    def close(self):
        """Stop sending; a worker in a hung service is left behind."""
        self.stop.set()
        with self.lock:
            self.base.close()

    def _work(self, person):
        while not self.stop.wait(self.poll_s):
            self.send_next(person)

    def send_next(self, person):
        """Try the next message that is due for a person; return whether there was one."""
        if self.clock() < self.later.get(person.who, 0.0):
            return False
        try:
            self._note_went()
            with self.lock:
                row = None if self.stop.is_set() else self._due(person.who)
            if row is not None:
                self._try(person, *row)
                return True
        except sqlite3.Error as error:
            self.errors[person.who] = str(error)
            if not self.went:  # it did not go, and the disk cannot keep when to try again
                self.later[person.who] = self.clock() + FULL_S
        return self._send_unkept(person)

    def _due(self, who):
        rows = self.base.execute(
            "select id, title, body, tries, at from message where who = ? and fate is null and next_at <= ? "
            "order by id", (who, self.clock()))  # fmt: skip
        return next((row for row in rows if row[0] not in self.went), None)

    def _try(self, person, number, title, body, tries, at):
        went = self._send(person, title, body)
        now = self.clock()
        if went:
            with self.lock:
                self.went[number] = now  # a disk that is full must not have it sent again
            self._note_went()
            return
        fate = "given up" if now - at > GIVE_UP_S else None
        wait_s = RETRY_S[min(tries, len(RETRY_S) - 1)]
        with self.lock:
            if not self.stop.is_set():
                with self.base:
                    self.base.execute(
                        "update message set fate = coalesce(fate, ?), tries = tries + 1, next_at = ? where id = ?",
                        (fate, now + wait_s, number))  # fmt: skip

    def _note_went(self):
        with self.lock:
            if self.went and not self.stop.is_set():
                with self.base:
                    self.base.executemany(
                        "update message set fate = 'sent', tries = tries + 1, sent_at = ? where id = ?",
                        [(at, number) for number, at in self.went.items()])  # fmt: skip
                self.went.clear()

    def _send(self, person, title, body):
        try:
            return bool(self.send(person.url, title, body))
        except Exception as error:  # a service's library may raise anything: the next try, and the others, go on
            self.errors[person.who] = type(error).__name__
            return False

    def _send_unkept(self, person):
        waiting = self.unkept[person.who]
        if not waiting:
            return False
        if self._send(person, *waiting[0]):
            waiting.popleft()
        else:
            self.later[person.who] = self.clock() + FULL_S
        return True

    # What outlives a restart.

    def keep(self, pit, body):
        """Keep a pit's state, a JSON text; return whether the disk took it."""
        try:
            with self.lock, self.base:
                self.base.execute("insert or replace into kept values(?, ?)", (pit, body))
        except sqlite3.Error:
            return False
        return True

    def kept(self, pit):
        """Return a pit's kept state, None without one."""
        with self.lock:
            row = self.base.execute("select body from kept where pit = ?", (pit,)).fetchone()
        return row[0] if row else None

    def acknowledged(self):
        """Return and remove [(pit, who)] of what people have acknowledged by command."""
        try:
            with self.lock, self.base:
                rows = self.base.execute("select pit, who from acknowledged").fetchall()
                if rows:
                    self.base.execute("delete from acknowledged")
        except sqlite3.Error:
            return []
        return rows

    def told(self):
        """Return [(at, who, pit, title, fate, sent at)] of every message kept, in order."""
        with self.lock:
            return self.base.execute("select at, who, pit, title, fate, sent_at from message order by id").fetchall()
