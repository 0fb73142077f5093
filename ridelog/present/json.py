"""Estimates and numbers as JSON has them, for every part of a result."""

import math
from typing import Any

from ridelog.core.estimate import Estimate


def estimate_json(estimate: Estimate | None) -> dict[str, Any] | None:
    """Return an estimate, or null."""
    return None if estimate is None else estimate.as_json()


def number(value: float) -> float | None:
    """Return a number, or null for one that is not finite."""
    return float(value) if math.isfinite(value) else None
