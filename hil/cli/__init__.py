"""The bench's commands behind the simulator's.  Nothing imports it."""
