"""Handling, as a subject of a ride."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar

from ridelog.analysis.figure import HIGHER, Comparable, Figure
from ridelog.analysis.handling.measure import (
    LEAST_TILT_QUAD,
    Handling,
    TipOver,
    measure_handling,
)
from ridelog.analysis.subject import DANGER, Caution, MeasuredRide, Subject
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import LENGTH, SPEED, TURN_LOAD, both_units
from ridelog.core.units import STANDARD_GRAVITY_MPS2, SpeedUnit

if TYPE_CHECKING:
    from ridelog.present.section import Section

# Lateral acceleration near tipping: from this share of the threshold; common practice, no source.
_NEAR = 0.75
_ADVISORY = (
    "Advisory only: lean, suspension, tyres, slope and ruts move that limit, and a machine that "
    "leans, such as a motorcycle, does not tip this way."
)
_TILT_SOURCE = (
    "NHTSA, Why choose SSF?, ch. V (track width / (2 × height)); 15 % taken off after the "
    "tilt-table figures of the FME report for The Oregonian (2007)"
)
_QUAD_SOURCE = (
    "FME report for The Oregonian (2007), tilt table; three quarters of it: common practice, no "
    "source"
)


class HandlingOfRide(Subject):
    """Turns, weave and steering corrections."""

    name = "handling"
    needs = ("reverse",)
    members: ClassVar[dict[str, Any]] = {"handling": Handling}

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
        yield Figure(
            "weave_onset_mps", "speed from which it weaves", SPEED,
            handling.weave_onset_mps, handling.weave_reason,
            # Weave on one side only is no difference of two numbers: the caution tells it.
            Comparable(HIGHER, where_told=True), short="Weaves from",
            explained="from there on it swings from side to side by itself",
        )  # fmt: skip
        yield Figure(
            "max_lateral_accel_mps2", "hardest turn", TURN_LOAD,
            handling.max_lateral_accel_mps2, handling.lateral_reason,
            explained=f"sideways acceleration, mean of the best {best_seconds(handling)}",
        )  # fmt: skip
        yield Figure(
            "min_turn_radius_m", "tightest turn", LENGTH, handling.min_turn_radius_m,
            handling.radius_reason, explained="radius",
        )  # fmt: skip

    def cautions(self, ride: MeasuredRide) -> Iterable[Caution]:
        """Return the warnings about tipping over and weave."""
        return handling_cautions(ride["handling"])

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return where it weaves, and the hardest turn."""
        from ridelog.analysis.handling.page import handling_lines

        return handling_lines(ride, reader)

    def sections(self, ride: MeasuredRide, reader: SpeedUnit) -> "Iterable[Section]":
        """Return the section about turns and straight running."""
        from ridelog.analysis.handling.page import handling_section

        yield handling_section(ride, reader)


def best_seconds(handling: Handling) -> str:
    """Return over how long lateral acceleration is a mean: "second", "2 seconds"."""
    length_s = handling.lateral_window_s
    return "second" if length_s == 1.0 else f"{length_s:.0f} seconds"


def handling_cautions(handling: Handling) -> tuple[Caution, ...]:
    """Return the warnings that a ride's handling calls for, the gravest first."""
    lateral = handling.max_lateral_accel_mps2
    return (*(() if lateral is None else _tipping(handling.tip_over, lateral)), *_weaving(handling))


def _tipping(margin: TipOver | None, lateral: Estimate) -> tuple[Caution, ...]:
    tilt = LEAST_TILT_QUAD * STANDARD_GRAVITY_MPS2 if margin is None else margin.tilt_threshold_mps2
    if lateral.high < _NEAR * tilt:
        return ()
    over = lateral.value >= tilt
    reached = f"The hardest turn reached {_in_g(lateral.value)} sideways"
    if margin is None:
        code, limit, source = "lateral_load_of_quads", _NEAR * tilt, _QUAD_SOURCE
        text = (
            f"{reached}; quads on a tilt table tip from {_in_g(tilt)} on. Give track width and "
            "height of the centre of gravity to know the margin of this machine."
        )
    else:
        code = "lateral_load_above_tip_over" if over else "lateral_load_near_tip_over"
        limit, source = tilt, _TILT_SOURCE
        text = (
            f"{reached}, {100.0 * lateral.value / tilt:.0f} % of the {_in_g(tilt)} at which a "
            "machine of this width and height begins to tip: "
            f"{'a wheel may have lifted; ' if over else ''}take turns slower, or widen the track "
            "or lower the load."
        )
    return (Caution(code, f"{text} {_ADVISORY}", lateral.value, limit, source, gravity=DANGER),)


def _weaving(handling: Handling) -> tuple[Caution, ...]:
    onset = handling.weave_onset_mps
    if onset is None:
        return ()
    speed = onset.high if handling.weave_or_below else onset.value
    seen = both_units(speed)
    where = f"At {seen} or below already" if handling.weave_or_below else f"From about {seen} on"
    text = (
        f"{where} it swings from side to side, about {handling.weave_frequency_hz:.1f} times a "
        "second: ride no faster until the cause is found (tyre pressure, wheel and steering "
        "bearings, play, alignment, load, ruts)."
    )
    source = "band of weave: Appl. Sci. 2021, 11(16), 7393; causes: common practice, no source"
    return (Caution("weave", text, speed, None, source, gravity=DANGER),)


def _in_g(accel_mps2: float) -> str:
    return f"{accel_mps2 / STANDARD_GRAVITY_MPS2:.2f} g"
