"""Which rides of both sides may be compared: directions must match, or wind passes for a gain."""

from dataclasses import dataclass, replace

from ridelog.analysis.comparable import Reading
from ridelog.analysis.ridden import SAME_WAY_DEG, courses_apart_deg

_ONE_WAY = "this ride was made in one direction only, the others in both"
_OTHER_WAY = "no ride of the other side went in this direction"
_NO_COURSE = "its direction cannot be told"

NO_MATCH = "the rides went in different directions, so wind or slope could be the whole difference"


@dataclass(frozen=True)
class Matched:
    """Readings of both sides that may be compared, the others emptied with a reason.

    directions : for each reading of both sides 0 or 1 where rides of one direction are compared
        with those of the same; None where every ride is balanced by itself.
    obstacle : why nothing may be compared, else empty.
    """

    first: tuple[Reading, ...]
    second: tuple[Reading, ...]
    directions: tuple[tuple[int, ...], tuple[int, ...]] | None = None
    obstacle: str = ""


def match_directions(first: tuple[Reading, ...], second: tuple[Reading, ...]) -> Matched:
    """Return the readings of a measure that may come from one direction, made comparable.

    Rides that hold both directions are kept alone where either side has some. Otherwise rides of
    one direction are compared with rides of the same, within 20 degrees.
    """
    sides = (first, second)
    if all(any(reading.both_ways is not None for reading in side) for side in sides):
        kept = [tuple(_only_both_ways(reading) for reading in side) for side in sides]
        return Matched(kept[0], kept[1])
    courses = [r.course_deg for r in (*first, *second) if r.estimate and r.course_deg is not None]
    if not courses:
        return Matched(first, second, obstacle=NO_MATCH)
    ways = [[_way(reading, courses[0]) for reading in side] for side in sides]
    shared = {way for way in (0, 1) if all(way in side for side in ways)}
    if not shared:
        return Matched(first, second, obstacle=NO_MATCH)
    kept = [
        tuple(_only_ways(reading, way, shared) for reading, way in zip(side, way_of, strict=True))
        for side, way_of in zip(sides, ways, strict=True)
    ]
    if len(shared) == 1:
        return Matched(kept[0], kept[1])
    directions = [tuple(way if way is not None else 0 for way in side) for side in ways]
    return Matched(kept[0], kept[1], (directions[0], directions[1]))


def _way(reading: Reading, axis_deg: float) -> int | None:
    """Return 0 along the axis, 1 against it, None for neither or unknown."""
    if reading.estimate is None or reading.course_deg is None:
        return None
    apart = courses_apart_deg(reading.course_deg, axis_deg)
    if apart <= SAME_WAY_DEG:
        return 0
    return 1 if apart >= 180.0 - SAME_WAY_DEG else None


def _only_both_ways(reading: Reading) -> Reading:
    if reading.both_ways is not None or reading.estimate is None:
        return reading
    return replace(reading, estimate=None, reason=_ONE_WAY)


def _only_ways(reading: Reading, way: int | None, shared: set[int]) -> Reading:
    if reading.estimate is None or way in shared:
        return reading
    reason = _NO_COURSE if reading.course_deg is None else _OTHER_WAY
    return replace(reading, estimate=None, reason=reason)
