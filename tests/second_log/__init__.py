"""A second source of logs: an independent trial of the replay.

Its pit, pumps, floats, controllers and check valve are its own few lines of physics and share
nothing with the simulator: Hazen-Williams friction, a curve that bends, floats with play, an
inflow that eases as the pit fills.  The site file that the replay is given describes the pit
only about as well as a plumber would.

    python -m tests.second_log --nights 24 --seed 9001

Seeds below 9000 are for tuning, those from 9000 on for reporting.  Every figure is invented, in
the range of residential sumps (common practice, no source), except where a formula names its source.
"""
