"""How close a turn came to tipping the machine over, from its width and its height. Advisory.

Source
------
NHTSA, "Why choose SSF?", ch. V: static stability factor T / (2 h), the lateral acceleration in g at
which a rigid vehicle tips. FME report for The Oregonian (2007): the same figure computed for adult
quads (0.86 to 1.07) overstates by 10 to 15 % what a tilt table shows (0.751 to 0.986).
"""

import math
from dataclasses import dataclass

from ridelog.core.errors import RideLogError
from ridelog.core.estimate import Estimate
from ridelog.core.units import STANDARD_GRAVITY_MPS2

# What a tilt table leaves of the computed factor; FME report (2007): 10 to 15 % less.
TILT_SHARE = 0.85
# Least tilt-table figure of the adult quads in the same report, in g.
LEAST_TILT_QUAD = 0.751
# Dimensions outside these are typing errors or other units; common practice, no source. [m]
_WIDTHS_M, _HEIGHTS_M = (0.1, 3.0), (0.1, 2.0)


@dataclass(frozen=True)
class TipOver:
    """The threshold of a machine and how much of it a ride used.

    Attributes
    ----------
    track_width_m, cg_height_m : as given. [m]
    stability_factor : T / (2 h), 1.
    rigid_threshold_mps2 : at which lateral acceleration a rigid machine tips on the level. [m/s²]
    tilt_threshold_mps2 : the safer figure, 0.85 of it, for what suspension and tyres take. [m/s²]
    share_used : share of ``tilt_threshold_mps2`` in the hardest turn, None without one.
    tipping_speed_mps : speed at which the tightest turn of the ride would reach that, None without
        a radius. [m/s]
    """

    track_width_m: float
    cg_height_m: float
    stability_factor: float
    rigid_threshold_mps2: float
    tilt_threshold_mps2: float
    share_used: Estimate | None
    tipping_speed_mps: float | None


def checked_dimensions(track_width_m: float | None, cg_height_m: float | None) -> None:
    """Check dimensions of which both or none must be known.

    Raises
    ------
    RideLogError
        If only one is given, or one that is not that of a machine in metres.
    """
    if (track_width_m is None) != (cg_height_m is None):
        raise RideLogError(
            "only one of track width and height of the centre of gravity is given.",
            "give both, in metres, or neither.",
        )
    if track_width_m is not None and cg_height_m is not None:
        stability_factor(track_width_m, cg_height_m)


def stability_factor(track_width_m: float, cg_height_m: float) -> float:
    """Return T / (2 h).

    Raises
    ------
    RideLogError
        If a dimension is not that of a machine in metres.
    """
    for name, value, (least, most) in (
        ("track width", track_width_m, _WIDTHS_M),
        ("height of the centre of gravity", cg_height_m, _HEIGHTS_M),
    ):
        if not (math.isfinite(value) and least <= value <= most):
            raise RideLogError(
                f"a {name} of {value:g} m is not that of a small vehicle.",
                f"give it in metres, between {least:g} and {most:g}.",
            )
    return track_width_m / (2.0 * cg_height_m)


def tipping_speed_mps(lateral_mps2: float, radius_m: float) -> float:
    """Return the speed at which a turn of a radius has a lateral acceleration: v² = a r. [m/s]"""
    return math.sqrt(lateral_mps2 * radius_m)


def tip_over(
    track_width_m: float, cg_height_m: float, lateral: Estimate | None, radius: Estimate | None
) -> TipOver:
    """Return the tip-over threshold of a machine and what a ride used of it.

    Rider's lean, suspension, tyres, slope and ruts move it: advisory only.

    Parameters
    ----------
    track_width_m, cg_height_m : float
        Between the middles of left and right tyres; of machine and rider together. [m]
    lateral, radius : Estimate or None
        The ride's largest lateral acceleration and smallest radius. [m/s²], [m]

    Raises
    ------
    RideLogError
        If a dimension is not that of a machine in metres.
    """
    factor = stability_factor(track_width_m, cg_height_m)
    rigid = factor * STANDARD_GRAVITY_MPS2
    tilt = TILT_SHARE * rigid
    used = None
    if lateral is not None:
        used = Estimate(
            lateral.value / tilt, lateral.low / tilt, lateral.high / tilt, lateral.level
        )
    speed = None if radius is None else tipping_speed_mps(tilt, radius.value)
    return TipOver(track_width_m, cg_height_m, factor, rigid, tilt, used, speed)
