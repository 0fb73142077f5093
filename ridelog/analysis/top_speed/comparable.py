"""Top speed of a ride, for comparing: the best second, and the mean of both directions."""

from ridelog.analysis.comparable import HEADLINE_WEIGHT, MORE, Measure, Reading, Rides
from ridelog.analysis.ridden import RiddenRide
from ridelog.analysis.wind import wind_loss
from ridelog.core.units import SpeedUnit


def top_speed_measures(before: Rides, after: Rides, unit: SpeedUnit) -> list[Measure]:
    """Return both measures of top speed."""
    return [
        Measure(
            "best_1s_mps",
            "best second",
            "m/s",
            MORE,
            _best_1s,
            weight=HEADLINE_WEIGHT,
            one_direction=True,
            explained="highest mean speed over one second",
        ),
        Measure(
            "two_way_mps",
            "top speed",
            "m/s",
            MORE,
            _two_way,
            weight=HEADLINE_WEIGHT,
            explained="mean of the best second in either direction",
        ),
    ]


def _best_1s(ride: RiddenRide) -> Reading:
    top = ride.result.top_speed
    return Reading(
        top.best_1s,
        top.reason if top.best_1s is None else "",
        both_ways=top.two_way,
        course_deg=ride.course_at(top.at_s + 0.5),
    )


def _two_way(ride: RiddenRide) -> Reading:
    top = ride.result.top_speed
    return Reading(
        top.two_way,
        top.reason if top.two_way is None else "",
        both_ways=top.two_way,
        wind_excess=-_wind_loss(ride),
    )


def _wind_loss(ride: RiddenRide) -> float:
    """Return what wind may have taken from both directions alike, 0 where nothing tells. [m/s]"""
    top, pull = ride.result.top_speed, ride.result.pull
    known = [k for k, accel in enumerate(pull.accel) if accel is not None]
    if top.two_way is None or not known:
        return 0.0
    last, below_mps = pull.accel[known[-1]], top.two_way.value - float(pull.speed_mps[known[-1]])
    if last is None or last.value <= 0.0 or below_mps <= 0.0:
        return 0.0
    there, back = (run.speed for run in top.runs)
    return wind_loss(there, back, slope_ps=last.value / below_mps)
