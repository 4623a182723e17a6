"""The physics of the pit: water, pipes, pumps, floats, supply.  Plain numbers in SI; no file, no controller."""
