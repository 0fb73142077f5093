"""Single routines of scipy, without the packages around them.

The packages that hold them load what every other routine needs, and ``scipy.linalg`` alone takes a
good part of what a short command does. The compiled module with the routine is there at once.
"""

import sys
from importlib import import_module
from importlib.machinery import PathFinder
from importlib.util import find_spec, module_from_spec
from pathlib import Path
from typing import Any


def routine(package: str, name: str, compiled: str) -> Any:
    """Return a routine of scipy.

    Parameters
    ----------
    package, name : str
        Where everybody finds it, such as "scipy.linalg.lapack" and "dpbtrf".
    compiled : str
        The compiled module that makes it, such as "scipy.linalg._flapack". Where a version of scipy
        has it elsewhere, or does not let it be loaded by itself, the package is loaded.
    """
    found = None
    if package not in sys.modules:
        found = getattr(sys.modules.get(compiled) or _alone(compiled), name, None)
    return found or getattr(import_module(package), name)


def _alone(compiled: str) -> Any:
    """Return a compiled module without its packages, None if it cannot be loaded so."""
    scipy = find_spec("scipy")
    if scipy is None or not scipy.submodule_search_locations:
        return None
    inner = compiled.split(".")[1:-1]
    folders = [str(Path(place, *inner)) for place in scipy.submodule_search_locations]
    spec = PathFinder.find_spec(compiled, folders)
    if spec is None or spec.loader is None:
        return None
    try:
        module = module_from_spec(spec)
        # Known by its name from here on, so that its package takes it and makes no second one.
        sys.modules[compiled] = module
        spec.loader.exec_module(module)
    except (ImportError, AttributeError):
        sys.modules.pop(compiled, None)
        return None
    return module
