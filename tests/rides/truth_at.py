"""The truth of a ride at times between those of its grid."""

import numpy as np
from simulate import Truth

from ridelog.core.track import FloatArray


def truth_at(truth: Truth, time_s: FloatArray) -> Truth:
    """Return the truth at other times of the ride, which need not be evenly spaced.

    Positions are cubic in time, as a receiver sees them, the rest linear. Times outside the ride
    give its first or last state.
    """
    east, north = truth.position_at(time_s)
    rest = {
        name: np.interp(time_s, truth.time_s, getattr(truth, name))
        for name in ("height_m", "velocity_mps", "accel_mps2", "yaw_rate_radps", "heading_rad")
    }
    return Truth(np.array(time_s, dtype=np.float64), east, north, **rest)
