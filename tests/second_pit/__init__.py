"""A second pit: an independent judge of the controller.

It drives the firmware's core alone and shares nothing with the simulator: its own pit,
pumps, floats and supply in plain 100 ms steps, its own faults, its own ideal controller
to say which floods were avoidable.  Where this judge and the simulator's campaign differ, one of them
is wrong about the world.

    python -m tests.second_pit --nights 200 --seed 1
    python -m tests.second_pit --seed 1 --only 17

Every figure of its pits is invented, in the range of residential sumps (common practice, no source),
except where a formula names its source.
"""
