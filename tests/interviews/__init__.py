"""Interviews drawn from a seed, typed into the real dialogue, sized, and held to what their page says is covered."""
