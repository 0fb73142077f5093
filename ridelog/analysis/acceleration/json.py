"""The pull curve as the JSON object that scripts read."""

from typing import Any

from ridelog.analysis.acceleration.measure import PullCurve
from ridelog.present.json import estimate_json


def pull_json(pull: PullCurve) -> dict[str, Any]:
    """Return the pull curve; speeds without a figure are left out."""
    return {
        "curve": [
            {"speed_mps": float(speed), "accel_mps2": accel.as_json(), "runs": int(runs)}
            for speed, accel, runs in zip(pull.speed_mps, pull.accel, pull.runs_at, strict=True)
            if accel is not None
        ],
        "standing_mps2": estimate_json(pull.standing_pull),
        "peak_power_speed_mps": estimate_json(pull.peak_power_speed),
        "peak_power_reason": pull.peak_reason,
        "runs_used": pull.runs_used,
        "runs_left_out": pull.runs_left_out,
        "both_ways": pull.both_ways,
        "way_difference_mps2": estimate_json(pull.way_difference),
        "slope": pull.slope_note,
        "reason": pull.reason,
    }
