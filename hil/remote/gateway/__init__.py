"""The process beside the board: holds its port, reads it once a second, keeps what it saw, publishes it, serves others."""
