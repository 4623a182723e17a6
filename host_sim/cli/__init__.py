"""The command line `sumpbench`: options, refusals, exit codes.  Nothing imports it; the work lies elsewhere."""
