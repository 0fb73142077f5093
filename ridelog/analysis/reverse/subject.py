"""Reverse travel, as a subject of a ride."""

from collections.abc import Iterable
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from ridelog.analysis.figure import LOWER, Comparable, Figure
from ridelog.analysis.reverse.measure import Reverse, find_reverse
from ridelog.analysis.settings import FAR_ABOVE_MPS, WALKING_PACE_MPS
from ridelog.analysis.subject import DANGER, WARNING, Caution, MeasuredRide, Subject
from ridelog.core.quantity import SPEED, both_units
from ridelog.core.units import SpeedUnit

if TYPE_CHECKING:
    from ridelog.present.section import Section

_WALKING_SOURCE = (
    "StVO § 21a (1) no. 3: reversing is a walking-pace manoeuvre; Regulation (EU) 168/2013 "
    "Art. 2 (2) (a), eKFV § 1: 6 km/h"
)
_CHOSEN_SOURCE = "limit chosen by the user"
_both = partial(both_units, count=1)


class ReverseTravel(Subject):
    """Whether, when and how fast it went backwards."""

    name = "reverse"
    members: ClassVar[dict[str, Any]] = {"reverse": Reverse}

    def measure(self, ride: MeasuredRide) -> Reverse:
        """Return the travel in reverse, found or marked."""
        settings = ride.settings
        return find_reverse(
            ride.motion,
            marks=settings.reverse_marks_s,
            has_reverse=settings.has_reverse,
            left_out=settings.left_out_s,
        )

    def figures(self, ride: MeasuredRide) -> Iterable[Figure]:
        """Return the top speed in reverse, if anything may have gone backwards."""
        reverse: Reverse = ride["reverse"]
        if reverse.state != "none":
            top = reverse.top_speed_mps
            yield Figure(
                "reverse_top_mps", "top speed in reverse", SPEED, top,
                "" if top else reverse.reason, Comparable(LOWER),
                explained="fastest second backwards; slower is safer",
            )  # fmt: skip

    def cautions(self, ride: MeasuredRide) -> Iterable[Caution]:
        """Return the warnings about a fast reverse."""
        settings = ride.settings
        return reverse_cautions(
            ride["reverse"],
            limit_mps=settings.reverse_caution_mps,
            strong_mps=settings.reverse_strong_mps,
        )

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return how fast and how far it went backwards."""
        from ridelog.analysis.reverse.page import reverse_lines

        return reverse_lines(ride, reader)

    def sections(self, ride: MeasuredRide, reader: SpeedUnit) -> "Iterable[Section]":
        """Return the section about reverse."""
        from ridelog.analysis.reverse.page import reverse_section

        yield reverse_section(ride, reader)


def reverse_cautions(
    reverse: Reverse, *, limit_mps: float = WALKING_PACE_MPS, strong_mps: float = FAR_ABOVE_MPS
) -> tuple[Caution, ...]:
    """Return the warning that the best second in reverse calls for, above a limit or a strong one.

    The limits are speeds. [m/s]
    """
    chosen = limit_mps != WALKING_PACE_MPS
    limit, source, gravity = limit_mps, _CHOSEN_SOURCE if chosen else _WALKING_SOURCE, WARNING
    if reverse.top_speed_mps is None:
        # What is more likely forward is named among the segments, but nobody is warned of it.
        possible = [
            segment.top_speed_mps.value
            for segment in reverse.segments
            if segment.top_speed_mps is not None and segment.probability > 0.5
        ]
        seen = max(possible, default=0.0) if reverse.state == "uncertain" else 0.0
        code, text = "reverse_possible", (
            f"It may have gone backwards at {_both(seen)}, faster than {_both(limit)}; the log "
            "cannot settle it. Mark the reverses, or measure again."
        )  # fmt: skip
    elif (seen := reverse.top_speed_mps.value) > strong_mps:
        limit, gravity = strong_mps, DANGER
        source = _CHOSEN_SOURCE if limit != FAR_ABOVE_MPS else "common practice, no source"
        code, text = "reverse_far_too_fast", (
            f"Reverse at {_both(seen)} is above {_both(limit)}: the rider looks the wrong way, "
            "steering works the other way round and anyone behind has no time. Do not let a child "
            "ride it so: limit reverse before the next ride."
        )  # fmt: skip
    else:
        pace = "the limit you set" if chosen else "walking pace"
        code, text = "reverse_too_fast", (
            f"Reverse at {_both(seen)} is faster than {pace}, {_both(limit)}: keep people clear "
            "behind it and limit its reverse speed."
        )  # fmt: skip
    return (Caution(code, text, seen, limit, source, gravity=gravity),) if seen > limit else ()
