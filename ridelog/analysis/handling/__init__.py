"""How a machine handles: lateral load and radius of its turns, weave, steering corrections."""

from ridelog.analysis.handling.measure import Handling, measure_handling
from ridelog.analysis.handling.turn_loads import Turn, TurnLoads

__all__ = ["Handling", "Turn", "TurnLoads", "measure_handling"]
