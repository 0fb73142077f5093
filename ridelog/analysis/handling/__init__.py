"""How a machine handles: lateral load and radius of its turns, weave, steering corrections."""

from ridelog.analysis.handling.loads import Turn, TurnLoads
from ridelog.analysis.handling.measure import Handling, measure_handling

__all__ = ["Handling", "Turn", "TurnLoads", "measure_handling"]
