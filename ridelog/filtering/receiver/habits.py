"""Habits of a receiver that its own log gives away, and the observations freed from them.

What rounding does to the reported speed is here too, and a static hold: some receivers report a
standstill below some pace, and may hold their position with it, so that a parked machine does not
travel over the map. A zero then says only "slower than the hold", and positions that are repeated
say nothing at all.
"""

from dataclasses import dataclass, replace

import numpy as np

from ridelog.core.spans import runs_of
from ridelog.core.track import BoolArray, FloatArray, Track
from ridelog.filtering.observations import CRAWL_MPS, CRAWL_SD_MPS, Observations
from ridelog.filtering.receiver.lag import find_lag, without_lag

# From this lag on a reader is warned: a launch or a stop is then a tenth of its time off. Own
# choice.
_WARN_S = 0.3
# A lag no better known than this may be one that should be warned of, if positions are coarser
# than their usual noise. Own choices. [s], [m]
_UNTOLD_S, _COARSE_M = 0.15, 0.3
# A lasting error of rounding below this is lost in the receiver's own slow errors.
_LEAST_LASTING_MPS = 0.005
# The least noise that a reported speed has before it is rounded: real receivers showed 0.03-0.08
# m/s, measured against a reference, slow errors included, hence a little below. Less noise lets
# the error last.
_LEAST_NOISE_MPS = 0.02
# Terms of receiver (6): those left out hold at most a ninth of the variance, the rest of the sum of
# 1 / k^2.
_HARMONICS = np.arange(1.0, 6.0)
# A hold shows at so many passages between zero and riding, at so many zeros, and by there being
# no reading from zero up to here. Own choice; noise makes zeros without a hold, but lone ones.
_LEAST_PASSAGES, _LEAST_ZEROS, _LEAST_PACE_MPS = 2, 5, 0.2
# No receiver holds faster than a walk: what is missing above is the log's rate. Own choice.
_MOST_PACE_MPS = 1.5
# Share of steps between zeros over which the position must not change at all: own choice,
# a few slips of the log are let be.
_REPEATED = 0.8
# Bare positions that repeat to all digits for so long, so often, are held: own choices, no receiver
# errs alike to two centimetres for two seconds otherwise. [s], [m]
_FROZEN_S, _LEAST_REPEATS, _FINEST_STEP_M = 2.0, 3, 0.02
# Of receiver (7): gentle riding and the receiver's error, own choices. [m/s²], [m]
_GENTLE_MPS2, _ERROR_M = 0.7, 0.5


@dataclass(frozen=True)
class ReceiverHabits:
    """What was recognised: a line for the history, sentences of warning, doubts of the log.

    ``lag_s`` is by how much the reported velocity was moved.
    """

    history: tuple[str, ...]
    warnings: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    lag_s: float = 0.0


def recognised(seen: Observations, track: Track) -> tuple[Observations, ReceiverHabits]:
    """Return the observations as they should be taken, and what was recognised of the receiver."""
    habits: list[str] = []
    warnings: list[str] = []
    doubts: list[str] = []
    reported = bool(np.isfinite(seen.velocity_mps[:, 0]).any())
    if not reported and np.isnan(seen.position_wander_m):
        doubts.append(
            "its speed comes from positions alone, and nothing in the log tells how far they wander"
        )
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
    frozen = find_frozen_positions(seen) if not reported else None
    if frozen is not None:
        seen = without_static_hold(seen, frozen)
        habits.append(
            f"positions are held at a stand, and let go at about {frozen.pace_mps:.2f} m/s; "
            f"{frozen.repeated.sum()} that are repeated there are not used"
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
            doubts.append(f"its speed is a mean over time, {abs(lag.lag_s):.1f} s late")
    elif reported and (lag is None or lag.sd_s > _UNTOLD_S) and seen.position_step_m > _COARSE_M:
        doubts.append("its positions are too coarse to show how late its speed is")
    line = (
        f"receiver: {'; '.join(habits)}" if habits else "receiver: no habit of its own recognised"
    )
    moved_s = lag.lag_s if lag is not None and lag.counts else 0.0
    return seen, ReceiverHabits((line,), tuple(warnings), tuple(doubts), moved_s)


@dataclass(frozen=True)
class StaticHold:
    """What a static hold does to a log; arrays of shape (m,).

    pace_mps : speed below which zero is reported. [m/s]
    repeated : fixes that only repeat the position before.
    crept : zeros of holds after which the machine was somewhere else: it rode on unseen.
    """

    pace_mps: float
    repeated: BoolArray
    crept: BoolArray


def find_static_hold(seen: Observations, speed_mps: FloatArray) -> StaticHold | None:
    """Return the static hold that the fixes show, None if there is none.

    Parameters
    ----------
    seen : Observations
        The fixes in order of time.
    speed_mps : ndarray, shape (m,)
        Speed as reported at each, NaN where not.
    """
    zero = speed_mps == 0.0
    together = zero[1:] & zero[:-1] & ~seen.breaks
    moving = np.isfinite(speed_mps) & ~zero
    passages = (zero[1:] & moving[:-1] | zero[:-1] & moving[1:]) & ~seen.breaks
    if zero.sum() < _LEAST_ZEROS or passages.sum() < _LEAST_PASSAGES or not together.any():
        return None
    pace = float(np.min(speed_mps[moving]))
    same = (np.diff(seen.position_m, axis=0) == 0.0).all(axis=1)
    held = float(np.mean(same[together])) >= _REPEATED
    # Rounding makes zeros of everything below half a step.
    if pace < max(_LEAST_PACE_MPS, 1.5 * seen.speed_step_mps) and not held:
        return None
    repeated = np.append(False, same & together) if held else np.zeros(len(zero), dtype=bool)
    pace = min(pace, _MOST_PACE_MPS)
    return StaticHold(pace, repeated, _crept(seen, zero, pace) if held else np.zeros_like(repeated))


def find_frozen_positions(seen: Observations) -> StaticHold | None:
    """Return the static hold that bare positions show by repeating themselves, None without one.

    They may have stayed behind when the machine moved off, and they leap when let go.

    Parameters
    ----------
    seen : Observations
        The fixes in order of time, without reported speeds.
    """
    if seen.position_step_m > _FINEST_STEP_M:
        return None
    way = np.hypot(*np.diff(seen.position_m, axis=0).T)
    same = (way == 0.0) & ~seen.breaks
    repeated, paces = np.zeros(len(way) + 1, dtype=bool), []
    for first, stop in runs_of(same):
        if seen.time_s[stop] - seen.time_s[first] < _FROZEN_S or stop - first < _LEAST_REPEATS:
            continue
        repeated[first + 1 : stop + 1] = True
        # Let go, it leaps to where it should be; how fast it is shows in the next interval.
        if stop + 1 < len(way) and not seen.breaks[stop : stop + 2].any():
            paces.append(float(way[stop + 1] / (seen.time_s[stop + 2] - seen.time_s[stop + 1])))
    if not paces:
        return None
    pace = min(float(np.median(paces)), _MOST_PACE_MPS)
    hold = StaticHold(pace, repeated, np.zeros_like(repeated))
    return replace(hold, crept=_crept(seen, repeated, pace))


def _crept(seen: Observations, zero: BoolArray, pace_mps: float) -> BoolArray:
    """Return the zeros of holds whose release finds the machine elsewhere."""
    stop_and_go_m = pace_mps**2 / _GENTLE_MPS2 + _ERROR_M
    crept = np.zeros(len(zero), dtype=bool)
    for first, stop in runs_of(zero):
        if stop < len(zero) and not seen.breaks[stop - 1]:
            moved = float(np.hypot(*(seen.position_m[stop] - seen.position_m[first])))
            crept[first:stop] = moved > stop_and_go_m
    return crept


def without_static_hold(seen: Observations, hold: StaticHold) -> Observations:
    """Return the observations with zeros as "slower than the hold", repeated positions set aside.

    Where the machine crept on under a hold its zeros tell nothing.
    """
    wider = max(hold.pace_mps, CRAWL_MPS) / CRAWL_MPS
    return replace(
        seen,
        held=hold.repeated,
        crawl=(seen.crawl | hold.repeated) & ~hold.crept,
        crawl_sd_mps=CRAWL_SD_MPS * wider,
    )


def rounding_sd(step: float) -> float:
    """Return the standard deviation of rounding to a step, receiver (5)."""
    return float(step / np.sqrt(12.0))


def lasting_rounding(step_mps: float) -> float:
    """Return the standard deviation of the part that lasts while the speed stays the same. [m/s]

    Source
    ------
    Receiver (6): B. Widrow and I. Kollár, "Quantization Noise", Cambridge 2008 (from memory);
    checked by simulation in the tests.
    """
    if step_mps <= 0.0:
        return 0.0
    angle = np.pi * _HARMONICS
    variance = 0.5 * np.sum(
        (step_mps / angle) ** 2 * np.exp(-4.0 * (angle * _LEAST_NOISE_MPS / step_mps) ** 2)
    )
    return float(np.sqrt(variance))
