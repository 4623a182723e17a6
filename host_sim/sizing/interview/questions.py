"""All questions of `size --ask`, in order, and the site document of their answers.

Pit, lift, water, both pumps, the pipe as it is walked, power, floats: what a
later question is held against is asked before it.
"""

from host_sim.sizing.document import edited
from host_sim.sizing.interview import floats, pipe, pit, power, pumps, water

QUESTIONS = (
    *pit.QUESTIONS, *pipe.LIFT, *water.QUESTIONS, *pumps.QUESTIONS, *pipe.QUESTIONS, *pumps.ON_THE_PIPE,
    *power.QUESTIONS, *pumps.SENSING, *floats.QUESTIONS,
)  # fmt: skip


def asked(values):
    """Return the answers {key: value} of questions that still apply, as each depends on those before it."""
    found = {}
    for question in QUESTIONS:
        if question.key in values and question.wanted(found):
            found[question.key] = values[question.key]
    return found


def document(given):
    """Return the site document of answers {key: {"value": ..., "known": ...}}."""
    values = asked({key: item["value"] for key, item in given.items()})

    def known(key):
        return key in values and given[key]["known"]

    data = {"sizing": {}}
    for part in (pit, water, pipe, power, floats):
        data = edited(data, part.edits(values))
    data = edited(data, pumps.edits(values, known))
    assumed = [_assumed(q, given[q.key]["value"]) for q in QUESTIONS
               if q.what and q.key in values and not known(q.key)
               and not pumps.given_after_all(q.key, values, known)] + pumps.assumed(values, known)  # fmt: skip
    return edited(data, {"sizing.assumed": assumed} if assumed else {})


def _assumed(question, value):
    shown = {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else value
    taken = f"{shown:g}" if isinstance(shown, float) else str(shown)
    return {"what": question.what, "taken": taken, "why": question.because, "changes": question.changes}
