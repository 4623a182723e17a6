"""Mutants of the core: made, chosen, put to the tests, and the lists of equivalents and of hand-made ones."""
