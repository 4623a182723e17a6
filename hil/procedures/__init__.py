"""The acceptance procedures, one short file each, to be read by whoever does the acceptance.

A procedure holds PURPOSE (one sentence), CLAUSES of the control narrative, NEEDS
(wires and abilities of the kit), its place in the ORDER in which a person would
do them, where somebody or something can be hurt a CAUTION, and `run(bench)`.
REAL_TIME marks the short set that is also run at the pace of the clock.
Modules whose name begins with `_` are helpers.

A real board takes the time that its rules take: with the default settings about
3 h 35 min for the 32 procedures that a rig can do, under 2 h for the 19 that forces
can do. The lockout, the reminders and the long run are more than half of it.

With inputs forced over the link and no rig, nothing can be shown of the power and
its return, the watchdog, the silence button, the selectors, chatter, how much
current a motor draws, moisture, the transmitter, the battery, a generator, and
days of standing still: those procedures are skipped by name. No procedure shows
what a real pump moves, what a battery carries, whether the horn is heard: that is
the hose test's.
"""
