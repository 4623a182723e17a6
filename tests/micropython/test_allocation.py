"""Nothing is allocated per step: bytes ever allocated on 64 bits, bytes in use on 32 bits, and a locked heap.

The three ways see different things: 64 bits show transient bytes and frames
that go to the heap, 32 bits what is left behind, the lock names the line.
"""

import re
import subprocess

import pytest

from tests.micropython import places

# One call around all steps; not the steps themselves.
ONCE = 200


def cases(place, way):
    """Return {case: (bytes over all steps, steps, microseconds a step)}."""
    found = {}
    for line in places.PLACES[place]("allocation.py", way).splitlines():
        words = line.split()
        if len(words) == 4:
            found[words[0]] = tuple(map(int, words[1:]))
    return found


@pytest.mark.parametrize(
    ("place", "way"),
    [
        pytest.param("MicroPython 64-bit", "total", id="64 bits, ever allocated"),
        pytest.param("MicroPython 64-bit", "lock", id="64 bits, heap locked", marks=pytest.mark.long),
        pytest.param("MicroPython 32-bit", "alloc", id="32 bits, left behind", marks=pytest.mark.long),
    ],
)
def test_a_step_allocates_nothing(place, way):
    found = cases(place, way)
    assert len(found) >= 5
    for name, (count, steps, microseconds) in found.items():
        print(f"{place} {name}: {count / steps:.1f} bytes, {microseconds} us a step")
    assert {name: count for name, (count, _, _) in found.items() if count > ONCE} == {}


# Functions that run at every tick; the rest of the station may have a frame on the heap, freed when it returns.
EVERY_TICK = {
    "loop.py": {"once", "_step", "_tick", "_inputs", "_judge", "_quiet"},
    "recorder.py": {"step", "_note", "_note_more", "_copy_alarms", "_add", "add"},
    "journal.py": {"step", "_turned", "_differ", "pack", "due", "full", "waiting"},
    "minimal.py": {"step", "_count", "_barred", "_ask", "_switch", "_rested"},
    "wired.py": {"read", "_contacts", "_channels", "_counts", "_selectors", "now_ms", "feed_watchdog"},
    "posix.py": {"read", "now_ms", "_ask"},
}
MOST_WORDS = 11


def frames(path):
    """Return {function: words of its frame} of a firmware file, as MicroPython compiles it."""
    command = [places.micropython(), "-v", "-v", "-v", "-X", "compile-only", str(path)]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    found, name = {}, ""
    for line in said.splitlines():
        block = re.search(r"code block '(\w+|<\w+>)'", line)
        name = block.group(1) if block else name
        state = re.search(r"N_STATE \(?(\d+)", line)
        if state:
            found[name] = max(found.get(name, 0), int(state.group(1)))
    return found


@pytest.mark.long
def test_no_frame_of_a_tick_goes_to_the_heap():
    seen = 0
    for folder in ("station", "boards"):
        for path in sorted((places.LIB / "duplexsump" / folder).glob("*.py")):
            words = frames(path)
            wanted = EVERY_TICK.get(path.name, set())
            assert wanted <= words.keys(), path.name
            seen += len(wanted)
            assert {name: words[name] for name in wanted if words[name] > MOST_WORDS} == {}, path.name
    assert seen > 25
