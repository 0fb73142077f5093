"""Handling, as a subject of a ride."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from ridelog.analysis.cautions import Caution
from ridelog.analysis.figure import HIGHER, Comparable, Figure
from ridelog.analysis.handling.cautions import handling_cautions
from ridelog.analysis.handling.json import handling_json
from ridelog.analysis.handling.measure import Handling, measure_handling
from ridelog.analysis.handling.words import handling_lines
from ridelog.analysis.subject import MeasuredRide, Subject
from ridelog.core.quantity import ACCELERATION, LENGTH, SPEED
from ridelog.core.units import SpeedUnit

if TYPE_CHECKING:
    from ridelog.present.section import Section


class HandlingOfRide(Subject):
    """Turns, weave and steering corrections."""

    name = "handling"
    needs = ("reverse",)

    def measure(self, ride: MeasuredRide) -> Handling:
        """Return what the ride shows of the machine's handling."""
        return measure_handling(
            ride.motion,
            excluded=ride.excluded,
            track_width_m=ride.settings.track_width_m,
            cg_height_m=ride.settings.cg_height_m,
        )

    def figures(self, ride: MeasuredRide) -> Iterable[Figure]:
        """Return the onset of weave, the hardest and the tightest turn."""
        handling: Handling = ride["handling"]
        weave, turns = handling.weave, handling.turns
        yield Figure(
            "weave_from_mps",
            "speed from which it weaves",
            SPEED,
            weave.twitchy_from,
            weave.reason if weave.twitchy_from is None else "",
            # Weave on one side only is no difference of two numbers: the caution tells it.
            Comparable(HIGHER, where_told=True),
            short="Weaves from",
            explained="from there on it swings from side to side by itself",
        )
        yield Figure(
            "max_lateral_accel_mps2",
            "hardest turn",
            ACCELERATION,
            turns.max_lateral,
            turns.reason if turns.max_lateral is None else "",
            explained="sideways acceleration, mean of the best second",
        )
        yield Figure(
            "min_turn_radius_m",
            "tightest turn",
            LENGTH,
            turns.min_radius,
            turns.radius_reason if turns.min_radius is None else "",
            explained="radius",
        )

    def cautions(self, ride: MeasuredRide) -> Iterable[Caution]:
        """Return the warnings about tipping over and weave."""
        return handling_cautions(ride["handling"])

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return where it weaves, and the hardest turn."""
        return handling_lines(ride["handling"], reader)

    def sections(self, ride: MeasuredRide, reader: SpeedUnit) -> "Iterable[Section]":
        """Return the section about turns and straight running."""
        from ridelog.analysis.handling.page import handling_section

        yield handling_section(ride, reader)

    def document(self, ride: MeasuredRide) -> dict[str, Any]:
        """Return the member "handling" of the result."""
        return {"handling": handling_json(ride["handling"])}
