"""The PC's side of a board: Modbus client, virtual board, deployment, reading back a journal."""
