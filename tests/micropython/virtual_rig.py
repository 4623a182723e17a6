"""A pit for tests on a virtual board, and waiting for what a board does."""

import time

from host_sim.board.client import Client
from host_sim.errors import InputError
from tests import plant_sites
from tests.micropython.places import micropython

INFLOW = """
[[inflow]]
kind = "constant"
rate = "{inflow}"
[controller]
sensing = "current"
"""
DAY = plant_sites.SCENARIO.replace('lasts = "20 min"', 'lasts = "24 h"')


def pit(inflow="12 gpm", level="8 in"):
    """Return a test site, skipping where there is no MicroPython to run a board."""
    micropython()
    start = plant_sites.PIT.replace('start_level = "6 in"', f'start_level = "{level}"')
    return plant_sites.site(pit=start, inflow=INFLOW.format(inflow=inflow), scenario=DAY)


PATIENCE_S = 600.0  # a last resort against a hang, not a claim: how long a board takes is the machine's affair


def wait_for(what, patience_s=PATIENCE_S, pause_s=0.05):
    """Return what `what()` gives once it is true; fail after minutes."""
    until = time.monotonic() + patience_s
    while True:
        found = what()
        if found:
            return found
        assert time.monotonic() < until, f"waited {patience_s:g} s in vain"
        time.sleep(pause_s)


def values(port, framing="ascii"):
    """Return a board's registers, None while it does not answer."""
    try:
        with Client(port, framing, patience_s=2.0) as client:
            client.identify()
            return client.values()
    except InputError:
        return None


def told(port, name, framing="ascii"):
    """Return one register of a board, once it answers."""
    return wait_for(lambda: values(port, framing))[name]


def ready(board, site=None):
    """Wait until a board answers and, given a site, has its settings in force; return its registers."""
    wait_for(lambda: values(board.port))
    if site is not None:
        with Client(board.port, patience_s=PATIENCE_S) as client:
            client.put_settings(site.settings)
        wait_for(lambda: told(board.port, "settings_sequence"))
    return wait_for(lambda: values(board.port))
