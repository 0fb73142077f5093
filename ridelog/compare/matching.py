"""Whether the sides match: which rides may be compared, and what else differs between them."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ridelog.analysis.figure import Figure
from ridelog.analysis.subject import MeasuredRide
from ridelog.analysis.top_speed.measure import OppositeRun
from ridelog.compare.noted import JOB_NOTES, conditions_in
from ridelog.compare.side_names import BEFORE_AND_AFTER, SideNames
from ridelog.core.geodesy import SAME_WAY_DEG, courses_apart_deg, to_local
from ridelog.core.quantity import SPEED, TRAVEL, Quantity, plain
from ridelog.core.units import SpeedUnit
from ridelog.present.words import joined

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


# From where on a difference is worth a warning; common practice, no source, unless named.
_RATE_FACTOR = 1.5
_SPEED_SD_FACTOR = 2.0
_PLACE_APART_M = 300.0
_WIND_MPS = 0.15
# eKFV Annex, no. 1.1: a test track's grade of at most 1 %.
_SLOPE_APART = 0.01
_LEAST_LENGTH_M = 40.0


@dataclass(frozen=True)
class Mismatch:
    """One thing that differs between the sides.

    code : stable and meant for scripts.
    text : a sentence; ``{}`` in it stands for what is ``told``, if anything is.
    told : values in SI with what they are.
    """

    code: str
    text: str
    told: tuple[tuple[float, Quantity], ...] = ()

    def text_in(self, reader: SpeedUnit) -> str:
        """Return the sentence in the reader's units."""
        if not self.told:
            return self.text
        return self.text.format(*(plain(value, kind, reader, 1) for value, kind in self.told))


def mismatches_of(
    before: Rides,
    after: Rides,
    noted_before: dict[str, str],
    noted_after: dict[str, str],
    names: SideNames = BEFORE_AND_AFTER,
) -> tuple[Mismatch, ...]:
    """Return what differs between the sides and could be taken for the change."""
    found = [
        _few_rides(before, after, names),
        _wind(before, after, names),
        _directions(before, after),
        _slope(before, after, names),
        _place(before, after, names),
        _rate(before, after, names),
        _speed_source(before, after),
        _signal(before, after, names),
        _day(before, after, (noted_before, noted_after), names),
        *_noted(noted_before, noted_after, names),
    ]
    return tuple(each for each in found if each is not None)


def direction_gap_mps(ride: MeasuredRide, axis_deg: float) -> float | None:
    """Return how much faster a ride went along an axis than against it, None without both."""
    runs: tuple[OppositeRun, ...] = ride["top_speed"].two_way_runs
    if len(runs) != 2:
        return None
    along = [courses_apart_deg(run.course_deg, axis_deg) <= 90.0 for run in runs]
    if along[0] == along[1]:
        return None
    gap = runs[0].speed_mps.value - runs[1].speed_mps.value
    return gap if along[0] else -gap


def _few_rides(before: Rides, after: Rides, names: SideNames) -> Mismatch | None:
    if len(before) > 1 and len(after) > 1:
        return None
    if len(before) == len(after) == 1:
        text = (
            "There is one ride a side. How far two rides differ by themselves is not known, so no "
            "figure can be called better or worse; the intervals are those within each ride."
        )
    else:
        side = names.at_length[len(before) != 1]
        text = (
            f"There is one ride {side}. It is taken to repeat as well as the others do, "
            "which nothing shows."
        )
    return Mismatch("one_ride", text)


def _along(
    before: Rides, after: Rides, of: Callable[[MeasuredRide, float], float | None]
) -> tuple[float, float, float] | None:
    """Return both sides' means of what rides tell along the first run's axis, and their range."""
    axes = [run.course_deg for ride in before for run in ride["top_speed"].two_way_runs]
    told = [
        [one for ride in side if axes and (one := of(ride, axes[0])) is not None]
        for side in (before, after)
    ]
    if not all(told):
        return None
    return float(np.mean(told[0])), float(np.mean(told[1])), float(max(map(np.ptp, told)))


def _wind(before: Rides, after: Rides, names: SideNames) -> Mismatch | None:
    """Compare how much faster one direction was than the other on each side."""
    told = _along(before, after, direction_gap_mps)
    if told is None or abs(told[1] - told[0]) <= max(_WIND_MPS, told[2] / 2.0):
        return None
    return Mismatch(
        "wind_or_slope",
        f"One direction was faster than the other by {{}} {names.said[0]} and {{}} {names.said[1]} "
        "(minus: slower): wind or slope differed. Means of both directions cancel most of it; a "
        "fastest second does not.",
        ((told[0], SPEED), (told[1], SPEED)),
    )


def _directions(before: Rides, after: Rides) -> Mismatch | None:
    single = [ride.name for ride in (*before, *after) if ride["top_speed"].two_way_mps is None]
    if not single:
        return None
    return Mismatch(
        "unbalanced_directions",
        f"No runs in two opposite directions in {', '.join(single)}: wind and slope cannot be told "
        "from the machine there.",
    )


def _slope(before: Rides, after: Rides, names: SideNames) -> Mismatch | None:
    told = _along(before, after, _slope_along)
    # Heights drift by a metre: only a difference beyond the rides' own spread says anything.
    if told is None or abs(told[1] - told[0]) <= max(_SLOPE_APART, told[2]):
        return None
    return Mismatch(
        "unequal_slope",
        f"By the heights in the logs the ground {_rose(told[0])} along the straight "
        f"{names.said[0]} and {_rose(told[1])} {names.said[1]}; more than 1 % between "
        "them (limit after the eKFV Annex, no. 1.1) can make or hide a difference.",
    )


def _rose(slope: float) -> str:
    return f"{'rose' if slope >= 0.0 else 'fell'} by {abs(100.0 * slope):.1f} %"


def _slope_along(ride: MeasuredRide, axis_deg: float) -> float | None:
    """Return rise over run along an axis by least squares over the whole ride."""
    motion = ride.motion
    height = motion.track.height_m
    known = motion.used & np.isfinite(height) & np.isfinite(motion.east_m)
    if np.count_nonzero(known) < 10:
        return None
    axis = np.radians(axis_deg)
    along_m = motion.east_m[known] * np.sin(axis) + motion.north_m[known] * np.cos(axis)
    if np.ptp(along_m) < _LEAST_LENGTH_M:
        return None
    return float(np.polyfit(along_m - along_m.mean(), height[known], 1)[0])


def _place(before: Rides, after: Rides, names: SideNames) -> Mismatch | None:
    """Compare where and which way the rides went; the text holds distances only."""
    both = " and ".join(names.said)
    origin = before[0].motion.origin_deg
    centres = []
    for side in (before, after):
        places = [_centre(ride, origin) for ride in side]
        centres.append(np.mean(places, axis=0))
    apart = float(np.hypot(*(centres[1] - centres[0])))
    if np.isfinite(apart) and apart > _PLACE_APART_M:
        return Mismatch(
            "other_place",
            f"The rides {both} were made {{}} apart: another ground may be faster or slower "
            "by itself.",
            ((apart, TRAVEL),),
        )
    courses = [
        [run.course_deg for ride in side for run in ride["top_speed"].two_way_runs]
        for side in (before, after)
    ]
    if all(courses):
        turned = courses_apart_deg(courses[0][0], courses[1][0])
        turned = min(turned, 180.0 - turned)
        if turned > SAME_WAY_DEG:
            return Mismatch(
                "other_course",
                f"The fastest runs {both} lie {turned:.0f}° apart: not the same "
                "straight, so wind and slope may differ.",
            )
    return None


def _centre(ride: MeasuredRide, origin_deg: tuple[float, float]) -> np.ndarray:
    track = ride.motion.track
    used = ride.motion.used
    if not used.any():
        return np.full(2, np.nan)
    east, north = to_local(track.latitude_deg[used], track.longitude_deg[used], *origin_deg)
    return np.array([np.median(east), np.median(north)])


def _rate(before: Rides, after: Rides, names: SideNames) -> Mismatch | None:
    rates = [[ride.source.rate_hz for ride in side] for side in (before, after)]
    low, high = min(map(min, rates)), max(map(max, rates))
    if not high > _RATE_FACTOR * low:
        return None
    return Mismatch(
        "other_rate",
        f"The logs hold {_range(rates[0])} fixes a second {names.said[0]} and {_range(rates[1])} "
        f"{names.said[1]}: a slower log blurs short moments and tells figures more roughly.",
    )


def _speed_source(before: Rides, after: Rides) -> Mismatch | None:
    kinds = [{ride.source.speed_source for ride in side} for side in (before, after)]
    if len(kinds[0] | kinds[1]) == 1:
        return None
    return Mismatch(
        "other_receiver",
        "Some logs hold the receiver's own speed and others only positions: they come from "
        "different receivers or settings, whose errors differ.",
    )


def _signal(before: Rides, after: Rides, names: SideNames) -> Mismatch | None:
    weak = [ride.name for ride in (*before, *after) if ride["signal"].too_weak]
    if weak:
        return Mismatch(
            "poor_signal",
            f"The signal was too weak for firm figures in {', '.join(weak)}: leave such a ride out "
            "or ride again.",
        )
    noise = [max(ride["signal"].speed_sd_mps for ride in side) for side in (before, after)]
    share = [min(ride["signal"].usable_share for ride in side) for side in (before, after)]
    worse = max(noise) > _SPEED_SD_FACTOR * min(noise)
    if not worse and abs(share[0] - share[1]) <= 0.25:
        return None
    side = 1 if noise[1] * (1.0 - share[1] + 0.1) > noise[0] * (1.0 - share[0] + 0.1) else 0
    ride = min(
        (before, after)[side],
        key=lambda each: each["signal"].usable_share - each["signal"].speed_sd_mps,
    )
    return Mismatch(
        "poor_signal",
        f"The signal was poorer {names.at_length[side]}: in {ride.name} "
        f"{100 * ride['signal'].usable_share:.0f} % of its fixes are usable.",
    )


# What another day brings, and by which notes of both sides it is known.
_OF_A_DAY = {
    "air": ("wind", "air temperature"),
    "ground": ("surface",),
    "tyre pressure": ("tyre pressure",),
    "charge": ("battery charge",),
}


def _day(
    before: Rides, after: Rides, noted: tuple[dict[str, str], dict[str, str]], names: SideNames
) -> Mismatch | None:
    days = [
        {ride.source.start_utc[:10] for ride in side if ride.source.date_known}
        for side in (before, after)
    ]
    if not days[0] or not days[1] or days[0] & days[1]:
        return None
    known = conditions_in(noted[0]).keys() & conditions_in(noted[1]).keys()
    unknown = [each for each, notes in _OF_A_DAY.items() if not known.issuperset(notes)]
    rest = f": {joined(unknown)} may have differed" if unknown else ""
    return Mismatch(
        "other_day", f"The rides {' and '.join(names.said)} were made on different days{rest}."
    )


def _noted(first: dict[str, str], second: dict[str, str], names: SideNames) -> list[Mismatch]:
    return [
        Mismatch(
            "noted_differently",
            f"{key}: {first[key]} {names.said[0]}, {second[key]} {names.said[1]}. This alone may "
            "make a difference.",
        )
        for key in sorted((first.keys() & second.keys()) - JOB_NOTES)
        if first[key] != second[key]
    ]


def _range(rates_hz: list[float]) -> str:
    low, high = min(rates_hz), max(rates_hz)
    return f"{low:.3g}" if high < 1.05 * low else f"{low:.3g} to {high:.3g}"
