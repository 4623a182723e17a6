"""The fault campaign: random nights against a written table, watched by invariants."""
