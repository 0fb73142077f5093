"""Which stretches of a ride are shaded in a picture, with which pattern and name."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.flags import Flag
from ridelog.core.spans import flagged_spans
from ridelog.filtering.motion import Motion
from ridelog.present.words import FLAG_WORDS

# In order of weight: a moment that several hold is shaded as the first of them. The pattern tells
# them apart without colour; lines only, since dots make a hundred times larger files.
_SHADED: tuple[tuple[Flag, str], ...] = (
    (Flag.NO_FIX, "++++"),
    (Flag.DEAD_RECKONING, "//--"),
    (Flag.SETTLING, "////"),
    (Flag.POOR_GEOMETRY, "\\\\\\\\"),
    (Flag.SPEED_JUMP, "----"),
    (Flag.JUMP, "||||"),
)
GAP_PATTERN = "xxxx"


@dataclass(frozen=True)
class Shading:
    """Stretches of one kind."""

    name: str
    pattern: str
    stretches: tuple[tuple[float, float], ...]


def shadings(motion: Motion, shown_s: float) -> tuple[Shading, ...]:
    """Return the flagged stretches of a ride as they are shaded, one kind a moment.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    shown_s : float
        Length of the time axis, of which each stretch must take a share to be seen. [s]
    """
    time_s = motion.track.time_s
    if not np.isfinite(time_s).any():
        return ()
    step = 1.0 / motion.rate_hz
    # A single fix must be wide enough to be seen.
    least = max(step, 0.002 * shown_s)
    found: list[Shading] = []
    if motion.gaps:
        found.append(Shading(FLAG_WORDS[Flag.GAP], GAP_PATTERN, motion.gaps))
    taken = np.zeros(len(time_s), dtype=np.uint32)
    for flag, pattern in _SHADED:
        mine = np.where(taken == 0, motion.flags & np.uint32(flag), 0).astype(np.uint32)
        stretches = flagged_spans(time_s, mine, flag, join_within_s=max(2.5 * step, least))
        if stretches:
            wider = tuple((a - 0.5 * least, b + 0.5 * least) for a, b in stretches)
            found.append(Shading(FLAG_WORDS[flag], pattern, wider))
        taken |= mine
    return tuple(found)
