"""Acceleration against speed, as a subject of a ride."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar

from ridelog.analysis.acceleration.measure import AccelerationCurve, measure_acceleration
from ridelog.analysis.figure import HEADLINE_WEIGHT, HIGHER, Comparable, Figure
from ridelog.analysis.subject import MeasuredRide, Subject
from ridelog.core.quantity import ACCELERATION
from ridelog.core.units import SpeedUnit

if TYPE_CHECKING:
    from ridelog.present.section import Section

# The pull is told at whole multiples of this speed; at the first of them it is compared: fast
# enough that the throttle is open, slow enough that owners feel it as the start; own choice. [m/s]
STEP_MPS = 2.0
_PULL = "how fast the speed grows there at full throttle"
_FIRST_PULL = (
    "how fast the speed grows there: the throttle is open, and it still feels like the start"
)


class Acceleration(Subject):
    """How hard it pulls at each speed."""

    name = "acceleration"
    needs = ("launches",)
    members: ClassVar[dict[str, Any]] = {"pull": AccelerationCurve}

    def measure(self, ride: MeasuredRide) -> AccelerationCurve:
        """Return the acceleration against speed over the runs that were drawn for the starts."""
        return measure_acceleration(ride["launches"].drawn)

    def figures(self, ride: MeasuredRide) -> Iterable[Figure]:
        """Return the pull at round speeds, the first of them even where it is not told."""
        measured: AccelerationCurve = ride["acceleration"]
        both = measured.both_ways
        last = float(measured.speed_mps[-1]) if len(measured.speed_mps) else 0.0
        for step in range(1, max(1, int(last / STEP_MPS)) + 1):
            found = measured.at(step * STEP_MPS)
            if found is None and step > 1:
                continue
            compared = Comparable(
                HIGHER,
                HEADLINE_WEIGHT,
                one_direction=True,
                both_ways=found if both else None,
                course_deg=None if both else ride.course_at(ride["top_speed"].at_s + 0.5),
            )
            yield Figure(
                f"pull_at_{step * STEP_MPS:g}_mps",
                "pull at {speed}",
                ACCELERATION,
                found,
                "" if found else measured.reason or "its pull curve does not reach that speed",
                compared if step == 1 else None,
                explained=_FIRST_PULL if step == 1 else _PULL,
                at_mps=step * STEP_MPS,
            )

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return the pull from standing, and the speed at which it is half as much."""
        from ridelog.analysis.acceleration.page import standing_words

        if words := standing_words(ride, reader):
            yield "Pull", words

    def sections(self, ride: MeasuredRide, reader: SpeedUnit) -> "Iterable[Section]":
        """Return the section about pull."""
        from ridelog.analysis.acceleration.page import acceleration_section

        yield acceleration_section(ride, reader)
