"""Pull in the words that the terminal and the page share."""

from ridelog.analysis.acceleration.measure import PullCurve
from ridelog.core.estimate import Estimate
from ridelog.core.units import SpeedUnit
from ridelog.present.words import count_words, plain_speed


def pull_lines(pull: PullCurve, unit: SpeedUnit) -> tuple[tuple[str, str], ...]:
    """Return at most one line for the terminal: the pull from standing."""
    if pull.standing_pull is None:
        return ()
    words = f"{accel_words(pull.standing_pull)} from standing"
    half = half_pull_mps(pull)
    if half is not None:
        words += f"; half is left at {plain_speed(half, unit, 0)}"
    return (("Pull", words),)


def accel_words(accel: Estimate) -> str:
    """Return an acceleration with its bounds, such as "2.1 m/s² (2.0 to 2.3)"."""
    places = 2 if accel.high - accel.low < 0.2 else 1
    low, high = f"{accel.low:.{places}f}", f"{accel.high:.{places}f}"
    return f"{accel.value:.{places}f} m/s² ({low} to {high})"


def half_pull_mps(pull: PullCurve) -> float | None:
    """Return the speed at which half of the standing pull is left, None if the curve ends above."""
    if pull.standing_pull is None:
        return None
    goal = 0.5 * pull.standing_pull.value
    known = [
        (float(speed), accel.value)
        for speed, accel in zip(pull.speed_mps, pull.accel, strict=True)
        if accel is not None
    ]
    for (low, before), (high, after) in zip(known, known[1:], strict=False):
        if before >= goal > after:
            return low + (before - goal) / (before - after) * (high - low)
    return None


def pull_basis(pull: PullCurve) -> str:
    """Return what the curve rests on."""
    words = f"Mean of {count_words(pull.runs_used, 'pull')}"
    if pull.runs_left_out:
        words += (
            f"; {pull.runs_left_out} more pulled less than 70 % as hard and count as part throttle"
        )
    return words
