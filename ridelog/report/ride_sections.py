"""The sections of a ride's page, from every subject in the order of reading."""

from ridelog.analysis.ride import SUBJECTS
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.units import SpeedUnit
from ridelog.present.section import Section


def ride_sections(ride: MeasuredRide, unit: SpeedUnit) -> tuple[Section, ...]:
    """Return what every subject adds to the page of a ride."""
    return tuple(section for subject in SUBJECTS for section in subject.sections(ride, unit))
