"""Shared by every dialogue: reading one answer, and keeping the answers until the dialogue is done.

A question is any object with `kind`, `example`, `default`, `choices`, `least`
and `most`; `kind` is one of `units.KINDS`, or "choice", "yes", "whole", "words".
"""

import json
import os
import shutil
import textwrap
from pathlib import Path

from host_sim import as_written, units
from host_sim.errors import InputError

YES, NO = ("yes", "y", "true"), ("no", "n", "false")


class StoppedError(Exception):
    """The dialogue was stopped; the answers are kept."""


def wrapped(text, spare=0):
    """Return the lines of a text broken between words at the terminal's width, 120 at most.

    `spare` columns are left at the end of each line, for what is typed behind the last one.
    """
    width, found = max(20, min(shutil.get_terminal_size().columns, 120) - spare), []
    for line in text.split("\n"):
        indent = line[: len(line) - len(line.lstrip())]
        found += textwrap.wrap(line, width, subsequent_indent=indent, break_long_words=False,
                               break_on_hyphens=False) or [""]  # fmt: skip
    return found


def show(text):
    """Print a text for a person at a terminal: every line broken between words at the terminal's width, 120 at most."""
    for line in wrapped(text):
        print(line)


def parse(question, text, others=None):
    """Return the value of an answer: a text, a whole number, a number, or True and False.

    `others` are readers of further kinds, {kind: function(text)}, whose text is
    taken as it stands when they do not raise.  A quantity stays the text that
    the person wrote, with the unit of the example where there was none.
    Raises ValueError that says what is wrong and what is sensible.
    """
    text = text.strip()
    if question.kind == "words":
        return text
    if question.kind == "yes":
        return yes_or_no(text)
    if question.kind == "choice":
        return choice(question.choices, text)
    if others and question.kind in others:
        others[question.kind](text)
        return text
    if text == question.default == "none":
        return text
    if question.kind == "whole":
        return _whole(question, text)
    return _quantity(question, text)


def yes_or_no(text):
    """Return whether an answer says yes.  Raises ValueError where it says neither."""
    if text.lower() in YES:
        return True
    if text.lower() in NO:
        return False
    raise ValueError(f'"{text}": answer yes or no')


def choice(choices, text):
    """Return the one of `choices` that a text is, or begins.  Raises ValueError naming them."""
    low = text.lower()
    fits = [one for one in choices if one.lower() == low]
    fits = fits or [one for one in choices if one.lower().startswith(low)]
    if len(fits) == 1:
        return fits[0]
    raise ValueError(f'"{text}" is none of these: {"; ".join(choices)}')


def _whole(question, text):
    if not text.isdigit() or not int(question.least) <= int(text) <= int(question.most):
        raise ValueError(f'"{text}": a whole number from {question.least} to {question.most}, as in {question.example}')
    return int(text)


def _quantity(question, text):
    # A plain number is taken in the unit of the example; what is kept is a number and a unit.
    if units.bare(text) and question.kind not in ("number", "share"):
        text = f"{text} {question.example.split(' ', 1)[1]}"
    elif question.kind == "area" and as_written.sides(text):
        text = f"{text} ft"
    value = units.read(text, question.kind, question.example)
    for bound, wrong, word in ((question.least, -1, "at least"), (question.most, 1, "at most")):
        if bound and (value - units.read(bound, question.kind)) * wrong > 0.0:
            raise ValueError(f"{text}: {word} {bound}; a sensible answer looks like {question.example}")
    return value if question.kind == "number" else units.tidy(text, question.kind)


def recall(path, source):
    """Return what was kept in a JSON file, None where there is none.  Raises InputError where it cannot be read."""
    try:
        return json.loads(Path(path).read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        raise InputError(f"{path} cannot be read ({error}): delete it and start over", source) from error


def keep(path, data):
    """Write data as JSON so that a reader, or a crash, finds the file before or the file after, never half of one."""
    path = Path(path)
    new = path.with_name(path.name + ".new")
    with new.open("w", encoding="utf-8") as file:
        json.dump(data, file, indent=1, ensure_ascii=False)
        file.write("\n")
        file.flush()
        os.fsync(file.fileno())
    os.replace(new, path)
