"""A machine as it is set up: its file, its model, what rides tell of it, and the next change."""
