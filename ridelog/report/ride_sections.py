"""The one place where the sections of a ride's page are put together, in the order of reading."""

from ridelog.analysis.braking.page import braking_section
from ridelog.analysis.coasting.page import coasting_section
from ridelog.analysis.handling.page import handling_section
from ridelog.analysis.launches.page import launches_section, pull_section
from ridelog.analysis.reverse.page import reverse_section
from ridelog.analysis.ride import RideResult
from ridelog.core.units import SpeedUnit
from ridelog.filtering.motion import Motion
from ridelog.present.section import Section


def ride_sections(motion: Motion, result: RideResult, unit: SpeedUnit) -> tuple[Section, ...]:
    """Return what every analysis adds to the page of a ride.

    Each analysis adds one line here; one that has nothing to show returns a section that says why.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    result : RideResult
        Its figures.
    unit : SpeedUnit
        In which speeds and lengths are given.
    """
    every = (
        launches_section(result, unit),
        pull_section(result, unit),
        braking_section(motion, result, unit),
        coasting_section(motion, result, unit),
        reverse_section(motion, result, unit),
        handling_section(motion, result, unit),
    )
    return tuple(section for section in every if section is not None)
