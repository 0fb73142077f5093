"""Everything about handling in one record."""

from dataclasses import dataclass

from ridelog.analysis.handling.corrections import Corrections, count_corrections
from ridelog.analysis.handling.tip_over import TipOver, checked_dimensions, tip_over
from ridelog.analysis.handling.turn_loads import TurnLoads, measure_turns
from ridelog.analysis.handling.weave import LEAST_RATE_HZ, Weave, measure_weave
from ridelog.filtering.motion import Motion


@dataclass(frozen=True)
class Handling:
    """What one ride shows of a machine's handling.

    Attributes
    ----------
    turns : lateral load and radius of the turns, with the extremes.
    weave : swinging from side to side by speed, and from which speed on.
    corrections : how often the rider corrected the course on straights.
    tip_over : the threshold and what was used of it, None if the dimensions are not known.
    reason : what of the above is missing and why, as sentences; empty if nothing is.
    """

    turns: TurnLoads
    weave: Weave
    corrections: Corrections
    tip_over: TipOver | None
    reason: str


def measure_handling(
    motion: Motion,
    *,
    excluded: tuple[tuple[float, float], ...] = (),
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
        corrections = Corrections(None, 0.0, weave.reason)
    else:
        corrections = count_corrections(motion, excluded=excluded)
    margin = None
    if track_width_m is not None and cg_height_m is not None:
        margin = tip_over(track_width_m, cg_height_m, turns.max_lateral, turns.min_radius)
    reasons = [
        f"{name}: {reason}."
        for name, reason in (
            ("Lateral acceleration", turns.reason),
            ("Turn radius", turns.radius_reason),
            ("Weave", weave.reason),
        )
        if reason
    ]
    return Handling(turns, weave, corrections, margin, " ".join(reasons))
