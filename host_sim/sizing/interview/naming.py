"""Which pump is pump 1 and which is pump 2: said in every question about a pump, where the two are not alike."""

import re

# By the answer to "backup": what pump 1 and pump 2 are.
NAMES = {
    "battery pump": ("the mains pump", "the battery pump"),
    "inverter": ("the one on the mains alone", "the one on the inverter"),
}
_PUMP = re.compile(r"\bpump ([12])\b(?!')([,.:?]?)")


def named(text, answers):
    """Return a question's text with "pump 1" told as "pump 1, the mains pump," where the answers say which it is."""
    names = NAMES.get(answers.get("backup"))
    if names is None or (answers.get("backup") == "inverter" and answers.get("same", True)):
        return text
    return _PUMP.sub(lambda found: f"pump {found[1]}, {names[int(found[1]) - 1]}{found[2] or ','}", text)
