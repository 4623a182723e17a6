"""What a question of `size --ask` is, and the small helpers that the lists of questions share."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from host_sim import units

NOT_KNOWN = ("", "?", "don't know", "dont know", "do not know", "dunno", "not sure", "no idea", "unknown", "skip",
             "i don't know", "i dont know", "i do not know", "don’t know", "i don’t know", "idk", "not known")


@dataclass(frozen=True)
class Question:
    """One question.

    `kind` is one of units.KINDS, or "choice", "size" (of pipe),
    "yes", "whole", "curve", "words".
    `default` and `example` are texts, or functions of the answers so far that give one;
    `when(answers)` asks the question or not; `words` are answers beside a
    quantity, such as "none"; `check(value, answers)` raises ValueError for
    what cannot be; `spelt(text)` puts an answer as people write it into one of
    `choices`.  `changes` says what another value would change, where the
    default is assumed.
    """

    key: str
    ask: str
    why: str
    kind: str
    example: Any
    default: Any
    because: str  # why the default is conservative
    changes: str
    what: str = ""  # a short name, for the list of what was assumed
    choices: tuple = ()
    when: Callable | None = None
    least: str = ""
    most: str = ""
    words: tuple = ()
    check: Callable | None = None
    spelt: Callable | None = None

    def taken(self, answers):
        """Return the default as a text for the answers so far."""
        return self.default(answers) if callable(self.default) else self.default

    def seen(self, answers):
        """Return the question with its example as a text for the answers so far."""
        return replace(self, example=self.example(answers)) if callable(self.example) else self

    def wanted(self, answers):
        """Whether the question applies to the answers so far."""
        return self.when is None or self.when(answers)


def among(key, *values):
    """Return a `when` that asks where an earlier answer is one of `values`."""
    return lambda answers: answers.get(key) in values


def si(answers, key, kind):
    """Return an answer in SI, None where it was not given or is a word."""
    try:
        return units.read(answers[key], kind)
    except (KeyError, ValueError):
        return None


def inches(metres):
    """Return a length as a site file has it, to a hundredth of an inch: "12.5 in"."""
    return f"{round(metres / 0.0254, 2):g} in"


def feet(metres):
    """Return a length in feet to a hundredth."""
    return f"{round(metres / 0.3048, 2):g} ft"
