"""Put both judges beside a run."""

from duplexsump.control import alarms
from duplexsump.control.alarm_table import PRIORITIES

from tests.judge.alarm_judge import AlarmJudge
from tests.judge.pump_judge import PumpJudge


class Judges:
    """The pump judge and the alarm judge of one rig."""

    def __init__(self, rig):
        rows = [(row[0], PRIORITIES[row[1]], bool(row[2])) for row in alarms.TABLE]
        self.pumps = PumpJudge(rig)
        self.alarms = AlarmJudge(rig, rows)

    def check(self):
        """Raise AssertionError with everything that either found wrong."""
        wrong = self.pumps.wrong + self.alarms.wrong
        assert not wrong, "\n".join(wrong[:20])


def watch(rig):
    """Return the judges, attached to a rig that has just been powered up."""
    return Judges(rig)
