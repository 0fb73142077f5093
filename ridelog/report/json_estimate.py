"""Estimates as JSON objects, for every part of a result."""

from typing import Any

from ridelog.analysis.result import Estimate


def estimate_json(estimate: Estimate | None) -> dict[str, Any] | None:
    """Return an estimate, or null."""
    return None if estimate is None else estimate.as_json()
