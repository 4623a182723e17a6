"""The guide by which a controller is built: schematic, power side, parts, assembly, on pages that print.

    figures.py       what is worked out: contactor, breaker, wire, sensor, contact circuits, supply and its run time
    words.py         what is said: what one may do oneself, cautions, separation, enclosure, labels
    subject.py       what a guide is about: site, board, expander, relay modules; what of it is not built
    symbols.py       drawing symbols; drawing.py, a drawing as SVG that fits the page
    controller.py, ladder.py, circuits.py   the drawings
    parts.py         parts by rating; fuses.py, every fuse; trials.py, how a measuring input is given a known value
    assembly.py      the order of assembly with a test after each step
    page.py          the pages; page.html, their template
"""
