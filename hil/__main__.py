"""`python -m hil` is the command line `sumpbench`."""

from hil.cli import main

main()
