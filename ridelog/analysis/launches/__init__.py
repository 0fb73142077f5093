"""Standing starts and rolling windows, timed."""
