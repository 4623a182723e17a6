"""Rows and sections: the figures of a report, each with its value, limit and source."""

from dataclasses import dataclass

from host_sim.sizing.limits import row as limit_row


@dataclass(frozen=True)
class Row:
    """One figure: `value` in SI with its kind (see say.py), or a text with kind "text"."""

    key: str
    label: str
    value: object
    kind: str = "text"
    limit: str = ""  # name of a limits.Limit it is held against
    bound: object = None  # the site's own bound in SI where it is not the limit's; a tuple is a range
    within: object = None  # True, False, or None where there is nothing to be within
    source: str = ""
    at_limit: bool = False  # over its limit by less than it is known; `within` is None then
    word: str = ""  # what the bound is, where it is neither a limit nor a minimum

    def shown(self, say):
        """Return the value as a text."""
        return str(self.value) if self.kind == "text" else say(self.value, self.kind)

    def held_against(self, say):
        """Return what the figure is held against: "limit 30", "over limit 30", "recommended 6.0 in", or nothing."""
        bound, kind = self.bound, self.kind
        if bound is None and self.limit:
            bound, kind = limit_row(self.limit).value, limit_row(self.limit).kind
        if self.kind == "text" or bound is None:
            missed = f"none {self.word}" if self.word else "see the remarks"
            return missed if self.within is False else ""
        if isinstance(bound, tuple):
            words = " to ".join(say(end, kind) for end in bound)
            return f"outside {words}" if self.within is False else f"range {words}"
        if self.at_limit:
            return f"at the limit {say(bound, kind)}"
        if self.within is None and not self.word:
            return ""
        less = kind == self.kind and self.value < bound
        if self.within is False:
            return f"{'below' if less else 'over'} {self.word or ('minimum' if less else 'limit')} {say(bound, kind)}"
        more = kind == self.kind and self.value > bound
        return f"{self.word or ('minimum' if more else 'limit')} {say(bound, kind)}"


@dataclass(frozen=True)
class Section:
    """A part of the report."""

    key: str
    title: str
    rows: tuple
    note: str = ""


def section(key, title, rows, note=""):
    """Return a Section."""
    return Section(key, title, tuple(rows), note)
