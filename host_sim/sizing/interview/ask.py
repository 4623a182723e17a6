"""The dialogue `size --ask`: asks in order, explains, takes "don't know", resumes where it stopped."""

from pathlib import Path

from host_sim.errors import InputError
from host_sim.report import prompt
from host_sim.report.prompt import StoppedError
from host_sim.sizing.document import to_toml
from host_sim.sizing.interview.curve import read_curve
from host_sim.sizing.interview.question import NOT_KNOWN
from host_sim.sizing.interview.questions import QUESTIONS, asked, document

INTRO = " ".join(
    """A tape, a bucket, a watch and the pumps' data plates are enough.  Write measures as you read them: 18",
6' 3 1/2", 25 x 40 ft, 1 min 30 s.  Enter, "skip" or "don't know" takes the default in [brackets]; it is on the safe
side, and the page says that it was assumed.  "why" explains, "back" goes back, "stop" (or Ctrl-C) saves the answers;
the same command resumes there.""".splitlines()
)
HEADING = """Written by sumpbench size --ask.  What was not known, and what was taken for it, stands in
sizing.assumed: take an entry out when you have measured it.
"""


def answers_path(site):
    """Return the file that holds the answers of an unfinished dialogue."""
    site = Path(site)
    return site.with_name(site.name + ".answers.json")


def ask_site(site, units_name="us", read=input, say=prompt.show):
    """Ask everything, write the site file and return its path; None when the person stopped before the end.

    `read(prompt)` gives a line, `say(text)` shows one.  Raises InputError
    where the file is there already.
    """
    site = Path(site)
    if site.exists():
        said = f"{site} exists: size it with  sumpbench size {site}, or name another file to start over"
        raise InputError(said, "--ask")
    if not site.parent.is_dir():
        raise InputError(f"{site.parent} does not exist: name a file in a folder that does", "--ask")
    kept = answers_path(site)
    given = _kept(kept)
    say(INTRO)
    if given:
        say(f"\n{_count(given)} saved last time; resuming there.")
    try:
        _dialogue(given, kept, read, say)
    except (StoppedError, KeyboardInterrupt, EOFError):
        say(f"\nStopped; {_count(given)} saved in {kept}.  The same command resumes there.")
        return None
    site.write_text(site_text(given), encoding="utf-8")
    kept.unlink(missing_ok=True)
    say(f"\nWritten: {site}.  Edit it when you learn more.\n")
    return str(site)


def _kept(path):
    found = prompt.recall(path, "--ask")
    if found is None:
        return {}
    known = {question.key for question in QUESTIONS}
    if not isinstance(found, dict) or any(key not in known or not _whole(value) for key, value in found.items()):
        raise InputError(f"{path} holds answers to other questions: delete it and start over", "--ask")
    return found


def _count(given):
    return "1 answer" if len(given) == 1 else f"{len(given)} answers"


def _whole(value):
    return isinstance(value, dict) and set(value) == {"value", "known"}


def _dialogue(given, kept, read, say):
    while True:
        values = asked({key: item["value"] for key, item in given.items()})
        wanted = [question for question in QUESTIONS if question.wanted(values)]
        left = [question for question in wanted if question.key not in given]
        if not left:
            return
        question = left[0]
        answer = _one(question, values, wanted.index(question) + 1, len(wanted), read, say)
        if answer is None:  # back
            before = wanted[: wanted.index(question)]
            if before:
                given.pop(before[-1].key)
                prompt.keep(kept, given)
            continue
        given[question.key] = answer
        prompt.keep(kept, given)


def _one(question, values, place, count, read, say):
    say(f"\n{place} of about {count}.  {question.ask}")
    if question.choices:
        say("   one of: " + "; ".join(question.choices))
    taken = question.taken(values)
    words = "".join(f' or "{word}"' for word in question.words)
    while True:
        line = read(f"   (as in {question.example}{words}) [{taken}: {question.because}] > ").strip()
        word = line.lower()
        if word in ("stop", "quit", "exit"):
            raise StoppedError
        if word == "back":
            return None
        if word == "why":
            say(f"   {question.why}  If not known: {taken}, {question.because}; it decides {question.changes}.")
            continue
        # "unknown" is an answer where it is one of the choices.
        if word in NOT_KNOWN and word not in question.choices:
            assumed = _assumed(question, taken, values, say)
            if assumed is not None:
                return assumed
            continue
        try:
            value = _read(question, line, values)
        except ValueError as error:
            say(f"   {error}")
            continue
        _echo(question, line, value, say)
        return {"value": value, "known": True}


def _assumed(question, taken, values, say):
    # A default that cannot be with what was said before is no answer.
    try:
        value = _read(question, taken, values)
    except ValueError as error:
        say(f"   the default, {taken}, does not go with what you said: {error}")
        return None
    say(f"   assumed: {taken} ({question.because})")
    return {"value": value, "known": False}


def _read(question, line, values):
    value = parse(question, line)
    if question.check is not None:
        question.check(value, values)
    return value


def _echo(question, line, value, say):
    # A bare number gets its unit, and a length in marks its inches, in front of the person's eyes.
    if question.kind in ("words", "choice", "yes", "whole", "curve", "number") or value == line.strip():
        return
    say(f'   taken as {value}; "back" corrects it.')


def parse(question, text):
    """Return the value of an answer.  Raises ValueError that says what is wrong and what is sensible."""
    if text.lower() in question.words:
        return text.lower()
    return prompt.parse(question, text, {"curve": read_curve})


def site_text(given):
    """Return the site file of the answers."""
    return to_toml(document(given), HEADING)
