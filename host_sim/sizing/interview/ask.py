"""The dialogue `size --ask`: asks in order, explains, takes "don't know", resumes where it stopped."""

from pathlib import Path

from host_sim.errors import InputError
from host_sim.report import prompt
from host_sim.report.prompt import StoppedError
from host_sim.sizing.document import to_toml
from host_sim.sizing.interview.curve import assumed_shutoff, read_curve
from host_sim.sizing.interview.naming import named
from host_sim.sizing.interview.question import NOT_KNOWN
from host_sim.sizing.interview.questions import QUESTIONS, asked, document
from host_sim.sizing.interview.spelling import meant
from host_sim.sizing.trade import fraction, read_size

INTRO = " ".join(
    """A tape, a bucket, a watch and the pumps' data plates are enough.  Write measures as you read them: 18",
6' 3 1/2", 25 x 40 ft, 1 min 30 s.  Enter, "skip" or "don't know" takes the default in [brackets]; it is on the safe
side, and the page says that it was assumed.  "why" explains, "back" goes back, "stop" (or Ctrl-C) saves the answers;
the same command resumes there.""".splitlines()
)
GLUE = "\N{NO-BREAK SPACE}"
HEADING = """Written by sumpbench size --ask.  What was not known, and what was taken for it, stands in
sizing.assumed: take an entry out when you have measured it.
"""


def answers_path(site):
    """Return the file that holds the answers of an unfinished dialogue."""
    site = Path(site)
    return site.with_name(site.name + ".answers.json")


def ask_site(site, units_name="us", read=input, say=prompt.show):
    """Ask everything, write the site file and return its path; None when the person stopped before the end.

    `read(prompt)` gives a line, `say(text)` shows one.  The answers are kept
    until `finished`: where the pit cannot be sized from them, the same call goes
    back to them.  Raises InputError where the file is there already and is not
    what the kept answers wrote.
    """
    site = Path(site)
    if not site.parent.is_dir():
        raise InputError(f"{site.parent} does not exist: name a file in a folder that does", "--ask")
    kept = answers_path(site)
    exists = site.exists()
    given = _kept(kept) if kept.exists() or not exists else {}
    if exists and not (given and _wrote(site, given)):
        said = f"{site} exists: size it with  sumpbench size {site}, or name another file to start over"
        raise InputError(said, "--ask")
    say(INTRO)
    earlier = {}
    if exists:
        _reopen(site, kept, given, earlier, say)
    elif given:
        say(f"\n{_count(given)} saved last time; resuming there.")
    try:
        _dialogue(given, earlier, kept, read, say)
    except (StoppedError, KeyboardInterrupt, EOFError):
        say(f"\nStopped; {_count(given)} saved in {kept}.  The same command resumes there.")
        return None
    prompt.keep(kept, given)
    site.write_text(site_text(given), encoding="utf-8")
    say(f"\nWritten: {site}.  Edit it when you learn more.\n")
    return str(site)


def finished(site):
    """Take the kept answers away: the page of the site that they wrote is there."""
    answers_path(site).unlink(missing_ok=True)


def refused(error, site):
    """Return the InputError of a site that cannot be sized, with where its answers are and how to go back to them."""
    told = f"your answers are kept in {answers_path(site)}: the same command takes you back to them"
    return InputError([*error.problems, told], error.source)


def _wrote(site, given):
    try:
        return site.read_text(encoding="utf-8") == site_text(given)
    except (KeyError, ValueError, OSError):
        return False  # not all of the answers


def _reopen(site, kept, given, earlier, say):
    # Every question was answered, but no page came of it: the last one is asked again, and "back" leads further.
    say(f'\n{_count(given)} kept, but no page was made of them.  The last question is asked again; "back" leads to the '
        "ones before it, and Enter keeps each answer.")  # fmt: skip
    last = list(asked({key: item["value"] for key, item in given.items()}))[-1]
    earlier[last] = given.pop(last)
    prompt.keep(kept, given)
    site.unlink()


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


def _dialogue(given, earlier, kept, read, say):
    while True:
        values = asked({key: item["value"] for key, item in given.items()})
        wanted = [question for question in QUESTIONS if question.wanted(values)]
        left = [question for question in wanted if question.key not in given]
        if not left:
            return
        question = left[0]
        place = wanted.index(question)
        answer = _one(question, values, earlier.get(question.key), (place + 1, len(wanted)), read, say)
        if answer is None:  # back
            if place == 0:
                say('   This is the first question: there is nothing before it.  "stop" ends.')
                continue
            before = wanted[place - 1].key
            earlier[before] = given.pop(before)
            prompt.keep(kept, given)
            continue
        given[question.key] = answer
        prompt.keep(kept, given)


def _one(question, values, before, place, read, say):
    question = question.seen(values)
    say(f"\n{place[0]} of about {place[1]}.  {named(question.ask, values)}")
    if question.choices:
        say("   one of: " + "; ".join(shown(question, one) for one in question.choices))
    taken = question.taken(values)
    while True:
        line = _line(question, taken, before, read, say)
        word = line.lower()
        if word in ("stop", "quit", "exit"):
            raise StoppedError
        if word == "back":
            return None
        if word == "why":
            default = f"{shown(question, taken)}, {question.because}"
            say(f"   {question.why}  If not known: {default}; it decides {question.changes}.")
            continue
        if not line and before is not None and before["known"]:
            line = word = typed(question, before["value"])
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


def _line(question, taken, before, read, say):
    # The long line is broken between words; what is typed follows its last piece, which never is the ">" alone.
    words = "".join(f' or "{word}"' for word in question.words)
    offer = f"{shown(question, taken)}: {question.because}"
    if before is not None and before["known"]:
        offer = f"{shown(question, typed(question, before['value']))}: your answer, Enter keeps it"
    lines = prompt.wrapped(f"   (as in {shown(question, question.example)}{words}) [{offer}]{GLUE}>", spare=1)
    if lines[:-1]:
        say("\n".join(lines[:-1]))
    return read(lines[-1].replace(GLUE, " ") + " ").strip()


def typed(question, value):
    """Return a kept value as the person would type it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def shown(question, text):
    """Return an answer as it is shown: a size of pipe as a fraction, "1 1/2 in"."""
    return fraction(float(text.split()[0])) if question.kind == "size" and text in question.choices else text


def _assumed(question, taken, values, say):
    # A default that cannot be with what was said before is no answer.
    try:
        value = _read(question, taken, values)
    except ValueError as error:
        say(f"   the default, {taken}, does not go with what you said: {error}")
        return None
    say(f"   assumed: {shown(question, taken)} ({question.because})")
    return {"value": value, "known": False}


def _read(question, line, values):
    value = parse(question, line)
    if question.check is not None:
        question.check(value, values)
    return value


def _echo(question, line, value, say):
    # A bare number gets its unit, a length in marks its inches, and a short word what it is taken for, in front of the
    # person's eyes.
    if question.kind in ("words", "yes", "whole", "number") or (value == line.strip() and question.kind != "curve"):
        return
    if question.kind == "choice" and value.lower() == line.strip().lower():
        return
    if question.kind == "curve":
        _echo_curve(value, say)
        return
    if shown(question, value) == line.strip():
        return
    say(f'   taken as {shown(question, value)}; "back" corrects it.')


def _echo_curve(text, say):
    taken = ", ".join(f"{flow} {head}" for flow, head in read_curve(text))
    head = assumed_shutoff(text)
    what = "" if head is None else f"  At no flow {head} is assumed: the plate's shut-off head is better."
    if taken != text.strip():
        say(f'   taken as {taken}; "back" corrects it.{what}')


def parse(question, text):
    """Return the value of an answer.  Raises ValueError that says what is wrong and what is sensible."""
    if text.lower() in question.words:
        return text.lower()
    if "none" in question.words and text.lower() in ("no", "nothing"):
        return "none"
    if question.kind == "size":
        return read_size(text)
    if question.spelt is not None:
        text = question.spelt(text)
    if question.kind == "choice":
        text = meant(question.key, text, question.choices)
    return prompt.parse(question, text, {"curve": read_curve})


def site_text(given):
    """Return the site file of the answers."""
    return to_toml(document(given), HEADING)
