"""Exact constants and conversions: the only module where a unit factor may appear."""

from dataclasses import dataclass
from math import pi

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
# A turn is 2 pi radians, a minute 60 s: both exact.
RADPS_PER_RPM = 2.0 * pi / 60.0
# Ampere hours in coulombs and watt hours in joules: an hour is 3600 s, exact by definition.
COULOMBS_PER_AH = 3600.0
JOULES_PER_WH = 3600.0
# International yard and pound agreement, 1959, exact.
KILOGRAMS_PER_POUND = 0.45359237
NEWTONS_PER_POUND = KILOGRAMS_PER_POUND * STANDARD_GRAVITY_MPS2
# The suffixes by which a set-up file names units: quantity, and how many SI units one of them is,
# exact: SI prefixes and the factors above.
SETUP_UNITS: dict[str, tuple[str, float]] = {
    "kg": ("mass", 1.0),
    "lb": ("mass", KILOGRAMS_PER_POUND),
    "lbs": ("mass", KILOGRAMS_PER_POUND),
    "m": ("length", 1.0),
    "mm": ("length", 1e-3),
    "cm": ("length", 1e-2),
    "in": ("length", METRES_PER_INCH),
    "inch": ("length", METRES_PER_INCH),
    "ft": ("length", METRES_PER_FOOT),
    "m2": ("area", 1.0),
    "mm2": ("area", 1e-6),
    "cm2": ("area", 1e-4),
    "mps": ("speed", 1.0),
    "kmh": ("speed", MPS_PER_KMH),
    "kph": ("speed", MPS_PER_KMH),
    "mph": ("speed", MPS_PER_MPH),
    "v": ("voltage", 1.0),
    "volt": ("voltage", 1.0),
    "volts": ("voltage", 1.0),
    "mv": ("voltage", 1e-3),
    "kv": ("voltage", 1e3),
    "a": ("current", 1.0),
    "amp": ("current", 1.0),
    "amps": ("current", 1.0),
    "ma": ("current", 1e-3),
    "w": ("power", 1.0),
    "kw": ("power", 1e3),
    "ohm": ("resistance", 1.0),
    "ohms": ("resistance", 1.0),
    "mohm": ("resistance", 1e-3),
    "ah": ("charge", COULOMBS_PER_AH),
    "mah": ("charge", 1e-3 * COULOMBS_PER_AH),
    "rpm": ("turning", RADPS_PER_RPM),
    "radps": ("turning", 1.0),
    "rps": ("turning", 2.0 * pi),
    "nm": ("torque", 1.0),
    "mps2": ("acceleration", 1.0),
}


@dataclass(frozen=True)
class SpeedUnit:
    """What the user reads speeds in, and what goes with it; SI stays inside.

    label, mps_per_unit : of speeds. distance_label, metres_per_distance : of short lengths.
    travel_label, metres_per_travel : of long ones. accel_label, mps2_per_accel : of accelerations.
    """

    label: str
    mps_per_unit: float
    distance_label: str
    metres_per_distance: float
    travel_label: str = "km"
    metres_per_travel: float = 1000.0
    accel_label: str = "m/s²"
    mps2_per_accel: float = 1.0

    def from_mps(self, speed_mps: float) -> float:
        """Return a speed in this unit."""
        return speed_mps / self.mps_per_unit

    def to_mps(self, speed: float) -> float:
        """Return a speed of this unit in metres a second."""
        return speed * self.mps_per_unit

    def from_metres(self, distance_m: float) -> float:
        """Return a distance in the unit that goes with this speed unit."""
        return distance_m / self.metres_per_distance


# What speeds are read in, exact: the factors above.
SPEED_UNITS = {
    "km/h": SpeedUnit("km/h", MPS_PER_KMH, "m", 1.0),
    "mph": SpeedUnit(
        "mph", MPS_PER_MPH, "ft", METRES_PER_FOOT, "mi", METRES_PER_MILE, "mph/s", MPS_PER_MPH
    ),
}
# Scripts and files read SI; exact by definition.
SI = SpeedUnit("m/s", 1.0, "m", 1.0)
# A turn is 360 degrees and 2 pi radians: both exact.
DEGREES_PER_RADIAN = 180.0 / pi
# How a speed may be written in words: metres a second in one of them, exact: the
# factors above.
SPEED_WORDS: dict[str, float] = {
    "km/h": MPS_PER_KMH,
    "mph": MPS_PER_MPH,
    "m/s": 1.0,
    "kn": MPS_PER_KNOT,
}
