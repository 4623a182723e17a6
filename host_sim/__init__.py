"""The PC side: physics of a sump pit, the closed loop with the real controller, and what is told of it."""
