"""One ride as evidence: every analysis that tells something of the machine, put together."""

from ridelog.analysis.braking import measure_brakings
from ridelog.analysis.handling.loads import measure_turns
from ridelog.analysis.launches import measure_launches
from ridelog.analysis.reverse import find_reverse
from ridelog.analysis.ride import RideResult
from ridelog.analysis.stretches import Stretch
from ridelog.analysis.top_speed import measure_top_speed
from ridelog.filtering.motion import Motion
from ridelog.machine.evidence import Evidence
from ridelog.machine.gather import START_WINDOW, near_top_of, pull_of, rolling_of, start_of, top_of

# Hard stops: those that slow at least this share of the hardest one. Common practice, no source.
_HARD_SHARE = 0.7


def evidence_of(
    motion: Motion,
    *,
    has_reverse: bool | None = None,
    left_out_s: tuple[Stretch, ...] = (),
    measured: RideResult | None = None,
) -> Evidence:
    """Return what a ride tells of its machine.

    Travel that is or may be reverse tells nothing of a pull forward and is left out.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    has_reverse : bool, optional
        Whether the machine can go backwards at all, None if nobody said.
    left_out_s : tuple of (start_s, end_s)
        Stretches that the rider left out of every figure. [s]
    measured : RideResult, optional
        The ride's figures, if at hand: what leaves out the same stretches is not measured again.
    """
    excluded = _excluded(motion, has_reverse, left_out_s)
    if measured is None or not _leaves_out(measured, excluded):
        top = measure_top_speed(motion, excluded=excluded)
        brakings = measure_brakings(motion, excluded=excluded)
        turns = measure_turns(motion, excluded=excluded)
    else:
        top, brakings = measured.top_speed, measured.brakings
        turns = measured.handling.turns
    launches = measure_launches(motion, windows=(START_WINDOW,), excluded=excluded)
    stops = [one.mean_decel for one in brakings.stops]
    hardest = max((stop.value for stop in stops), default=0.0)
    return Evidence(
        name=motion.track.source.file,
        pull=pull_of(motion, excluded=excluded),
        coasting=rolling_of(motion, excluded=excluded),
        top_mps=top_of(top),
        near_top=near_top_of(motion, top),
        start=start_of(launches),
        decel_mps2=tuple(stop for stop in stops if stop.value >= _HARD_SHARE * hardest),
        lateral_mps2=turns.max_lateral,
    )


def pull_and_top_of(motion: Motion, *, has_reverse: bool | None = None) -> Evidence:
    """Return only what a ride tells of pull and top speed; as ``evidence_of``."""
    excluded = _excluded(motion, has_reverse, ())
    return Evidence(
        name=motion.track.source.file,
        pull=pull_of(motion, excluded=excluded),
        top_mps=top_of(measure_top_speed(motion, excluded=excluded)),
    )


def _excluded(
    motion: Motion, has_reverse: bool | None, left_out_s: tuple[Stretch, ...]
) -> tuple[Stretch, ...]:
    backwards = find_reverse(motion, has_reverse=has_reverse)
    return (*left_out_s, *backwards.spans, *backwards.possible_spans)


def _leaves_out(measured: RideResult, excluded: tuple[Stretch, ...]) -> bool:
    """Return whether a ride was measured without these stretches and no others."""
    return (*measured.settings.left_out_s, *measured.reverse.spans) == excluded
