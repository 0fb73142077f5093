"""A speed display, or a second receiver, against the log."""
