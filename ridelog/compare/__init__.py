"""Two sets of rides, before and after a change, turned into differences and verdicts."""
