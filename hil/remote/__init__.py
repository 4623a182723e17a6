"""What tells people away from the pit: gateway at the board, watchman outside the house, daily look, fleet.

Nothing here decides anything at the pit; the controller works the same with all of it switched off.
"""
