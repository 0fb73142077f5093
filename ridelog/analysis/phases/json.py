"""Phases as the JSON that scripts read."""

from typing import Any

from ridelog.analysis.phases.measure import Phases


def phases_json(phases: Phases) -> list[dict[str, Any]]:
    """Return the phases of a ride in time order."""
    return [
        {
            "kind": phase.kind,
            "start_s": phase.start_s,
            "end_s": phase.end_s,
            "from_mps": phase.from_mps,
            "to_mps": phase.to_mps,
        }
        for phase in phases.each
    ]
