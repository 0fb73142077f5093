"""Top speed as the JSON object that scripts read."""

from typing import Any

from ridelog.analysis.top_speed.measure import TopSpeed
from ridelog.present.json import estimate_json, number


def top_speed_json(top: TopSpeed) -> dict[str, Any]:
    """Return the top speed with its two runs."""
    return {
        "best_1s_mps": estimate_json(top.best_1s_mps),
        "best_5s_mps": estimate_json(top.best_5s_mps),
        "at_s": number(top.at_s),
        "raw_peak_mps": number(top.raw_peak_mps),
        "raw_peak_kind": top.raw_peak_kind,
        "two_way_mps": estimate_json(top.two_way_mps),
        "two_way_runs": [
            {
                "start_s": run.start_s,
                "end_s": run.end_s,
                "course_deg": run.course_deg,
                "speed_mps": run.speed.as_json(),
            }
            for run in top.runs
        ],
        "reason": top.reason,
    }
