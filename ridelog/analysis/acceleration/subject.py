"""Acceleration against speed, as a subject of a ride."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from ridelog.analysis.acceleration.json import pull_json
from ridelog.analysis.acceleration.measure import PullCurve, measure_pull
from ridelog.analysis.acceleration.words import pull_lines
from ridelog.analysis.figure import HEADLINE_WEIGHT, HIGHER, Comparable, Figure
from ridelog.analysis.subject import MeasuredRide, Subject
from ridelog.core.quantity import ACCELERATION
from ridelog.core.units import SpeedUnit

if TYPE_CHECKING:
    from ridelog.present.section import Section

# The pull is told at whole multiples of this speed; at the first of them it is compared: fast
# enough that the throttle is open, slow enough that owners feel it as the start. [m/s]
STEP_MPS = 2.0


class Acceleration(Subject):
    """How hard it pulls at each speed."""

    name = "acceleration"
    needs = ("launches",)

    def measure(self, ride: MeasuredRide) -> PullCurve:
        """Return the pull against speed over the runs that were drawn for the starts."""
        return measure_pull(ride.motion, drawn=ride["launches"].drawn)

    def figures(self, ride: MeasuredRide) -> Iterable[Figure]:
        """Return the pull at round speeds, the first of them even where it is not told."""
        pull: PullCurve = ride["acceleration"]
        both = pull.both_ways
        last = float(pull.speed_mps[-1]) if len(pull.speed_mps) else 0.0
        for step in range(1, max(1, int(last / STEP_MPS)) + 1):
            found = pull.at(step * STEP_MPS)
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
                "" if found else pull.reason or "its pull curve does not reach that speed",
                compared if step == 1 else None,
                explained="how fast the speed grows there at full throttle",
                at_mps=step * STEP_MPS,
            )

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return the pull from standing, and the speed at which half of it is left."""
        return pull_lines(ride["acceleration"], reader)

    def sections(self, ride: MeasuredRide, reader: SpeedUnit) -> "Iterable[Section]":
        """Return the section about pull."""
        from ridelog.analysis.acceleration.page import pull_section

        yield pull_section(ride, reader)

    def document(self, ride: MeasuredRide) -> dict[str, Any]:
        """Return the member "pull" of the result."""
        return {"pull": pull_json(ride["acceleration"])}
