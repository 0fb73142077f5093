"""How good a log is, and what it can support."""
