"""A person who answers the real dialogue line by line, as typed."""

import re
from pathlib import Path
from tempfile import TemporaryDirectory

from host_sim.sizing.interview import ask
from host_sim.sizing.interview.questions import QUESTIONS

_NAMES = re.compile(r"\b(pump [12]), the (?:mains|battery) pump(?:,(?= )|(?=[.:?]))"
                    r"|\b(pump [12]), the one on the (?:mains alone|inverter)(?:,(?= )|(?=[.:?]))")  # fmt: skip


def without_names(text):
    """Return a question as it was asked with "pump 1, the mains pump," as plain "pump 1"."""
    return _NAMES.sub(lambda found: found[1] or found[2], text)


MOST_LINES = 1200
GIVES_UP = 3  # wrong answers to one question before "don't know" is tried


class Person:
    """Answers by question; what is refused is tried again as "don't know", then by going back."""

    def __init__(self, answers):
        self.answers = answers
        self.question, self.tries, self.lines, self.heard = None, {}, 0, []
        self.typed = []

    def say(self, text):
        self.heard.append(text)
        for question in QUESTIONS:
            if without_names(text).endswith(f".  {question.ask}"):
                self.question = question.key

    def read(self, prompt):
        self.lines += 1
        if self.lines > MOST_LINES:
            raise RuntimeError(f"the dialogue never ends; stuck at {self.question}: {self.heard[-3:]}")
        tried = self.tries[self.question] = self.tries.get(self.question, 0) + 1
        line = self.answers.get(self.question, "")
        if tried > GIVES_UP:
            line = ("skip", "back")[tried % 2]
            if line == "back":
                self.answers.pop(self.question, None)
        self.typed.append((self.question, line))
        return line


def talk(answers):
    """Return (site file text, the Person) of answers {question key: line typed}."""
    person = Person(dict(answers))
    with TemporaryDirectory() as folder:
        path = Path(folder) / "site.toml"
        ask.ask_site(path, read=person.read, say=person.say)
        return path.read_text(encoding="utf-8"), person
