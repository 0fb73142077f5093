"""Habits of a receiver that its own log gives away, and the observations freed from them."""

from dataclasses import dataclass

from ridelog.core.track import Track
from ridelog.filtering.observations import Observations
from ridelog.filtering.receiver.lag import find_lag, without_lag
from ridelog.filtering.receiver.rounding import lasting_rounding, rounding_sd
from ridelog.filtering.receiver.static_hold import find_static_hold, without_static_hold

# From this lag on a reader is warned: a launch or a stop is then a tenth of its time off. Own
# choice.
_WARN_S = 0.3
# A lasting error of rounding below this is lost in the receiver's own slow errors.
_LEAST_LASTING_MPS = 0.005


@dataclass(frozen=True)
class ReceiverHabits:
    """What was recognised: a line for the history, sentences of warning."""

    history: tuple[str, ...]
    warnings: tuple[str, ...] = ()


def recognised(seen: Observations, track: Track) -> tuple[Observations, ReceiverHabits]:
    """Return the observations as they should be taken, and what was recognised of the receiver."""
    habits: list[str] = []
    warnings: list[str] = []
    if lasting_rounding(seen.speed_step_mps) > _LEAST_LASTING_MPS:
        habits.append(
            f"reported speed is written in steps of {seen.speed_step_mps:.3f} m/s, an error of "
            f"{rounding_sd(seen.speed_step_mps):.3f} m/s that lasts while the speed stays the same"
        )
    speed_mps = track.speed_mps[seen.rows]
    hold = find_static_hold(seen, speed_mps)
    if hold is not None:
        seen = without_static_hold(seen, hold)
        repeats = f"; {hold.repeated.sum()} positions repeated there are not used"
        habits.append(
            f"reported speed is held at zero below about {hold.pace_mps:.2f} m/s"
            + (repeats if hold.repeated.any() else "")
        )
    lag = find_lag(seen)
    if lag is not None and lag.counts:
        seen = without_lag(seen, lag)
        side = "behind" if lag.lag_s > 0.0 else "ahead of"
        habits.append(
            f"reported speed runs {abs(lag.lag_s):.2f} s (sd {lag.sd_s:.2f}) {side} the positions "
            "and was moved there; believed less where the motion changes within that time"
        )
        if abs(lag.lag_s) >= _WARN_S:
            warnings.append(
                f"The receiver reports its speed {abs(lag.lag_s):.1f} s "
                f"{'too late' if lag.lag_s > 0.0 else 'too early'} beside its positions; this was "
                "mended as far as it can be, and starts and stops are less sharp for it."
            )
    line = (
        f"receiver: {'; '.join(habits)}" if habits else "receiver: no habit of its own recognised"
    )
    return seen, ReceiverHabits((line,), tuple(warnings))
