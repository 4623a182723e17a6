"""The checkout of a build: each input and output proved one by one, with a person's answers, over the link.

    readings.py   what the controller reads of each signal of the board's table
    checkout.py   the items in order, kept after each, resumed later
    asking.py     the person's lines; kept.py, the record's file
    orders.py     what a person is asked to do; serial_line.py, RS-485 proved by the program itself
    person.py     a simulated person at the terminals of a virtual board
    page.py       the record as a page; page.html, its template
"""
