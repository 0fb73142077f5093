"""Honest speed figures from a test ride's log, with intervals that hold."""

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ridelog.analysis.figure import Figure
    from ridelog.analysis.settings import Settings
    from ridelog.core.errors import RideLogError
    from ridelog.core.estimate import Estimate
    from ridelog.workflow.batch_table import batch
    from ridelog.workflow.ride import Ride, compare, load, predict
    from ridelog.workflow.verify import verify

__version__ = "0.1.0"
__all__ = [
    "Estimate", "Figure", "Ride", "RideLogError", "Settings",
    "batch", "compare", "load", "predict", "verify",
]  # fmt: skip

# Where each public name lives, loaded when first asked for: the command line, which imports this
# package too, answers at once.
_PLACES = {
    "Estimate": "ridelog.core.estimate",
    "Figure": "ridelog.analysis.figure",
    "RideLogError": "ridelog.core.errors",
    "Settings": "ridelog.analysis.settings",
    "batch": "ridelog.workflow.batch_table",
    "verify": "ridelog.workflow.verify",
    **dict.fromkeys(("Ride", "load", "predict"), "ridelog.workflow.ride"),
}


class _Package(ModuleType):
    """A folder is called compare too: the name stands for the function, whoever imports which."""

    @property
    def compare(self) -> Any:
        return import_module("ridelog.workflow.ride").compare

    @compare.setter
    def compare(self, folder: ModuleType) -> None:
        """Keep the function when the folder is imported, which ``import`` finds by itself."""

    def __getattr__(self, name: str) -> Any:
        if name not in _PLACES:
            raise AttributeError(f"module 'ridelog' has no attribute {name!r}")
        return getattr(import_module(_PLACES[name]), name)


sys.modules[__name__].__class__ = _Package
