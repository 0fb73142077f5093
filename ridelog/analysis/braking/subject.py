"""Braking, as a subject of a ride."""

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ridelog.analysis.braking.cautions import braking_cautions
from ridelog.analysis.braking.json import brakings_json, stopping_json
from ridelog.analysis.braking.measure import Brakings, measure_brakings
from ridelog.analysis.braking.stopping import project_stop
from ridelog.analysis.braking.words import braking_lines
from ridelog.analysis.cautions import Caution
from ridelog.analysis.figure import HIGHER, Comparable, Figure
from ridelog.analysis.subject import MeasuredRide, Subject
from ridelog.core.interval import estimate
from ridelog.core.quantity import ACCELERATION, LENGTH
from ridelog.core.units import SpeedUnit

if TYPE_CHECKING:
    from ridelog.present.section import Section

# Stops from below this share of the ride's best second are not stops from speed.
_FROM_SPEED = 0.5


class Braking(Subject):
    """How hard it brakes, and how far it goes before it stands."""

    name = "braking"
    needs = ("reverse", "top_speed")

    def measure(self, ride: MeasuredRide) -> Brakings:
        """Return every braking, and the stopping distance from the top speed."""
        found = measure_brakings(ride.motion, excluded=ride.excluded)
        stop = project_stop(
            found, ride["top_speed"].best_1s_mps, reaction_s=ride.settings.reaction_s
        )
        return replace(found, stopping=stop)

    def figures(self, ride: MeasuredRide) -> Iterable[Figure]:
        """Return mean braking and the stopping distance from the top speed."""
        brakings: Brakings = ride["braking"]
        best = ride["top_speed"].best_1s_mps
        least = _FROM_SPEED * best.value if best is not None else 0.0
        stops = [one for one in brakings.stops if one.from_mps >= least]
        mean = estimate(np.mean([one.decel_columns for one in stops], axis=0)) if stops else None
        reason = ""
        if not stops:
            reason = brakings.reason or "the ride holds no stop from speed"
        elif mean is None:
            reason = "the signal does not carry a figure where the machine stopped"
        yield Figure(
            "mean_braking_mps2",
            "mean braking",
            ACCELERATION,
            mean,
            reason,
            Comparable(HIGHER),
            explained="mean deceleration over the ride's stops from speed; the rider decides too",
        )
        stop = brakings.stopping
        yield Figure(
            "stopping_distance_m",
            "stopping distance from top speed",
            LENGTH,
            stop.whole if stop else None,
            "" if stop else brakings.reason or "no braking takes off half of the top speed",
            short="Stop from top speed",
            explained="with the rider's reaction time, as hard as this ride was braked",
        )

    def cautions(self, ride: MeasuredRide) -> Iterable[Caution]:
        """Return the warnings about weak or untested brakes and the way to rest."""
        brakings: Brakings = ride["braking"]
        return braking_cautions(brakings, brakings.stopping, ride["top_speed"].best_1s_mps)

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return how hard it braked, and how far it goes from its top speed."""
        brakings: Brakings = ride["braking"]
        return braking_lines(brakings, brakings.stopping, reader)

    def sections(self, ride: MeasuredRide, reader: SpeedUnit) -> "Iterable[Section]":
        """Return the section about braking."""
        from ridelog.analysis.braking.page import braking_section

        yield braking_section(ride, reader)

    def document(self, ride: MeasuredRide) -> dict[str, Any]:
        """Return the members about braking of the result."""
        brakings: Brakings = ride["braking"]
        return {
            "brakings": brakings_json(brakings),
            "brakings_reason": brakings.reason,
            "stopping": stopping_json(brakings.stopping),
        }
