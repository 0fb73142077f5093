"""What is said of a top speed: on the terminal, on the page and under the pictures."""

from collections.abc import Iterable

from ridelog.analysis.figure import Figure
from ridelog.analysis.subject import MeasuredRide
from ridelog.analysis.top_speed.measure import TopSpeed
from ridelog.core.quantity import SPEED, plain, value
from ridelog.core.units import SpeedUnit
from ridelog.present.words import capital, course_words, joined

# Slower than any ride: what receivers show when they stand; common practice, no source.
_STANDING_MPS = 0.3
_NAMES = ("best_1s_mps", "two_way_mps", "best_5s_mps")


def headline(ride: MeasuredRide) -> Figure:
    """Return the figure that is called the top speed of a ride."""
    return ride.figures[ride["top_speed"].headline]


def beside_the_headline(ride: MeasuredRide) -> list[Figure]:
    """Return the other figures of speed, which keep their own names."""
    first = headline(ride).name
    return [ride.figures[name] for name in _NAMES if name != first]


def top_speed_lines(ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
    """Return (label, words) for the terminal, the headline first."""
    first = headline(ride)
    if first.estimate is None:
        yield "Top speed", f"none: {first.reason}"
    else:
        yield "Top speed", first.words_in(reader)
        yield "", what_it_is(ride, reader)
        for figure in beside_the_headline(ride):
            why = f": {figure.reason}" if figure.reason else ""
            yield figure.short_in(reader), figure.words_in(reader) + why
    if (reading := highest_reading(ride, reader)) is not None:
        yield "Highest reading", "; ".join(reading)


def meaning(ride: MeasuredRide, reader: SpeedUnit) -> str:
    """Return what the headline says, in one sentence."""
    first = headline(ride)
    if first.estimate is None:
        return f"No top speed can be given: {first.reason}."
    if first.estimate.high < _STANDING_MPS:
        return "The machine hardly moved where the signal could be trusted."
    return f"{capital(what_it_is(ride, reader))}."


def what_it_is(ride: MeasuredRide, reader: SpeedUnit) -> str:
    """Return what stands behind the headline, in a few words, or why it is only a range."""
    first = headline(ride)
    if first.doubt:
        return first.doubt
    if first.name == "best_1s_mps":
        return "fastest second, in one direction only"
    return f"mean of {directions(ride, reader)}"


def fastest_places(ride: MeasuredRide) -> list[tuple[float, str]]:
    """Return when the seconds behind the headline began, and what a picture calls each. [s]"""
    top: TopSpeed = ride["top_speed"]
    if top.headline == "two_way_mps":
        return [
            (run.start_s, f"fastest {course_words(run.course_deg)}") for run in top.two_way_runs
        ]
    return [] if top.best_1s_mps is None else [(top.at_s, "fastest second")]


def directions(ride: MeasuredRide, reader: SpeedUnit) -> str:
    """Return both opposite runs, such as "47.6 km/h south-east and 47.5 km/h north-west"."""
    top: TopSpeed = ride["top_speed"]
    return joined(
        [
            f"{value(run.speed_mps, SPEED, reader)} {course_words(run.course_deg)}"
            for run in top.two_way_runs
        ]
    )


def highest_reading(ride: MeasuredRide, reader: SpeedUnit) -> tuple[str, str] | None:
    """Return the largest single reading and why it is no figure, None without one."""
    top: TopSpeed = ride["top_speed"]
    if top.raw_peak_mps != top.raw_peak_mps:
        return None
    why = (
        "for one instant, and nearly always too high"
        if top.raw_peak_kind == "reported"
        else "from two neighbouring positions, whose errors look like speed"
    )
    return plain(top.raw_peak_mps, SPEED, reader, 1), why


def speed_label(ride: MeasuredRide, reader: SpeedUnit) -> str:
    """Return what the picture of speed shows, for those who do not see it."""
    first = headline(ride)
    top = f"top speed {first.words_in(reader)}" if first.estimate else "no top speed"
    return (
        f"Speed over ground against time; {top}. Stretches with a doubtful signal are shaded and "
        "named."
    )


def path_label(ride: MeasuredRide, reader: SpeedUnit) -> str:
    """Return what the picture of the path shows, for those who do not see it."""
    motion = ride.motion
    east = motion.east_m[motion.east_m == motion.east_m]
    north = motion.north_m[motion.north_m == motion.north_m]
    if not len(east):
        return "Path of the ride: no position is known."
    wide, tall = (reader.from_metres(float(axis.max() - axis.min())) for axis in (east, north))
    top = float(motion.speed_mps[motion.speed_mps == motion.speed_mps].max())
    return (
        f"Path of the ride from above, {wide:.0f} {reader.distance_label} from west to east and "
        f"{tall:.0f} {reader.distance_label} from south to north, coloured by speed up to "
        f"{plain(top, SPEED, reader, 0)}, with arrows in the direction of travel."
    )
