"""Everything about handling in one record."""

from dataclasses import dataclass

from ridelog.analysis.handling.corrections import Corrections, count_corrections
from ridelog.analysis.handling.tip_over import TipOver, checked_dimensions, tip_over
from ridelog.analysis.handling.turns import Turns, measure_turns
from ridelog.analysis.handling.weave import LEAST_RATE_HZ, Weave, measure_weave
from ridelog.core.spans import Span
from ridelog.filtering.motion import Motion


@dataclass(frozen=True, kw_only=True)
class Handling(Turns, Weave, Corrections):
    """What one ride shows of a machine's handling: what its parts found, side by side.

    Attributes
    ----------
    tip_over : the threshold and what was used of it, None if the dimensions are not known.
    reason : what is missing and why, as sentences; empty if nothing is.
    """

    tip_over: TipOver | None
    reason: str


def measure_handling(
    motion: Motion,
    *,
    excluded: tuple[Span, ...] = (),
    track_width_m: float | None = None,
    cg_height_m: float | None = None,
) -> Handling:
    """Return what a ride shows of a machine's handling.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    excluded : tuple of (start_s, end_s)
        Stretches that may not carry a figure, such as reverse travel.
    track_width_m, cg_height_m : float, optional
        Distance between the middles of left and right tyres, and height of the centre of gravity
        of machine and rider; both or none of them, for the tip-over margin. [m]

    Raises
    ------
    RideLogError
        If only one dimension is given, or one that is not that of a machine in metres.
    """
    checked_dimensions(track_width_m, cg_height_m)
    turns = measure_turns(motion, excluded=excluded)
    weave = measure_weave(motion, excluded=excluded)
    if motion.rate_hz < LEAST_RATE_HZ:
        corrections = Corrections(None, weave.weave_reason)
    else:
        corrections = count_corrections(motion, excluded=excluded)
    margin = None
    if track_width_m is not None and cg_height_m is not None:
        margin = tip_over(
            track_width_m, cg_height_m, turns.max_lateral_accel_mps2, turns.min_turn_radius_m
        )
    reasons = [
        f"{name}: {reason}."
        for name, reason in (
            ("Lateral acceleration", turns.lateral_reason),
            ("Turn radius", turns.radius_reason),
            ("Weave", weave.weave_reason),
        )
        if reason
    ]
    return Handling(
        **vars(turns), **vars(weave), **vars(corrections),
        tip_over=margin, reason=" ".join(reasons),
    )  # fmt: skip
