"""The acceptance: finds the procedures, runs them on a kit, records verdicts; the seeded defects they must catch."""
