"""`python -m hil` is the command line `sumpbench`."""

from hil.cli.app import main

main()
