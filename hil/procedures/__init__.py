"""The acceptance procedures, one short file each.

A procedure holds PURPOSE (one sentence), CLAUSES of the control narrative, NEEDS
(wires and abilities of the kit), its place in the ORDER, a CAUTION where somebody
or something can be hurt, and `run(bench)`.  REAL_TIME marks the short set that also
runs in real time.  Modules whose name begins with `_` are helpers.

A real board runs in real time: with the default settings about 3 h 35 min for the
32 procedures that a rig can do, under 2 h for the 19 that forced inputs can do.
Lockout, reminders and long run are more than half of it.

Forced inputs without a rig cannot test power loss and return, the watchdog, the
silence button, the selectors, chatter, motor current, moisture, the transmitter,
the battery, a generator and days of idleness: those procedures are skipped by name.
No procedure tests pumped rate, battery capacity or whether the horn is heard: the
hose test does.
"""
