"""Braking, as a subject of a ride."""

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any, ClassVar

from ridelog.analysis.braking.measure import Braking, Brakings, measure_brakings
from ridelog.analysis.braking.stopping import StoppingDistance, with_stopping
from ridelog.analysis.figure import HIGHER, Comparable, Figure
from ridelog.analysis.subject import DANGER, WARNING, Caution, MeasuredRide, Subject
from ridelog.core.quantity import ACCELERATION, LENGTH, Quantity, both_units, plain
from ridelog.core.units import SPEED_UNITS, SpeedUnit

if TYPE_CHECKING:
    from ridelog.present.section import Section

# From this share above the fastest braking seen, the brakes are untested; common practice.
_UNTESTED = 1.2
# Below walking pace nobody asks for a stopping distance (6 km/h, e.g. eKFV § 1).
_FROM_MPS = SPEED_UNITS["km/h"].to_mps(6.0)

# What is said of one and the same braking, so that speed, deceleration and distance go together.
BRAKING_CODES = frozenset(
    {
        "braking_far_below_yardstick",
        "braking_below_yardstick",
        "brakes_untested_at_top_speed",
        "stopping_distance",
    }
)


class BrakingOfRide(Subject):
    """How hard it brakes, and how far it goes before it stands."""

    name = "braking"
    needs = ("reverse", "top_speed")
    members: ClassVar[dict[str, Any]] = {
        "brakings": tuple[Braking, ...],
        "brakings_reason": str,
        "stopping": StoppingDistance | None,
    }

    def measure(self, ride: MeasuredRide) -> Brakings:
        """Return every braking, and the stopping distance from the fastest second."""
        return with_stopping(
            measure_brakings(ride.motion, excluded=ride.excluded),
            ride["top_speed"].best_1s_mps,
            reaction_s=ride.settings.reaction_s,
        )

    def figures(self, ride: MeasuredRide) -> Iterable[Figure]:
        """Return mean braking and the stopping distance from the fastest second."""
        brakings: Brakings = ride["braking"]
        stop = brakings.stopping
        reason = ""
        if not brakings.stops_from_speed:
            reason = brakings.reason or "the ride holds no stop from speed"
        elif brakings.mean_mps2 is None:
            reason = "the signal does not carry a figure where the machine stopped"
        yield Figure(
            "mean_braking_mps2",
            "mean braking",
            ACCELERATION,
            brakings.mean_mps2,
            reason,
            Comparable(HIGHER),
            explained="mean deceleration over the ride's stops from speed; the rider decides too",
        )
        yield Figure(
            "stopping_distance_m",
            "stopping distance from the fastest second",
            LENGTH,
            stop.stopping_distance_m if stop else None,
            "" if stop else brakings.reason or "no braking takes off half of the speed",
            short="Stop from fastest second",
            explained="with the rider's reaction time, as hard as this ride was braked",
        )

    def cautions(self, ride: MeasuredRide) -> Iterable[Caution]:
        """Return the warnings about weak or untested brakes and the distance to rest."""
        return braking_cautions(ride["braking"])

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return how hard it braked, and how far it goes from its fastest second."""
        from ridelog.analysis.braking.page import braking_line

        words = braking_line(ride, reader)
        return (("Braking", words),) if words else ()

    def sections(self, ride: MeasuredRide, reader: SpeedUnit) -> "Iterable[Section]":
        """Return the section about braking."""
        from ridelog.analysis.braking.page import braking_section

        yield braking_section(ride, reader)

    def document(self, ride: MeasuredRide) -> dict[str, Any]:
        """Return the members about braking of the result."""
        brakings: Brakings = ride["braking"]
        return {
            "brakings": brakings.each,
            "brakings_reason": brakings.reason,
            "stopping": brakings.stopping,
        }


def braking_cautions(brakings: Brakings) -> Iterator[Caution]:
    """Yield the warnings that the brakings of a ride call for, the gravest first."""
    stop, hardest = brakings.stopping, brakings.hardest
    if stop is None or hardest is None or stop.from_mps < _FROM_MPS:
        return
    required, hard = stop.required, hardest.mean_decel_mps2
    # The log shows what was asked of the brakes, not what they could have given.
    braked = f"The hardest stop, be it brakes or rider, was {_decel(hard.value)}"
    test = "test the brakes on closed ground first."
    if hard.value < required.least_mps2 and hard.high < required.one_brake_mps2:
        yield Caution(
            "braking_far_below_yardstick",
            f"{braked}; road vehicles this fast must reach {_decel(required.one_brake_mps2)} with "
            f"one brake alone: {test}",
            hard.value,
            required.one_brake_mps2,
            required.source,
            gravity=DANGER,
        )
    elif hard.value < required.least_mps2:
        unsure = " (perhaps enough)" if hard.high >= required.least_mps2 else ""
        yield Caution(
            "braking_below_yardstick",
            f"{braked}{unsure}; road vehicles this fast must reach {_decel(required.least_mps2)}: "
            f"{test}",
            hard.value,
            required.least_mps2,
            required.source,
            gravity=WARNING,
        )
    if stop.from_mps > _UNTESTED * stop.fastest_braking_mps:
        yield Caution(
            "brakes_untested_at_top_speed",
            f"Never braked from above {both_units(stop.fastest_braking_mps)}, yet it reaches "
            f"{both_units(stop.from_mps)}: how it stops from there was not measured.",
            stop.from_mps,
            stop.fastest_braking_mps,
            "common practice, no source",
            gravity=WARNING,
        )
    far_m = stop.stopping_distance_m.value
    yield Caution(
        "stopping_distance",
        f"About {_length(far_m)} from {both_units(stop.from_mps)} to rest at "
        f"{_decel(stop.decel_mps2.value)}, its usual braking, {_length(stop.reaction_m)} of it "
        f"reacting ({stop.reaction_s:.2g} s): keep more clear.",
        far_m,
        None,
        "distance = speed × reaction time + speed² / (2 × deceleration); reaction time: sources "
        "give 0.67 s (UK Highway Code) to 2.5 s (AASHTO, from memory)",
        gravity=WARNING,
    )


def _decel(decel_mps2: float) -> str:
    return _both(decel_mps2, ACCELERATION)


def _length(length_m: float) -> str:
    return _both(length_m, LENGTH, 0)


def _both(figure: float, quantity: Quantity, count: int | None = None) -> str:
    one, other = (plain(figure, quantity, SPEED_UNITS[name], count) for name in ("km/h", "mph"))
    return f"{one} ({other})"
