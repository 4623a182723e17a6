"""Delivers messages: kept on disk until they went, a worker for each person, so a hung service holds up nobody else.

A message that did not go is tried again after 5 s, 15 s, 1 min, then every 5 min for a day.  One that has been tried
in vain is dropped for a newer one of the same pit, which says all that it said.  After a crash in mid-sending a message
may come twice: better than not at all.
"""

import threading
import time

from hil.remote.database import open_database
from host_sim.errors import InputError

RETRY_S = (5.0, 15.0, 60.0, 300.0)
GIVE_UP_S = 86400.0
KEEP_S = 90 * 86400.0
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

    def put(self, who, pit, title, body, now):
        """Keep one message until it went."""
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
        with self.lock:
            if self.stop.is_set():
                return False
            row = self.base.execute(
                "select id, title, body, tries, at from message where who = ? and fate is null and next_at <= ? "
                "order by id limit 1", (person.who, self.clock())).fetchone()  # fmt: skip
        if row is None:
            return False
        number, title, body, tries, at = row
        try:
            went = self.send(person.url, title, body)
        except Exception as error:  # a service's library may raise anything: the next try, and the others, go on
            went = False
            self.errors[person.who] = type(error).__name__
        now = self.clock()
        fate = "sent" if went else "given up" if now - at > GIVE_UP_S else None
        wait_s = RETRY_S[min(tries, len(RETRY_S) - 1)]
        with self.lock:
            if not self.stop.is_set():
                with self.base:
                    self.base.execute(
                        "update message set fate = coalesce(fate, ?), tries = tries + 1, next_at = ?, sent_at = ? "
                        "where id = ?",
                        (fate, now + wait_s, now if went else None, number))  # fmt: skip
                    if went:
                        self.base.execute("update message set fate = 'sent' where id = ?", (number,))
        return True

    # What outlives a restart.

    def keep(self, pit, body):
        """Keep a pit's state, a JSON text."""
        with self.lock, self.base:
            self.base.execute("insert or replace into kept values(?, ?)", (pit, body))

    def kept(self, pit):
        """Return a pit's kept state, None without one."""
        with self.lock:
            row = self.base.execute("select body from kept where pit = ?", (pit,)).fetchone()
        return row[0] if row else None

    def acknowledged(self):
        """Return and remove [(pit, who)] of what people have acknowledged by command."""
        with self.lock, self.base:
            rows = self.base.execute("select pit, who from acknowledged").fetchall()
            if rows:
                self.base.execute("delete from acknowledged")
        return rows

    def told(self):
        """Return [(at, who, pit, title, fate, sent at)] of every message kept, in order."""
        with self.lock:
            return self.base.execute("select at, who, pit, title, fate, sent_at from message order by id").fetchall()
