"""Top speed, as a subject of a ride."""

from collections.abc import Iterable
from typing import Any

from ridelog.analysis.cautions import Caution
from ridelog.analysis.figure import HEADLINE_WEIGHT, HIGHER, Comparable, Figure
from ridelog.analysis.subject import MeasuredRide, Subject
from ridelog.analysis.top_speed.cautions import advised_speed_caution, top_speed_cautions
from ridelog.analysis.top_speed.json import top_speed_json
from ridelog.analysis.top_speed.measure import TopSpeed, measure_top_speed
from ridelog.analysis.wind import wind_loss
from ridelog.core.quantity import SPEED


class TopSpeedOfRide(Subject):
    """How fast it went: over one second, over five, and as the mean of both directions."""

    name = "top_speed"
    needs = ("reverse",)

    def measure(self, ride: MeasuredRide) -> TopSpeed:
        """Return the top speed of forward travel."""
        return measure_top_speed(ride.motion, excluded=ride.excluded)

    def figures(self, ride: MeasuredRide) -> Iterable[Figure]:
        """Return the fastest second, the mean of both directions and the best five seconds."""
        top: TopSpeed = ride["top_speed"]
        yield Figure(
            "best_1s_mps",
            "fastest second",
            SPEED,
            top.best_1s_mps,
            top.reason if top.best_1s_mps is None else "",
            Comparable(
                HIGHER,
                HEADLINE_WEIGHT,
                one_direction=True,
                both_ways=top.two_way_mps,
                course_deg=ride.course_at(top.at_s + 0.5),
            ),
            spoken="top speed",
            explained="highest mean speed over one second",
        )
        yield Figure(
            "two_way_mps",
            "both directions",
            SPEED,
            top.two_way_mps,
            top.reason if top.two_way_mps is None else "",
            Comparable(
                HIGHER, HEADLINE_WEIGHT, both_ways=top.two_way_mps, wind_excess=-_wind_loss(ride)
            ),
            spoken="top speed",
            explained="mean of the fastest second in either direction",
        )
        yield Figure(
            "best_5s_mps",
            "best five seconds",
            SPEED,
            top.best_5s_mps,
            "" if top.best_5s_mps else "no five seconds in a row carry a figure",
            explained="highest mean speed over five seconds: what it holds, not only touches",
        )

    def cautions(self, ride: MeasuredRide) -> Iterable[Caution]:
        """Return the warnings about a class of age, an advised speed, and doubtful figures."""
        top: TopSpeed = ride["top_speed"]
        yield from advised_speed_caution(top.best_1s_mps, ride.settings.advised_mps)
        for caution in top_speed_cautions(top):
            if caution.code != "age_class" or not ride.settings.adult_rider:
                yield caution

    def document(self, ride: MeasuredRide) -> dict[str, Any]:
        """Return the member "top_speed" of the result."""
        return {"top_speed": top_speed_json(ride["top_speed"])}


def _wind_loss(ride: MeasuredRide) -> float:
    """Return what wind may have taken from both directions alike, 0 where nothing tells. [m/s]"""
    top, curve = ride["top_speed"], ride["acceleration"].curve
    if top.two_way_mps is None or not curve:
        return 0.0
    last_mps2 = curve[-1].accel_mps2.value
    below_mps = top.two_way_mps.value - curve[-1].speed_mps
    if last_mps2 <= 0.0 or below_mps <= 0.0:
        return 0.0
    there, back = (run.speed for run in top.runs)
    return wind_loss(there, back, slope_ps=last_mps2 / below_mps)
