"""One ride as evidence: every analysis that tells something of the machine, put together."""

from ridelog.analysis.braking.measure import measure_brakings
from ridelog.analysis.handling.turns import measure_turns
from ridelog.analysis.launches.measure import measure_launches
from ridelog.analysis.reverse.measure import find_reverse
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.core.spans import Span
from ridelog.filtering.motion import Motion
from ridelog.machine.calibration_data import (
    START_WINDOW,
    near_top_of,
    pull_of,
    rolling_of,
    start_of,
    top_of,
)
from ridelog.machine.evidence import Evidence

# Hard stops: those that slow at least this share of the hardest one. Common practice, no source.
_HARD_SHARE = 0.7


def evidence_of(
    motion: Motion,
    settings: Settings | None = None,
    *,
    measured: MeasuredRide | None = None,
) -> Evidence:
    """Return what a ride tells of its machine.

    Travel that is or may be reverse tells nothing of a pull forward and is left out.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    settings : Settings, optional
        What the rider marked and left out, and whether the machine can go backwards at all.
    measured : MeasuredRide, optional
        The ride's figures, if at hand: what leaves out the same stretches is not measured again.
    """
    excluded = untold(motion, settings)
    if measured is None or not _leaves_out(measured, excluded):
        top = measure_top_speed(motion, excluded=excluded)
        brakings = measure_brakings(motion, excluded=excluded)
        turns = measure_turns(motion, excluded=excluded)
    else:
        top, brakings = measured["top_speed"], measured["braking"]
        turns = measured["handling"]
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
        lateral_mps2=turns.max_lateral_accel_mps2,
    )


def pull_and_top_of(motion: Motion, *, excluded: tuple[Span, ...]) -> Evidence:
    """Return only what a ride tells of pull and top speed; as ``evidence_of``."""
    return Evidence(
        name=motion.track.source.file,
        pull=pull_of(motion, excluded=excluded),
        top_mps=top_of(measure_top_speed(motion, excluded=excluded)),
    )


def untold(motion: Motion, settings: Settings | None) -> tuple[Span, ...]:
    """Return the stretches that tell nothing of a machine: left out, or possibly in reverse."""
    chosen = settings or Settings()
    backwards = find_reverse(
        motion,
        marks=chosen.reverse_marks_s,
        has_reverse=chosen.has_reverse,
        left_out=chosen.left_out_s,
    )
    return (*chosen.left_out_s, *backwards.spans, *backwards.possible_spans)


def _leaves_out(measured: MeasuredRide, excluded: tuple[Span, ...]) -> bool:
    """Return whether a ride was measured without these stretches and no others."""
    return (*measured.settings.left_out_s, *measured["reverse"].spans) == excluded
