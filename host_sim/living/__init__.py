"""The living pit: the simulator and the firmware moved on by whoever looks at them, one deed after the other."""
