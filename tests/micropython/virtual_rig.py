"""A pit for tests on a virtual board, and waiting for what a board does."""

import time

from host_sim.board.client import Client
from host_sim.errors import InputError
from host_sim.site.load import read_site
from tests.micropython.places import micropython

SITE = """
name = "test pit (invented)"
[pit]
shape = "cylinder"
diameter = "18 in"
depth = "24 in"
floor_area = "600 ft2"
start_level = "{level}"
[contacts]
off = {{ wet_at = "7 in", dry_at = "6 in" }}
lead = {{ wet_at = "14 in", dry_at = "13 in" }}
lag = {{ wet_at = "16 in", dry_at = "15 in" }}
high = {{ wet_at = "18 in", dry_at = "17 in", normally_closed = true }}
[pump]
curve = [["0 gpm", "23 ft"], ["15 gpm", "20 ft"], ["33 gpm", "15 ft"], ["45 gpm", "10 ft"], ["60 gpm", "0 ft"]]
intake = "3 in"
rated_current = "8 A"
volts = "115 V"
[discharge]
outlet = "130 in"
riser = {{ pipe = "1-1/2 in", length = "10 ft", fittings = {{ elbow_90 = 1, swing_check = 1, ball_valve = 1 }} }}
header = {{ pipe = "1-1/2 in", length = "20 ft", fittings = {{ elbow_90 = 2, exit = 1 }} }}
[[inflow]]
kind = "constant"
rate = "{inflow}"
[controller]
sensing = "current"
[scenario]
begins = "20:00"
lasts = "24 h"
seed = 1
"""


def pit(inflow="12 gpm", level="8 in"):
    """Return a test site, skipping where there is no MicroPython to run a board."""
    micropython()
    return read_site(SITE.format(inflow=inflow, level=level))


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
