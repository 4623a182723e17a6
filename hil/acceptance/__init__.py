"""The acceptance: finds the procedures, carries them out on a kit, keeps their verdicts; the defects they must find."""
