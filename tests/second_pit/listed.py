"""What a controller cannot know of a night, as the narrative's "What stays open" lists it: excused, and said to be.

Each is judged by the state of the pit itself, not by the names of the night's faults, and what is left of the promise
is asked for all the same: a dry run without end must be called at once.
"""

CALLED_S = 60.0  # within which a dry run that nothing tells of is called
FICKLE_DRY_S = 210.0  # L2: three rises of a float that comes and goes every 20 to 40 s

NO_READING = "a wet high, and no more floats below it that say otherwise, no current sensed"
FICKLE = "a float that comes and goes, no current sensed"
TIMED = "draw-downs by time from high alone beside a pump that moves nothing, no current sensed"
ALONE = "high alone over dead floats, no current sensed, and the one pump that can run has half of it to pump away"


def no_reading(pit):
    """Return whether nothing tells an empty pit from a full one, and `high` reads wet (no current is sensed).

    No float below is sound, or as many hang wet over the lowest dry one as there are dry ones: the last edge decides.
    """
    *lower, high = pit.floats.floats
    if pit.site.sensing == 2 or high.sound() or not _wet(high) or (pit.transmitter and pit.transmitter.sound()):
        return False
    fitted = [f for f in lower if f is not None]
    dry = [i for i, f in enumerate(fitted) if not _wet(f)]
    over = 1 + sum(_wet(f) for f in fitted[min(dry, default=0):])
    return not any(f.sound() for f in fitted) or over >= len(dry)


def no_answer(pit, answered):
    """Return why nothing told that a pump had to go on as the floor got wet, "" where something did.

    No current is sensed and nothing that is sound is left below `high`.  That one comes and goes; or it is wet over
    dead floats, one pump can run, and more than half of what that one moves flows in.  Until it has turned dry
    (`answered`) `high` may hang; from then on each draw-down from it ends by time, which counts both pumps as good.
    """
    *lower, high = pit.floats.floats
    if pit.site.sensing == 2 or any(f is not None and f.sound() for f in lower):
        return ""
    if pit.transmitter and pit.transmitter.sound():
        return ""
    if high.intermittent:
        return FICKLE
    able = [n for n in (0, 1) if pit.can_run(n)]
    if len(able) != 1 or pit.inflow <= 0.5 * pit.site.curves[able[0]].flow(pit.level):
        return ""
    return TIMED if answered else ALONE


def _wet(contact):
    return contact.closed != contact.normally_closed


def comes_and_goes(pit):
    """Return whether a float turns by itself where no current tells what the water does."""
    return pit.site.sensing != 2 and any(f is not None and f.intermittent for f in pit.floats.floats)
