"""The way in to a controller's file system: maintenance (M6), then MicroPython's own tool."""

import subprocess
import sys

from host_sim.board.deploy import RESET, Repl, enter
from host_sim.errors import InputError

HOW = (
    "mpremote connect {port} resume fs ls            what lies on the board",
    "mpremote connect {port} resume fs cat /pit/line a file",
    "mpremote connect {port} resume                  its prompt; Ctrl-] leaves it",
    "Always with `resume`: without it mpremote resets the board, and the controller starts.",
    "When you are done: mpremote connect {port} reset, or wait 10 min.",
)


def maintain(port, commands=(), unit=1, say=print, restart=True):
    """Take the controller at `port` into maintenance and hand over to mpremote with `commands`, a list of words.

    Without commands it says how to go on, and leaves the board at its prompt.
    Otherwise it restarts the board afterwards where `restart`.  Returns the exit
    code of mpremote, 0 without commands.  Raises InputError.
    """
    enter(port, say, unit=unit)
    repl = Repl(port)
    repl.wait()
    if not commands:
        say("at MicroPython's prompt; outputs off, no watchdog; it restarts by itself within 10 min")
        for line in HOW:
            say("  " + line.format(port=port))
        return 0
    try:
        code = subprocess.run([sys.executable, "-m", "mpremote", "connect", port, "resume", *commands],
                              check=False).returncode  # fmt: skip
    except OSError as error:
        raise InputError(f"mpremote cannot be started: {error}", port) from error
    if restart:
        repl.call("exec", "--no-follow", RESET)
        say("restarted")
    return code
