"""The register of what is compared.

To add a measure, write a family, a function of both sides' rides and the
unit in which windows are round, that returns the measures which
these rides can hold, and append it to ``FAMILIES``.
"""

from collections.abc import Callable

from ridelog.analysis.acceleration.comparable import pull_measures
from ridelog.analysis.braking.comparable import braking_measures
from ridelog.analysis.coasting.comparable import coasting_measures
from ridelog.analysis.comparable import Measure, Rides
from ridelog.analysis.handling.comparable import weave_measures
from ridelog.analysis.launches.comparable import launch_measures
from ridelog.analysis.reverse.comparable import reverse_measures
from ridelog.analysis.top_speed.comparable import top_speed_measures
from ridelog.core.units import SpeedUnit

FAMILIES: tuple[Callable[[Rides, Rides, SpeedUnit], list[Measure]], ...] = (
    top_speed_measures,
    launch_measures,
    pull_measures,
    braking_measures,
    coasting_measures,
    reverse_measures,
    weave_measures,
)


def measures_of(before: Rides, after: Rides, unit: SpeedUnit) -> tuple[Measure, ...]:
    """Return the measures that the rides of both sides together can hold.

    ``unit`` is that in which the speeds they are taken at are round.
    """
    return tuple(measure for family in FAMILIES for measure in family(before, after, unit))
