"""`python -m host_sim` is the same as `sumpbench`."""

from host_sim.cli.app import main

if __name__ == "__main__":
    main()
