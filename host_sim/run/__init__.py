"""A run: the real controller in the simulated pit, event by event, and what is recorded of it."""
