"""The dialogue `size --ask`: asks in order, explains, takes "don't know", resumes where it stopped."""

from pathlib import Path

from host_sim.errors import InputError
from host_sim.report import prompt
from host_sim.report.prompt import StoppedError
from host_sim.sizing.document import edited, to_toml
from host_sim.sizing.interview.questions import NOT_KNOWN, QUESTIONS, read_curve

INTRO = """A tape, a bucket and the data plate are enough.  Enter or "don't know" takes the default in [brackets];
it is on the safe side.  "why" explains, "back" goes back, "stop" (or Ctrl-C) saves the answers; the same command
resumes there."""
HEADING = """Written by sumpbench size --ask.  Not known, default taken:
"""


def answers_path(site):
    """Return the file that holds the answers of an unfinished dialogue."""
    site = Path(site)
    return site.with_name(site.name + ".answers.json")


def ask_site(site, units_name="us", read=input, say=print):
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
        values = {key: item["value"] for key, item in given.items()}
        wanted = [question for question in QUESTIONS if question.when is None or question.when(values)]
        left = [question for question in wanted if question.key not in given]
        if not left:
            return
        question = left[0]
        place = wanted.index(question) + 1
        answer = _one(question, place, len(wanted), read, say)
        if answer is None:  # back
            before = wanted[: wanted.index(question)]
            if before:
                given.pop(before[-1].key)
                prompt.keep(kept, given)
            continue
        given[question.key] = answer
        prompt.keep(kept, given)


def _one(question, place, count, read, say):
    say(f"\n{place} of about {count}.  {question.ask}")
    if question.choices:
        say("   one of: " + ", ".join(question.choices))
    while True:
        line = read(f"   (as in {question.example}) [{question.default}: {question.because}] > ").strip()
        word = line.lower()
        if word in ("stop", "quit", "exit"):
            raise StoppedError
        if word == "back":
            return None
        if word == "why":
            say(f"   {question.why}  If not known: {question.default}, {question.because}.")
            continue
        # "unknown" is an answer where it is one of the choices.
        if word in NOT_KNOWN and word not in question.choices:
            say(f"   assumed: {question.default} ({question.because})")
            return {"value": parse(question, question.default), "known": False}
        try:
            return {"value": parse(question, line), "known": True}
        except ValueError as error:
            say(f"   {error}")


def parse(question, text):
    """Return the value of an answer.  Raises ValueError that says what is wrong and what is sensible."""
    return prompt.parse(question, text, {"curve": read_curve})


def document(given):
    """Return the site document of the answers."""
    values, data = {key: item["value"] for key, item in given.items()}, {"sizing": {}}
    for question in QUESTIONS:
        if question.key in values and (question.when is None or question.when(values)):
            data = edited(data, question.edits(values[question.key], values))
    return data


def site_text(given):
    """Return the site file of the answers, with the unknown ones named at its top."""
    unknown = [key for key, item in given.items() if not item["known"]]
    return to_toml(document(given), HEADING + (", ".join(unknown) or "none"))
