"""Load, smooth, measure, verify: the one composition of all stages."""
