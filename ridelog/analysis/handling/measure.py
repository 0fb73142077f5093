"""Everything about handling in one record."""

from dataclasses import dataclass

from ridelog.analysis.handling.loads import TurnLoads, measure_turns
from ridelog.filtering.motion import Motion


@dataclass(frozen=True)
class Handling:
    """What one ride shows of a machine's handling.

    Attributes
    ----------
    turns : lateral load and radius of the turns, with the extremes.
    """

    turns: TurnLoads


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
        of machine and rider; both are needed for the tip-over margin. [m]
    """
    return Handling(measure_turns(motion, excluded=excluded))
