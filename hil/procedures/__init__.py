"""The acceptance procedures, one short file each, to be read by whoever does the acceptance.

A procedure holds PURPOSE (one sentence), CLAUSES of the control narrative, NEEDS
(wires and abilities of the kit), its place in the ORDER in which a person would
do them, where somebody or something can be hurt a CAUTION, and `run(bench)`.
REAL_TIME marks the short set that is also run at the pace of the clock.
Modules whose name begins with `_` are helpers.
"""
