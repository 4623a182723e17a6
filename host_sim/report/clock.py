"""Times of a run as clock times, and durations in words."""

from dataclasses import dataclass

HOUR_S = 3600
DAY_S = 86400
# Times of a run longer than this carry the day, those of a shorter one the clock time alone.
DAYS_FROM_S = 30 * HOUR_S


@dataclass(frozen=True)
class Clock:
    """The wall clock of a run that begins `begins_s` seconds after midnight and lasts `duration_s`."""

    begins_s: float
    duration_s: float

    @property
    def by_days(self):
        """Whether times of this run need a day beside the hour."""
        return self.duration_s > DAYS_FROM_S

    def at(self, time_s, seconds=False):
        """Return the clock time of run second `time_s`, such as "02:14" or "day 12 02:14"."""
        total = int(self.begins_s + time_s)
        text = f"{total % DAY_S // HOUR_S:02d}:{total % HOUR_S // 60:02d}"
        if seconds:
            text += f":{total % 60:02d}"
        if self.by_days:
            text = f"day {total // DAY_S + 1} {text}"
        return text

    def span(self, start_s, end_s):
        """Return a stretch such as "02:14 to 04:40"; one without end says "from 02:14", the whole run "throughout"."""
        opens, closes = start_s <= 0, end_s is None or end_s >= self.duration_s
        if opens and closes:
            return "throughout"
        if closes:
            return f"from {self.at(start_s)}"
        if opens:
            return f"until {self.at(end_s)}"
        begin, end = self.at(start_s), self.at(end_s)
        if begin == end:
            return f"at {begin}"
        if begin.rsplit(" ", 1)[0] == end.rsplit(" ", 1)[0] and self.by_days:
            end = end.rsplit(" ", 1)[1]
        return f"{begin} to {end}"


def lasting(seconds):
    """Return a duration in words of at most two parts, such as "3 h 28 min" or "40 s"."""
    seconds = round(seconds)
    if seconds < 60:
        return f"{seconds} s"
    if seconds < HOUR_S:
        minutes, rest = divmod(seconds, 60)
        return f"{minutes} min {rest} s" if minutes < 10 and rest else f"{round(seconds / 60)} min"
    if seconds < 2 * DAY_S:
        hours, rest = divmod(round(seconds / 60), 60)
        return f"{hours} h {rest} min" if rest else f"{hours} h"
    days, rest = divmod(round(seconds / HOUR_S), 24)
    return f"{days} days {rest} h" if rest else f"{days} days"


def stretch(trace):
    """Return what a run is called in a sentence: a night, or a run where it lasts for days."""
    return "run" if Clock(trace.begins_s, trace.duration_s).by_days else "night"
