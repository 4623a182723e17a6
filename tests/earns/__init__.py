"""Does every rule earn its place?  Each is switched off, and the nights that come out worse are counted.

    python -m tests.earns --nights 200 --seed 7

`rules.toml` lists rules and parts of rules with one line of the core that, rewritten, leaves each out.  The nights
of the campaign, those of the second judge and the months of `told` are played once with the core as it stands; at
each of these lines is noted whether the rewritten line would have said something else.  A night in which it never
would is the same night without the rule; the others are played again without it, and compared.

A rule without a night that comes out worse has none that pays for it.  Look at the night that brought it in, which its
clause or the narrative's "Readings that were settled" tells, before it goes.

    rules.py      the rows, and what the lines of the core would have said without them
    judges.py     a night or a month played, and what a household would notice of it
    __main__.py   the command and its table
"""
