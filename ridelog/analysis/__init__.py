"""Motion -> figures of the ride, each with its interval; the register is in ``ride``."""
