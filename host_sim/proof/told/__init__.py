"""Told: for every fault, in wet months and dry ones, which alarm names it, how soon, how loudly, and who is called."""
