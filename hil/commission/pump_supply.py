"""What cuts a pump's own power, and the words for it: a mains pump's plug or breaker, a battery pump's fuse.

A pump that may run on either is cut off only behind the point where both
supplies come together: with its breaker off it goes on from the battery.
"""

from duplexsump.control import settings as s

_ISOLATE = {
    s.MAINS: "unplug pump {n} at the outlet, or lock out its disconnect, not its breaker",
    s.BATTERY: "lock out pump {n}'s disconnect; where it has none, pull the fuse in its own lead, and keep it in your "
               "pocket",
    s.EITHER: "unplug pump {n} at its own outlet, behind the changeover to the battery; its breaker alone leaves it "
              "on the battery",
}  # fmt: skip
_RECONNECT = {
    s.MAINS: "plug in pump {n}, or switch its disconnect on",
    s.BATTERY: "switch pump {n}'s disconnect on, or put the fuse back into its lead",
    s.EITHER: "plug in pump {n} at its own outlet",
}
_TRIP = {
    s.MAINS: "press the test button of pump {n}'s GFCI, or switch its breaker off",
    s.BATTERY: "with pump {n} stopped, its selector at OFF, pull the fuse in its own lead (under load it would spark); "
               "in a closed room let fresh air in first",
    s.EITHER: "unplug pump {n} at its own outlet, behind the changeover to the battery",
}
_RESTORE = {
    s.MAINS: "reset pump {n}'s GFCI, or switch its breaker on",
    s.BATTERY: "put the fuse back into pump {n}'s lead",
    s.EITHER: _RECONNECT[s.EITHER],
}
_SEEN_OFF = {
    s.MAINS: "Is its plug in your sight and out of the outlet, or its disconnect or breaker off under your own lock?",
    s.BATTERY: "Is its disconnect off under your own lock, or the fuse of its lead in your pocket?",
    s.EITHER: "Is its plug in your sight and out of its own outlet?",
}
_DROP = {
    s.MAINS: "switch pump {n}'s breaker off, or press its GFCI's test button",
    s.BATTERY: "pull the fuse in pump {n}'s own lead",
    s.EITHER: "switch off what feeds the coil circuit of pump {n}",
}
_DEVICE = {
    s.MAINS: "Run pump {n}, then press its GFCI's test button, or switch its breaker off and on.  Does it cut the pump "
             "off, and does it hold when reset?",
    s.BATTERY: "Stop pump {n} with its selector at OFF, pull the fuse in its own lead, set it to HAND.  Does it stay "
               "stopped, and run again with the fuse back in?",
    s.EITHER: "Run pump {n}, then unplug it at its own outlet.  Does it stop, and run again when plugged in?",
}  # fmt: skip
_METERS = {
    s.MAINS: "connect a voltmeter to its supply and a clamp meter around one of its conductors; live terminals are an "
             "electrician's work",
    s.BATTERY: "put a clamp meter that reads DC around one conductor of its lead",
    s.EITHER: "connect a voltmeter to its supply and a clamp meter around one of its conductors; live terminals are an "
              "electrician's work",
}  # fmt: skip


def _of(board, n):
    return board.setting(f"supply_{n + 1}")


def _words(table, board, n):
    return table[_of(board, n)].format(n=n + 1)


def isolate(board, n):
    """Return how pump n (0 or 1) is made dead for work on it."""
    return _words(_ISOLATE, board, n)


def reconnect(board, n):
    """Return how that is undone."""
    return _words(_RECONNECT, board, n)


def trip(board, n):
    """Return how the power of a running pump is cut at its own device."""
    return _words(_TRIP, board, n)


def stopped_first(board, n):
    """Return whether pump n must be stopped before its power is cut: a fuse pulled under load sparks."""
    return _of(board, n) == s.BATTERY


def restore(board, n):
    """Return how that is undone."""
    return _words(_RESTORE, board, n)


def seen_off(board, n):
    """Return the question whether a pump is visibly without power."""
    return _words(_SEEN_OFF, board, n)


def device(board, n):
    """Return the question whether a pump's own device works, where the controller senses nothing."""
    return _words(_DEVICE, board, n)


def meters(board, n):
    """Return where the meters go."""
    return _words(_METERS, board, n)


def both(board, words, all_mains):
    """Return what is done to both pumps: `all_mains` where both are on the mains, else the words for each."""
    if _of(board, 0) == _of(board, 1) == s.MAINS:
        return all_mains
    return f"{words(board, 0)}; {words(board, 1)}"


def drop_relay(board, n):
    """Return how the relay of a motor's thermal contact is made to drop, its pump dead already."""
    return _words(_DROP, board, n)


def sentence(words):
    """Return words as a sentence."""
    return f"{words[0].upper()}{words[1:]}."
