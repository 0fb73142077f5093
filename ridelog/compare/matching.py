"""Which rides of both sides may be compared: directions must match, or wind passes for a gain."""

from dataclasses import dataclass, replace

from ridelog.analysis.figure import Figure
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.geodesy import SAME_WAY_DEG, courses_apart_deg

# The rides of one side of a comparison.
Rides = tuple[MeasuredRide, ...]

_ONE_WAY = "this ride was made in one direction only, the others in both"
_OTHER_WAY = "no ride of the other side went in this direction"
_NO_COURSE = "its direction cannot be told"

NO_MATCH = "the rides went in different directions, so wind or slope could be the whole difference"


@dataclass(frozen=True)
class Matched:
    """Figures of both sides that may be compared, the others emptied with a reason.

    directions : for each figure of both sides 0 or 1 where rides of one direction are compared
        with those of the same; None where every ride is balanced by itself.
    obstacle : why nothing may be compared, else empty.
    """

    first: tuple[Figure, ...]
    second: tuple[Figure, ...]
    directions: tuple[tuple[int, ...], tuple[int, ...]] | None = None
    obstacle: str = ""


def match_directions(first: tuple[Figure, ...], second: tuple[Figure, ...]) -> Matched:
    """Return the figures of both sides that may come from one direction, made comparable.

    Rides that hold both directions are kept alone where either side has some. Otherwise rides of
    one direction are compared with rides of the same, within 20 degrees.
    """
    sides = (first, second)
    if all(any(figure.terms.both_ways is not None for figure in side) for side in sides):
        kept = [tuple(_only_both_ways(figure) for figure in side) for side in sides]
        return Matched(kept[0], kept[1])
    known = [figure.terms.course_deg for figure in (*first, *second) if figure.estimate]
    courses = [course for course in known if course is not None]
    if not courses:
        return Matched(first, second, obstacle=NO_MATCH)
    found = [[_direction(figure, courses[0]) for figure in side] for side in sides]
    shared = {one for one in (0, 1) if all(one in side for side in found)}
    if not shared:
        return Matched(first, second, obstacle=NO_MATCH)
    kept = [
        tuple(_only_shared(figure, one, shared) for figure, one in zip(side, told, strict=True))
        for side, told in zip(sides, found, strict=True)
    ]
    if len(shared) == 1:
        return Matched(kept[0], kept[1])
    directions = [tuple(one or 0 for one in side) for side in found]
    return Matched(kept[0], kept[1], (directions[0], directions[1]))


def _direction(figure: Figure, axis_deg: float) -> int | None:
    """Return 0 along the axis, 1 against it, None for neither or unknown."""
    course_deg = figure.terms.course_deg
    if figure.estimate is None or course_deg is None:
        return None
    apart = courses_apart_deg(course_deg, axis_deg)
    if apart <= SAME_WAY_DEG:
        return 0
    return 1 if apart >= 180.0 - SAME_WAY_DEG else None


def _only_both_ways(figure: Figure) -> Figure:
    if figure.terms.both_ways is not None or figure.estimate is None:
        return figure
    return replace(figure, estimate=None, reason=_ONE_WAY)


def _only_shared(figure: Figure, direction: int | None, shared: set[int]) -> Figure:
    if figure.estimate is None or direction in shared:
        return figure
    reason = _NO_COURSE if figure.terms.course_deg is None else _OTHER_WAY
    return replace(figure, estimate=None, reason=reason)
