"""Reverse travel: found by the course through stops, marked by the rider, or said to be open."""

from ridelog.analysis.reverse.find import find_reverse
from ridelog.analysis.reverse.record import Reverse, Segment

__all__ = ["Reverse", "Segment", "find_reverse"]
