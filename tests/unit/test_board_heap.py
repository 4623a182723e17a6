"""What a Pico's heap has no room for is not made on a board: the names of a snapshot's places are for the PC alone."""

import subprocess
import sys
from pathlib import Path

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"

# Everything that a start and a life do with the places of a snapshot, in a fresh process.
LIFE = """
from duplexsump.control import controller as c
from duplexsump.control import settings as s
from duplexsump.station import run

one = c.Controller(s.defaults())
one.power_up(0)
retained, whole = one.retain(), one.snapshot()
assert len(one.retained_places()) == len(retained)
other = c.Controller(s.defaults())
other.restore(whole)
assert [whole[place] for place in one.retained_places()] == retained == other.retain()
third = c.Controller(s.defaults())
third.power_up(0, retained)
print(len(c._readers))
assert len(c.FIELDS) == len(whole) and len(c.RETAINED) == len(retained)
assert [place for place, row in enumerate(c.FIELDS) if row[2]] == one.retained_places()
print(len(c._readers))
"""


def test_a_life_makes_no_table_of_names_and_the_pcs_table_agrees_with_it():
    done = subprocess.run(
        [sys.executable, "-c", LIFE], cwd=FIRMWARE / "lib", capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == ["0", "2"]
