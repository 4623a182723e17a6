"""`sumpbench size --ask` through a real terminal: what a person types at the last question."""

import codecs
import fcntl
import os
import pty
import struct
import sys
import termios
import tomllib

import pytest

from host_sim.sizing.interview.questions import QUESTIONS
from tests.sampled import sampled

LAST = next(question for question in QUESTIONS if question.key == "travel")  # of a person who knows nothing


def talk(folder, typed, columns=100):
    """Type Enter at every question, and at the last one the lines of `typed`; return (what was shown, exit code)."""
    words = [sys.executable, "-m", "host_sim", "size", "--ask", "site.toml", "--no-check"]
    child, master = pty.fork()
    if child == 0:
        fcntl.ioctl(0, termios.TIOCSWINSZ, struct.pack("HHHH", 50, columns, 0, 0))
        os.chdir(folder)
        # Neither readline nor a test runner's worker decides how wide the terminal is.
        os.execve(words[0], words, {key: value for key, value in os.environ.items() if key != "COLUMNS"})
    shown, read, typed = "", 0, list(typed)
    decoder = codecs.getincrementaldecoder("utf-8")()  # a read may end within a letter
    while True:
        try:
            data = os.read(master, 65536)
        except OSError:  # the program has ended
            break
        shown += decoder.decode(data)
        if not data:
            break
        if shown.endswith("] > "):
            last = LAST.ask in shown[read:] or (LAST.example in shown[read:] and not typed)
            read = len(shown)
            os.write(master, ((typed.pop(0) if last and typed else "") + "\n").encode())
    os.close(master)
    return shown, os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


@pytest.mark.long
@pytest.mark.parametrize(
    "typed", sampled([["nonsense", "skip"], ["skip"], ["back"], ["back", "skip"]], 4), ids=" then ".join
)
def test_a_word_at_the_last_question_leads_on(tmp_path, typed):
    shown, code = talk(tmp_path, typed)
    assert "Traceback" not in shown and code == 1
    assert shown.count(LAST.ask) == (2 if "back" in typed else 1)
    data = tomllib.loads((tmp_path / "site.toml").read_text(encoding="utf-8"))
    assert data["sizing"]["floats"]["travel"] == "4 in" == LAST.taken({})
    assert "read the cautions at the end of" in shown


@pytest.mark.long
def test_a_narrow_terminal_breaks_no_word(tmp_path):
    shown, _ = talk(tmp_path, ["skip"], columns=60)
    lines = shown[: shown.index("Written:")].splitlines()
    said = [line.partition("] > ")[0] + "] > " if "] > " in line else line for line in lines]
    assert len(said) > 100 and max(map(len, said)) <= 61  # behind a prompt goes on what is typed
    assert said[0] == "A tape, a bucket, a watch and the pumps' data plates are"
