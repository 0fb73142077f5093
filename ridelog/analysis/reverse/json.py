"""Reverse travel as the JSON object that scripts read."""

from typing import Any

from ridelog.analysis.reverse import Reverse
from ridelog.present.json import estimate_json, number


def reverse_json(reverse: Reverse) -> dict[str, Any]:
    """Return reverse travel; uncertain segments are listed with their own state."""
    return {
        "state": reverse.state,
        "top_speed_mps": estimate_json(reverse.top_speed),
        "distance_m": reverse.distance_m,
        "segments": [
            {
                "start_s": segment.start_s,
                "end_s": segment.end_s,
                "state": segment.state,
                "distance_m": segment.distance_m,
                "top_speed_mps": estimate_json(segment.top_speed),
                "probability": number(segment.probability),
                "evidence": segment.evidence,
            }
            for segment in reverse.segments
        ],
        "reason": reverse.reason,
    }
