"""What a reader must be warned of when a machine goes backwards."""

from ridelog.analysis.reverse.measure import Reverse
from ridelog.analysis.settings import FAR_ABOVE_MPS, WALKING_PACE_MPS
from ridelog.analysis.subject import DANGER, WARNING, Caution
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import SPEED, plain
from ridelog.core.units import SPEED_UNITS

_KMH, _MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]
_WALKING_SOURCE = (
    "StVO § 21a (1) no. 3: reversing is a walking-pace manoeuvre; Regulation (EU) 168/2013 "
    "Art. 2 (2) (a), eKFV § 1: 6 km/h"
)
_CHOSEN_SOURCE = "limit chosen by the user"


def reverse_cautions(
    reverse: Reverse,
    *,
    limit_mps: float = WALKING_PACE_MPS,
    strong_mps: float = FAR_ABOVE_MPS,
) -> tuple[Caution, ...]:
    """Return the warnings that reverse travel calls for.

    Parameters
    ----------
    reverse : Reverse
        What was found.
    limit_mps, strong_mps : float
        Best second in reverse above which there is a caution, and a strong one. [m/s]
    """
    top = reverse.top_speed_mps
    if top is not None:
        return _too_fast(top, limit_mps, strong_mps)
    # What is more likely forward is named among the segments, but nobody is warned of it.
    possible = [
        segment.top_speed_mps.value
        for segment in reverse.segments
        if segment.top_speed_mps is not None and segment.probability > 0.5
    ]
    if reverse.state != "uncertain" or not possible or max(possible) <= limit_mps:
        return ()
    return (
        Caution(
            "reverse_possible",
            f"It may have gone backwards at {_both(max(possible))}, faster than "
            f"{_both(limit_mps)}; the log cannot settle it. Mark the reverses, or measure again.",
            max(possible),
            limit_mps,
            _WALKING_SOURCE if limit_mps == WALKING_PACE_MPS else _CHOSEN_SOURCE,
            gravity=WARNING,
        ),
    )


def _too_fast(top: Estimate, limit_mps: float, strong_mps: float) -> tuple[Caution, ...]:
    if top.value > strong_mps:
        chosen = strong_mps != FAR_ABOVE_MPS
        return (
            Caution(
                "reverse_far_too_fast",
                f"Reverse at {_both(top.value)} is above {_both(strong_mps)}: the rider looks the "
                "wrong way, steering works the other way round and anyone behind has no time. Do "
                "not let a child ride it so: limit reverse before the next ride.",
                top.value,
                strong_mps,
                _CHOSEN_SOURCE if chosen else "common practice, no source",
                gravity=DANGER,
            ),
        )
    if top.value <= limit_mps:
        return ()
    chosen = limit_mps != WALKING_PACE_MPS
    pace = "the limit you set" if chosen else "walking pace"
    return (
        Caution(
            "reverse_too_fast",
            f"Reverse at {_both(top.value)} is faster than {pace}, {_both(limit_mps)}: keep "
            "people clear behind it and limit its reverse speed.",
            top.value,
            limit_mps,
            _CHOSEN_SOURCE if chosen else _WALKING_SOURCE,
            gravity=WARNING,
        ),
    )


def _both(speed_mps: float) -> str:
    return f"{plain(speed_mps, SPEED, _KMH, 1)} ({plain(speed_mps, SPEED, _MPH, 1)})"
