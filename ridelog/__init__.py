"""Honest speed figures from a test ride's log, with intervals that hold."""

__version__ = "0.1.0"
