"""A measurement in a Python process of its own, which finds the modules that this one finds."""

import os
import subprocess
import sys


def run(arguments, what, **variables):
    """Return what this Python prints when it runs with `arguments`; `variables` are set in its environment.

    Raises RuntimeError, with `what` was measured, where it fails.
    """
    environment = {**os.environ, **variables, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    done = subprocess.run([sys.executable, *arguments], env=environment, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"measuring {what} failed: {done.stderr.strip()[-400:]}")
    return done.stdout
