"""Honest speed figures from a test ride's log, with intervals that hold."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ridelog.analysis.figure import Figure
    from ridelog.analysis.settings import Settings
    from ridelog.core.errors import RideLogError
    from ridelog.core.estimate import Estimate
    from ridelog.workflow.ride import Ride, compare, load

__version__ = "0.1.0"
__all__ = ["Estimate", "Figure", "Ride", "RideLogError", "Settings", "compare", "load"]

# Where each public name lives: loaded when it is first asked for, so that the command line, which
# imports this package too, answers at once.
_PLACES = {
    "Estimate": "ridelog.core.estimate",
    "Figure": "ridelog.analysis.figure",
    "Ride": "ridelog.workflow.ride",
    "RideLogError": "ridelog.core.errors",
    "Settings": "ridelog.analysis.settings",
    "compare": "ridelog.workflow.ride",
    "load": "ridelog.workflow.ride",
}


def __getattr__(name: str) -> Any:
    if name not in _PLACES:
        raise AttributeError(f"module 'ridelog' has no attribute {name!r}")
    return getattr(import_module(_PLACES[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *_PLACES})
