"""How fast the simulator is, beside EPA SWMM's engine on the same pit."""
