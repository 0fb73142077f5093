"""The ride book: keeps logs, machines, set-ups, notes and results; computes nothing."""
