"""Top speed, as a subject of a ride."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from ridelog.analysis.cautions import DANGER, Caution, age_class_caution, both_units
from ridelog.analysis.coverage import WELL_SEEN
from ridelog.analysis.figure import HEADLINE_WEIGHT, HIGHER, Comparable, Figure
from ridelog.analysis.subject import MeasuredRide, Subject
from ridelog.analysis.top_speed.measure import NO_FIVE, TopSpeed, measure_top_speed
from ridelog.analysis.top_speed.page import top_speed_lines
from ridelog.analysis.wind import wind_loss
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import SPEED
from ridelog.core.units import SpeedUnit

# Opposite runs further apart than this are not accepted by the eKFV Annex, no. 2.1.2.
_RUNS_WITHIN = 0.10
# Slower than this nobody rode; common practice, no source.
_A_RIDE_MPS = 0.5
# An interval wider than this share of the figure; common practice, no source.
_WIDE_INTERVAL = 0.10


_NAMES = ("best_1s_mps", "two_way_mps", "best_5s_mps")


class TopSpeedOfRide(Subject):
    """How fast it went: over one second, over five, and as the mean of both directions."""

    name = "top_speed"
    needs = ("reverse",)
    members = {"top_speed": TopSpeed}

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
            explained="highest mean speed over one second",
        )
        yield Figure(
            "two_way_mps",
            "both directions",
            SPEED,
            top.two_way_mps,
            "" if top.two_way_mps else top.reason.removeprefix(f"{NO_FIVE}; "),
            Comparable(
                HIGHER, HEADLINE_WEIGHT, both_ways=top.two_way_mps, wind_excess=-_wind_loss(ride)
            ),
            explained="mean of the fastest second in either direction",
        )
        none = top.reason if top.best_1s_mps is None else NO_FIVE
        yield Figure(
            "best_5s_mps",
            "best five seconds",
            SPEED,
            top.best_5s_mps,
            "" if top.best_5s_mps else none,
            short="best 5 seconds",
            explained="highest mean speed over five seconds: what it holds, not only touches",
        )

    def cautions(self, ride: MeasuredRide) -> Iterable[Caution]:
        """Return the warnings about a class of age, an advised speed, and doubtful figures."""
        top: TopSpeed = ride["top_speed"]
        best = top.best_1s_mps
        yield from advised_speed_caution(best, ride.settings.advised_mps)
        if best is None or best.value < _A_RIDE_MPS:
            return
        age = None if ride.settings.adult_rider else age_class_caution(best.value)
        if age is not None:
            yield age
        yield from doubts(top)

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return the top speed, what it is, and the figures beside it."""
        return top_speed_lines(ride, reader)

    def document(self, ride: MeasuredRide) -> dict[str, Any]:
        """Return the member "top_speed" of the result."""
        top: TopSpeed = ride["top_speed"]
        best, both, five = (ride.figures[name] for name in _NAMES)
        # One reason may stand for all; the range of a figure is its own.
        reasons = (
            f"{each.title}: {each.why_none}" if each.doubt else each.why_none
            for each in (best, both, five)
        )
        reason = "; ".join(dict.fromkeys(why for why in reasons if why))
        shown = replace(
            top,
            best_1s_mps=best.firm,
            two_way_mps=both.firm,
            best_5s_mps=five.firm,
            reason=reason,
        )
        return {"top_speed": shown}


def doubts(top: TopSpeed) -> Iterable[Caution]:
    """Return why a top speed may not be a fair one."""
    best = top.top
    if best is not None and best.high - best.low > _WIDE_INTERVAL * best.value:
        width = (best.high - best.low) / best.value
        yield Caution(
            "wide_interval",
            f"The signal tells the top speed only to within {100 * width:.0f} % of it.",
            width,
            _WIDE_INTERVAL,
            "common practice, no source",
        )
    if top.seen_share < WELL_SEEN:
        yield Caution(
            "partly_seen",
            f"{100.0 * (1.0 - top.seen_share):.0f} % of the distance lies between fixes too far "
            "apart: it may have been faster there.",
            top.seen_share,
            WELL_SEEN,
            "own rule: an interval for nine rides of ten cannot leave a tenth of a ride unseen",
        )
    if top.two_way_mps is None:
        yield Caution(
            "one_direction",
            "Ridden fast in one direction only: wind or slope may be part of the top speed.",
            None,
            None,
            "eKFV (Elektrokleinstfahrzeuge-Verordnung), Annex, no. 2.1.1: runs in both directions",
        )
    elif len(top.two_way_runs) == 2:
        speeds = [run.speed_mps.value for run in top.two_way_runs]
        apart = (max(speeds) - min(speeds)) / max(*speeds, 1e-9)
        if apart > _RUNS_WITHIN:
            yield Caution(
                "directions_differ",
                f"The two directions differ by {100 * apart:.0f} %, by wind, slope or riding: ride "
                "again on a calm day, on the level.",
                apart,
                _RUNS_WITHIN,
                "eKFV (Elektrokleinstfahrzeuge-Verordnung), Annex, no. 2.1.2: at most 10 % apart",
            )


def advised_speed_caution(best: Estimate | None, advised_mps: float | None) -> tuple[Caution, ...]:
    """Return the warning that the fastest second lies above the speed that the user advised."""
    if best is None or advised_mps is None or best.value <= advised_mps:
        return ()
    sure = "" if best.low > advised_mps else ", perhaps"
    return (
        Caution(
            "advised_speed",
            f"It reached {both_units(best.value)}, above the advised {both_units(advised_mps)}"
            f"{sure}: limit it before that rider rides it.",
            best.value,
            advised_mps,
            "limit chosen by the user",
            gravity=DANGER,
        ),
    )


def _wind_loss(ride: MeasuredRide) -> float:
    """Return what wind may have taken from both directions alike, 0 where nothing tells. [m/s]"""
    top, curve = ride["top_speed"], ride["acceleration"].curve
    if top.two_way_mps is None or not curve:
        return 0.0
    last_mps2 = curve[-1].accel_mps2.value
    below_mps = top.two_way_mps.value - curve[-1].speed_mps
    if last_mps2 <= 0.0 or below_mps <= 0.0:
        return 0.0
    there, back = (run.speed_mps for run in top.two_way_runs)
    return wind_loss(there, back, slope_ps=last_mps2 / below_mps)
