"""The whole command line: the simulator's, and the bench's commands behind it.

Exit codes of the bench: 0 everything passed or is marginal, 1 something failed
or was broken off, 2 the input cannot be used.
"""

from hil.cli import accept, build, commission, daily, fleet, gateway, live, person, remote_demo, rig, watchman
from host_sim.cli import app

# Each brings the commands of its own part of the bench.
PARTS = (build, accept, rig, commission, gateway, watchman, person, daily, fleet, remote_demo, live)


def add_commands():
    """Put the commands of every part of the bench into the simulator's command line."""
    for part in PARTS:
        part.add_to(app.app)


def main():
    """Run the command line; an input that cannot be used is told without a traceback, exit code 2."""
    add_commands()
    app.main()


if __name__ == "__main__":
    main()
