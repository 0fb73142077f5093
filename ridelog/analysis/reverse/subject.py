"""Reverse travel, as a subject of a ride."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar

from ridelog.analysis.figure import LOWER, Comparable, Figure
from ridelog.analysis.reverse.cautions import reverse_cautions
from ridelog.analysis.reverse.measure import Reverse, find_reverse
from ridelog.analysis.subject import Caution, MeasuredRide, Subject
from ridelog.core.quantity import SPEED
from ridelog.core.units import SpeedUnit

if TYPE_CHECKING:
    from ridelog.present.section import Section


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
        if reverse.state == "none":
            return
        yield Figure(
            "reverse_top_mps",
            "top speed in reverse",
            SPEED,
            reverse.top_speed_mps,
            reverse.reason if reverse.top_speed_mps is None else "",
            Comparable(LOWER),
            explained="fastest second backwards; slower is safer",
        )

    def cautions(self, ride: MeasuredRide) -> Iterable[Caution]:
        """Return the warnings about a fast reverse."""
        return reverse_cautions(
            ride["reverse"],
            limit_mps=ride.settings.reverse_caution_mps,
            strong_mps=ride.settings.reverse_strong_mps,
        )

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return how fast and how far it went backwards."""
        from ridelog.analysis.reverse.page import reverse_lines

        return reverse_lines(ride, reader)

    def sections(self, ride: MeasuredRide, reader: SpeedUnit) -> "Iterable[Section]":
        """Return the section about reverse."""
        from ridelog.analysis.reverse.page import reverse_section

        yield reverse_section(ride, reader)

    def document(self, ride: MeasuredRide) -> dict[str, Any]:
        """Return the member "reverse" of the result."""
        return {"reverse": ride["reverse"]}
