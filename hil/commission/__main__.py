"""`python -m hil.commission` is `sumpbench commission`."""

from .command import main

main()
