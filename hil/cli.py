"""The whole command line: the simulator's, and the bench's commands behind it.

Exit codes of the bench: 0 everything passed or is marginal, 1 something failed
or was broken off, 2 the input cannot be used.
"""

import importlib

from host_sim import cli

from . import accept

# Modules with add_to(app); each brings the commands of its own part of the bench.
PARTS = ("rig_command", "commission.command")


def add_commands():
    """Put the commands of every part of the bench into the simulator's command line."""
    accept.add_to(cli.app)
    for name in PARTS:
        importlib.import_module(f"hil.{name}").add_to(cli.app)


def main():
    """Run the command line; an input that cannot be used is told without a traceback, exit code 2."""
    add_commands()
    cli.main()


if __name__ == "__main__":
    main()
