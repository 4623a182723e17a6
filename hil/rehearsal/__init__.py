"""A rehearsal: a site's night on a board, the simulated pit at its pins."""
