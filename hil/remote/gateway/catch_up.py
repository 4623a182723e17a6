"""What happened while nobody looked: runs, and alarms that came and went, from the journal segments fetched afterward.

A time without readings of over BLIND_S is noted; what a segment dates into it is kept, each alarm goes out once, marked
late.  An alarm that still stands needs nothing of this: the first reading tells it.
"""

from duplexsump.control import alarm_table

from host_sim.board import history

BLIND_S = 120.0
MOST = 20  # times that are remembered
_PRIORITY = {row[alarm_table.NAME]: alarm_table.PRIORITIES[row[alarm_table.PRIORITY]] for row in alarm_table.TABLE}


class CatchUp:
    """`heard(at)` at each reading; `segment(segment, rates)` for each `readback.Segment` fetched."""

    def __init__(self, book, outbox):
        self.book, self.outbox = book, outbox
        self.last = book.kept("heard")
        self.kept_at = 0.0
        self.blind = []

    def heard(self, at):
        """Note a reading, and the blind time before it where there was one."""
        if self.last is not None and at - self.last > BLIND_S:
            self.blind = [*self.blind, (self.last, at)][-MOST:]
        self.last = at
        if at - self.kept_at >= 60.0:
            self.kept_at = at
            self.book.keep("heard", at)

    def segment(self, segment, rates):
        """Keep what the segment tells of blind times; `rates` are those of pumps 1, 2 now, mL/min."""
        if not self.blind:
            return
        raised = {}
        for happening in history.happenings([segment]):
            if happening.at is None or not self._missed(happening.at):
                continue
            if happening.kind == "run":
                self.book.run(happening.at, happening.pump, happening.at + happening.lasts_s, rates[happening.pump - 1])
            elif happening.kind == "alarm":
                raised[happening.name] = happening.at
            elif happening.kind == "cleared" and happening.name in raised:
                self._tell(happening.name, raised.pop(happening.name), happening.at)

    def _missed(self, at):
        return any(begin < at < end for begin, end in self.blind)

    def _tell(self, name, began, ended):
        # A segment that was open is read again: a minute of slack, for its clock counts whole minutes.
        if any(row[1] == name and abs(row[0] - began) < 90.0 for row in self.book.alarms(began - 1.0, ended + 1.0)):
            return
        self.book.alarm_began(name, _PRIORITY[name], began)
        self.book.alarm_moved(name, "ended", ended)
        for event, at in (("raised", began), ("cleared", ended)):
            self.outbox.put(at, "alarm", name=name, priority=_PRIORITY[name], event=event, state="", late=1)
