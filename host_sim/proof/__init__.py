"""Proof: exhaustive exploration by parts, mutants of the core, long time and the fault campaign."""
