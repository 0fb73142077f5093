"""Coast-down as the JSON object that scripts read."""

from typing import Any

import numpy as np

from ridelog.analysis.coasting.measure import Coasting
from ridelog.present.json import estimate_json


def coasting_json(coasting: Coasting) -> dict[str, Any]:
    """Return what rolling out tells; coefficients per mass, so that force = mass x value."""
    return {
        "stretches": [
            {
                "start_s": one.start_s,
                "end_s": one.end_s,
                "from_mps": one.from_mps,
                "to_mps": one.to_mps,
                "course_deg": float(np.degrees(one.course_rad)),
                "decel_mps2": one.decel.as_json(),
            }
            for one in coasting.each
        ],
        "both_ways": coasting.both_ways,
        "rolling_mps2": estimate_json(coasting.rolling),
        "linear_ps": estimate_json(coasting.linear),
        "air_pm": estimate_json(coasting.air),
        "decel": [
            {"speed_mps": float(speed), "decel_mps2": estimate_json(decel)}
            for speed, decel in zip(coasting.speed_mps, coasting.decel, strict=True)
        ],
        "reason": coasting.reason,
    }
