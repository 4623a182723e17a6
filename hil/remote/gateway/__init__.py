"""The process beside the board: holds its port, reads it each second, keeps, publishes, serves others."""
