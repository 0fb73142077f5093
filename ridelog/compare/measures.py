"""The register of what is compared: each measure has a name, a unit and a way to read one ride.

To add a measure, append a family to ``FAMILIES``: a function of both sides' rides that returns the
measures which these rides can hold.
"""

from collections.abc import Callable
from dataclasses import dataclass

from ridelog.analysis.result import Estimate
from ridelog.compare.false_alarms import HEADLINE_WEIGHT
from ridelog.compare.rides import RiddenRide

MORE, LESS = 1, -1
Rides = tuple[RiddenRide, ...]


@dataclass(frozen=True)
class Reading:
    """One ride's figure for one measure; ``reason`` says why there is none.

    both_ways : the same figure with its directions balanced, where the ride has it and the
        estimate itself comes from one direction only.
    course_deg : direction of an estimate that comes from one direction only.
    """

    estimate: Estimate | None
    reason: str = ""
    both_ways: Estimate | None = None
    course_deg: float | None = None


@dataclass(frozen=True)
class Measure:
    """One figure that is compared.

    Attributes
    ----------
    name : stable, for scripts.
    title : for people, in lower case.
    unit : "m/s", "s", "m" or "m/s2".
    better_when : MORE or LESS.
    read : gives the reading of one ride.
    weight : share of the family's level, see ``false_alarms``.
    one_direction : whether a reading comes from one direction, so that wind may be part of it.
    explained : what the figure is, in a few words.
    at_mps : speed for the place ``{speed}`` in the title, in the reader's unit. [m/s]
    """

    name: str
    title: str
    unit: str
    better_when: int
    read: Callable[[RiddenRide], Reading]
    weight: float = 1.0
    one_direction: bool = False
    at_mps: float | None = None
    explained: str = ""


def measures_of(before: Rides, after: Rides) -> tuple[Measure, ...]:
    """Return the measures that the rides of both sides together can hold."""
    return tuple(measure for family in FAMILIES for measure in family(before, after))


def _top_speed(before: Rides, after: Rides) -> list[Measure]:
    return [
        Measure(
            "best_1s_mps",
            "best second",
            "m/s",
            MORE,
            _best_1s,
            HEADLINE_WEIGHT,
            True,
            explained="highest mean speed over one second",
        ),
        Measure(
            "two_way_mps",
            "top speed",
            "m/s",
            MORE,
            _two_way,
            HEADLINE_WEIGHT,
            explained="mean of the best second in either direction",
        ),
    ]


def _best_1s(ride: RiddenRide) -> Reading:
    top = ride.result.top_speed
    return Reading(
        top.best_1s,
        top.reason if top.best_1s is None else "",
        both_ways=top.two_way,
        course_deg=ride.course_at(top.at_s + 0.5),
    )


def _two_way(ride: RiddenRide) -> Reading:
    top = ride.result.top_speed
    return Reading(top.two_way, top.reason if top.two_way is None else "")


FAMILIES: tuple[Callable[[Rides, Rides], list[Measure]], ...] = (_top_speed,)
