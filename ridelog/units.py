"""Exact constants and conversions: the only module where a unit factor may appear."""

from dataclasses import dataclass

# International nautical mile, 1929: exactly 1852 m; an hour is 3600 s.
MPS_PER_KNOT = 1852.0 / 3600.0
# Exact by definition of the hour.
MPS_PER_KMH = 1000.0 / 3600.0
# International yard and pound agreement, 1959: mile 1609.344 m, foot 0.3048 m, both exact.
METRES_PER_MILE = 1609.344
METRES_PER_FOOT = 0.3048
METRES_PER_INCH = 0.0254
MPS_PER_MPH = METRES_PER_MILE / 3600.0
# Standard gravity, 3rd CGPM 1901, exact by definition.
STANDARD_GRAVITY_MPS2 = 9.80665


@dataclass(frozen=True)
class SpeedUnit:
    """A unit in which the user reads speeds; SI stays inside."""

    label: str
    mps_per_unit: float
    distance_label: str
    metres_per_distance: float

    def from_mps(self, speed_mps: float) -> float:
        """Return a speed in this unit."""
        return speed_mps / self.mps_per_unit

    def to_mps(self, speed: float) -> float:
        """Return a speed of this unit in metres a second."""
        return speed * self.mps_per_unit

    def from_metres(self, distance_m: float) -> float:
        """Return a distance in the unit that goes with this speed unit."""
        return distance_m / self.metres_per_distance


SPEED_UNITS = {
    "km/h": SpeedUnit("km/h", MPS_PER_KMH, "m", 1.0),
    "mph": SpeedUnit("mph", MPS_PER_MPH, "ft", METRES_PER_FOOT),
}
