"""The bench: the commands that procedures are written in, stimuli, motor current, verdicts, latency."""
