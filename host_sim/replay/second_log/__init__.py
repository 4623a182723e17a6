"""A second source of logs: an independent trial of the replay.

Its pit, pumps, floats, controllers and check valve are its own few lines of physics and share
nothing with the simulator: Hazen-Williams friction, a curve that bends, floats with play, an
inflow that eases as the pit fills.  The site file that the replay is given describes the pit
only about as well as a plumber would.

    sumpbench replay-trial --matrix --nights 24 --seed 9601

A night is one of eight kinds under one of three controllers: one pump on a float switch, an alternating pair, and
our own firmware on four floats.  A logger keeps it every 1 to 300 s, in steps of 1 to 10 mm, with noise up to 10 mm,
by one of five sets of channels; "events" is an export of changes, one reading a row.  Printed are, for each, how many
logs named the trouble, missed it, named something wrong, abstained, or (of a healthy night) stayed quiet; and how
often the truth lay within the stated bands and bounds, and how wide these are.

Seeds below 9000 are for tuning, those from 9000 on for reporting.  Every figure is invented, in
the range of residential sumps (common practice, no source), except where a formula names its source.
"""
