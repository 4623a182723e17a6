"""The RS-485 line proved: the same controller answers over it as over USB."""

from host_sim.errors import InputError

NO_ANSWER = ("no answer: A and B changed over, another baud, parity or address than the board's (sumpbench line), "
             "the transceiver or its cable")  # fmt: skip
SAME = ("firmware", "uptime", "journal_last")  # what no second controller has alike


def prove(client, make_line):
    """Return (whether the line is sound, words); `make_line()` returns a Client over RS-485 or raises InputError."""
    try:
        with make_line() as other:
            there = other.values()
    except InputError as error:
        return False, f"{NO_ANSWER} ({error.problems[0]})"
    here = client.values()
    # Between the two readings a minute may have passed, or a segment of the journal have been begun.
    differ = [name for name in SAME if not 0 <= here[name] - there[name] <= (0 if name == "firmware" else 1)]
    if differ:
        return False, f"another controller answers: its {', '.join(differ)} is not this one's"
    return True, f"the same controller answers, firmware {there['firmware']:08x}"
