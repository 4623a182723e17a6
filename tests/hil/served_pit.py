"""A virtual board on its simulated pit, served on a pty to a program in another process; a terminal for that program.

The board runs in lockstep: its time goes on by a fixed stretch each time the
program looks at it, and the program's own clock stands still: no limit of its
runs out, and every wait ends by what happens at the pit or is typed.  So nothing
here depends on how fast this machine is.
"""

import codecs
import contextlib
import os
import pty
import re
import select
import signal
import subprocess
import sys
import threading
import time
import tty
from pathlib import Path

from hil.commission.pit_person import PitPerson
from hil.commission.simulated import site as invented_site
from hil.kits.virtual import VirtualKit
from hil.rehearsal.pit_in_loop import PitInLoop

ROOT = Path(__file__).resolve().parents[2]
STRIDE_MS = 1000  # of the board's time, each time its states are asked for
READ_BITS = b":0102"
LAST_RESORT_S = 3600.0  # ends a test that hangs; no claim rests on it
# The program itself, with a clock that stands still, without the rest between two looks, and with no end to its
# patience for an answer on the link.
PROGRAM = f"""
import time
from hil.cli import app
from hil.commission import watch
from host_sim.board.client import Client

class StillClock:
    def seconds(self):
        return 0.0
    def pause(self, seconds):
        time.sleep(0.01)

watch.WallClock = StillClock
names = Client.__init__.__code__.co_varnames[2:]
defaults = dict(zip(names, Client.__init__.__defaults__))
Client.__init__.__defaults__ = tuple({{**defaults, "patience_s": {LAST_RESORT_S}}}.values())
app.main()
"""


class ServedPit:
    """`with ServedPit() as served:` - `served.port` is the board's port, `served.person` works on its pit."""

    def __init__(self, the_site=None):
        self.site = the_site or invented_site()
        self.lock = threading.RLock()
        self.master, self.slave = os.openpty()
        tty.setraw(self.master)
        tty.setraw(self.slave)
        self.port = os.ttyname(self.slave)
        self.stopping = self.unplugged = False

    def __enter__(self):
        self.kit = VirtualKit(settings=self.site.settings)
        self.kit.reset()
        self.loop = PitInLoop(self.kit, self.site)
        self.person = PitPerson(self.loop.pit, jumper=lambda made: self.kit.drive("jumper", int(made)))
        self.thread = threading.Thread(target=self._serve, daemon=True)
        self.thread.start()
        return self

    def __exit__(self, *_):
        self.stopping = True
        self.thread.join()
        self.kit.close()
        for end in (self.master, self.slave):
            with contextlib.suppress(OSError):
                os.close(end)

    def act(self, work, *arguments):
        """Do something to the pit between two stretches of its time."""
        with self.lock:
            return work(*arguments)

    def unplug(self):
        """Take the port away, as a pulled cable does."""
        with self.lock:
            self.unplugged = True
            os.close(self.slave)
            os.close(self.master)

    def _serve(self):
        heard = b""
        while not self.stopping and not self.unplugged:
            if not select.select([self.master], [], [], 0.02)[0]:
                continue
            with self.lock:
                if self.unplugged:
                    return
                heard += os.read(self.master, 4096)
                while b"\n" in heard:
                    frame, heard = heard.split(b"\n", 1)
                    self._answer(frame + b"\n")

    def _answer(self, frame):
        if frame.startswith(READ_BITS):
            self.loop.run_ms(STRIDE_MS)
            self.person.poll()
        line = self.kit.board.line
        line.reset_input_buffer()
        line.write(frame)
        for _ in range(60):
            if line.received.endswith(b"\n"):
                os.write(self.master, bytes(line.received))
                return
            self.kit.board.look()


class Session:
    """A program on a terminal of its own; `expect` waits for what it says, `type` answers."""

    def __init__(self, *arguments, cwd):
        self.master, slave = pty.openpty()
        environment = {**os.environ, "PYTHONPATH": f"{ROOT / 'firmware/lib'}:{ROOT}", "TERM": "dumb", "COLUMNS": "110"}
        self.process = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, "commission", *map(str, arguments)], stdin=slave, stdout=slave,
            stderr=slave, cwd=cwd, env=environment, start_new_session=True, preexec_fn=_own_terminal,
        )  # fmt: skip
        os.close(slave)
        self.text = ""  # everything that was said
        self.decoder = codecs.getincrementaldecoder("utf-8")("replace")  # a read may end within a letter
        self.at = 0  # how far `expect` has read

    def _more(self, until):
        assert time.monotonic() < until, f"hangs; it said last:\n{self.text[-1500:]}"
        if not select.select([self.master], [], [], 0.2)[0]:
            return True
        try:
            data = os.read(self.master, 65536)
        except OSError:  # its end has closed the terminal
            return False
        self.text = (self.text + self.decoder.decode(data)).replace("\r\n", "\n")
        return bool(data)

    def expect(self, pattern):
        """Wait until it has said something that a regular expression finds, over line breaks; return the match."""
        return self.find(_over_lines(pattern))

    def find(self, wanted):
        """Wait for what a compiled expression finds behind what was read so far; return the match."""
        until = time.monotonic() + LAST_RESORT_S
        while True:
            found = wanted.search(self.text, self.at)
            if found:
                self.at = found.end()
                return found
            assert self._more(until), f"it ended without {wanted.pattern!r}; it said last:\n{self.text[-1500:]}"

    def prompt(self):
        """Wait until a prompt stands at the end of what was said; the arrow before an instruction is none."""
        self.find(_PROMPT)

    def type(self, line):
        """Type a line."""
        os.write(self.master, line.encode() + b"\n")

    def answer(self, pattern, line):
        """Wait for a question, for its prompt, and answer it."""
        self.expect(pattern)
        self.prompt()
        self.type(line)

    def interrupt(self):
        """Press Ctrl-C."""
        os.write(self.master, b"\x03")

    def kill(self):
        """Take the program away without a word."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.end()

    def end(self):
        """Wait for its end; return its exit code."""
        until = time.monotonic() + LAST_RESORT_S
        while self._more(until):
            pass
        code = self.process.wait(LAST_RESORT_S)
        os.close(self.master)
        return code


_PROMPT = re.compile(r"(?<!-)> \Z")


def _over_lines(pattern):
    return re.compile(re.sub(r" +", r"\\s+", pattern))


def _own_terminal():
    import fcntl
    import termios

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


# What the dialogue asks to be done, and the name under which a PitPerson knows it.
TOLD = (
    (r"Turn the selector of pump (\d) to (\w+)", "selector_{0}_{1}"),
    (r"Cut both pumps off", "unplug"),
    (r"Power both pumps", "plug"),
    (r"Lift the `(\w+)` float", "lift_{0}"),
    (r"The water holds `(\w+)` wet", "lower_{0}"),
    (r"Let it go|Let the `\w+` float go|Release the", "let_go"),
    (r"The horn is on|Press the silence button", "silence"),
    (r"Press the reset button", "reset"),
    (r"Close the isolation valve above check valve (\d)", "valve_{0}"),
    (r"[Oo]pen the hose|open it\.|with the hose open", "hose_on"),
    (r"Shut the hose", "hose_off"),
    (r"^Press the test button of pump (\d)", "trip_{0}"),
    (r"^With pump (\d) stopped, .*pull the fuse", "trip_{0}"),
    (r"^(?:Reset|Put the fuse back into) pump (\d)", "untrip_{0}"),
    (r"CUT THE POWER", "cut"),
    (r"Switch the power on again", "restore"),
    (r"Remove the test jumper", "jumper_out"),
)


class Installer:
    """A scripted person at a Session: does what is said at the pit, answers by what is asked.

    `answers` are (regular expression of the question, lines to type, one for each time it is asked).
    """

    def __init__(self, session, served, answers):
        self.session, self.served = session, served
        self.answers = [(_over_lines(pattern), list(lines)) for pattern, lines in answers]
        self.done = []
        self.lifted = ""

    def until(self, pattern):
        """Go on until something is said that `pattern` finds, or the program ends; return the exit code or None."""
        told = r"^-> ([^\n]*)\n"
        wanted = rf"({_over_lines(pattern).pattern})|{told}|{_PROMPT.pattern}|(To print and sign)"
        wanted = re.compile(wanted, re.MULTILINE)
        while True:
            found = self.session.find(wanted)
            if found[1] is not None:
                return None
            if found[2] is not None:
                self.does(found[2])
            elif found[3] is not None:
                return self.session.end()
            else:
                self.reply(self.session.text[: found.start()])

    def does(self, told):
        """Do what is said at the pit."""
        for pattern, name in TOLD:
            found = re.search(pattern, told)
            if found:
                key = name.format(*(part.lower() for part in found.groups()))
                key = f"let_go_{self.lifted}" if key == "let_go" else key
                self.lifted = key.partition("_")[2] if key.startswith(("lift", "lower")) else self.lifted
                self.done.append(key)
                self.served.act(self.served.person.does, key)
                return

    def reply(self, said):
        """Type the answer to the last thing that was asked."""
        asked = said[-500:]
        found = [(_last(pattern, asked), lines) for pattern, lines in self.answers]
        found = [(match.end(), lines) for match, lines in found if match]
        assert found, f"no answer to:\n{asked}"
        lines = max(found, key=lambda item: item[0])[1]
        self.session.type(lines.pop(0) if len(lines) > 1 else lines[0])


def _last(pattern, text):
    found = None
    for found in pattern.finditer(text):  # noqa: B007 - the last one is wanted
        pass
    return found
