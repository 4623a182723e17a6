"""Logs of every kind into one: mapping, units, time stamps, cleaning, with an account of what was changed."""
