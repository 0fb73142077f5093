"""What a ride tells of its machine, as numbers with the covariance of their errors."""

from dataclasses import dataclass

from ridelog.core.estimate import Estimate
from ridelog.core.track import FloatArray


@dataclass(frozen=True)
class Curve:
    """A rate of change of speed at some speeds.

    speed_mps, accel_mps2 : shape (k,); for coasting the deceleration, positive when slowing.
    covariance : of the errors of ``accel_mps2``, (k, k). [m²/s⁴]
    """

    speed_mps: FloatArray
    accel_mps2: FloatArray
    covariance: FloatArray


@dataclass(frozen=True)
class NearTop:
    """Mean speed and acceleration over the last seconds at the top, with standard deviations."""

    speed_mps: float
    speed_sd_mps: float
    accel_mps2: float
    accel_sd_mps2: float


@dataclass(frozen=True)
class Evidence:
    """What one ride tells; whatever it does not tell is None.

    pull : acceleration at full throttle, mean of both directions where there are both.
    coasting : deceleration without drive, likewise.
    top_mps : top speed that was held, mean of both directions where there are both, with the
        standard deviation of its error. [m/s]
    near_top : the last seconds at the top of one direction, or of two opposite ones; goes before
        ``top_mps``, since it allows for a run that had not quite settled, and for wind or slope
        that let another limit take over in one direction.
    start : speed and time of a standing start up to that speed, and the time's standard
        deviation beside what all starts of a machine share: shows how slowly the throttle is
        opened. [m/s, s, s]
    decel_mps2 : of hard stops, each with its interval.
    lateral_mps2 : largest lateral acceleration in a turn.
    """

    name: str
    pull: Curve | None = None
    coasting: Curve | None = None
    top_mps: tuple[float, float] | None = None
    near_top: tuple[NearTop, ...] = ()
    start: tuple[float, float, float] | None = None
    decel_mps2: tuple[Estimate, ...] = ()
    lateral_mps2: Estimate | None = None
