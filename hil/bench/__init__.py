"""The bench: the words procedures are written in, carrying them out, verdicts, seeded defects, latency."""
