"""The phases of a ride, as a subject."""

from typing import Any, ClassVar

from ridelog.analysis.phases.measure import Phase, Phases, divide_ride
from ridelog.analysis.subject import MeasuredRide, Subject


class PhasesOfRide(Subject):
    """What the machine did when; the picture of speed over time shows it as a strip."""

    name = "phases"
    needs = ("reverse", "braking", "launches")
    members: ClassVar[dict[str, Any]] = {"phases": tuple[Phase, ...]}

    def measure(self, ride: MeasuredRide) -> Phases:
        """Return the ride divided into phases."""
        return divide_ride(
            ride.motion,
            brakings=ride["braking"],
            reverse_spans=ride["reverse"].spans,
            launch_starts_s=[launch.start_s for launch in ride["launches"].launches],
        )

    def document(self, ride: MeasuredRide) -> dict[str, Any]:
        """Return the member "phases" of the result."""
        return {"phases": ride["phases"].each}
