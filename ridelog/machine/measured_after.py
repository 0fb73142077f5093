"""What rides after a change showed, in the measures of a prediction."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.launches.measure import measure_launches
from ridelog.analysis.launches.windows import Window
from ridelog.analysis.settings import Settings
from ridelog.core.estimate import LEVEL, QUANTILE, Estimate
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion
from ridelog.machine.evidence import Evidence
from ridelog.machine.measures import PULL_SPEEDS_MPS
from ridelog.machine.rides import pull_and_top_of, untold

# Points of the measured pull curve are this far apart. [m/s]
_STEP_MPS = 0.5


@dataclass(frozen=True)
class MeasuredRide:
    """One ride after the change: its evidence and its times over the launch windows."""

    evidence: Evidence
    times: dict[str, Estimate]


@dataclass(frozen=True)
class Ridden:
    """Several rides after the change, together.

    names : of the rides. measured : name of a measure to its mean over the rides.
    speed_mps, pull_mps2, half_mps2 : the mean pull at full throttle and half its interval, (k,).
    """

    names: tuple[str, ...]
    measured: dict[str, Estimate]
    speed_mps: FloatArray
    pull_mps2: FloatArray
    half_mps2: FloatArray


def ride_after(
    motion: Motion, windows: tuple[Window, ...], settings: Settings | None = None
) -> MeasuredRide:
    """Return what one ride after the change showed; ``settings`` as for ``evidence_of``."""
    excluded = untold(motion, settings)
    times = {
        each.label: each.time_s
        for each in measure_launches(motion, windows=windows, excluded=excluded).windows
        if each.time_s is not None
    }
    return MeasuredRide(pull_and_top_of(motion, excluded=excluded), times)


def together(rides: Sequence[MeasuredRide]) -> Ridden:
    """Return the means over rides: own errors and what the rides differ by, in squares."""
    names = [label for ride in rides for label in ride.times]
    measured = {
        label: _mean([ride.times[label] for ride in rides if label in ride.times])
        for label in dict.fromkeys(names)
    }
    tops = [ride.evidence.top_mps for ride in rides if ride.evidence.top_mps is not None]
    if tops:
        measured["top_speed_mps"] = _mean([_estimate(*top) for top in tops])
    curves = [ride.evidence.pull for ride in rides if ride.evidence.pull is not None]
    highest = max((float(curve.speed_mps[-1]) for curve in curves), default=0.0)
    speed, pull, half = [], [], []
    for at in np.arange(_STEP_MPS * 3, highest, _STEP_MPS):
        here = [
            _estimate(
                float(np.interp(at, curve.speed_mps, curve.accel_mps2)),
                float(np.interp(at, curve.speed_mps, np.sqrt(np.diag(curve.covariance)))),
            )
            for curve in curves
            if curve.speed_mps[0] <= at <= curve.speed_mps[-1]
        ]
        if not here:
            continue
        mean = _mean(here)
        if at in PULL_SPEEDS_MPS:
            measured[f"pull_at_{at:g}_mps"] = mean
        speed.append(float(at))
        pull.append(mean.value)
        half.append(0.5 * (mean.high - mean.low))
    return Ridden(
        tuple(ride.evidence.name for ride in rides),
        measured, np.array(speed), np.array(pull), np.array(half),
    )  # fmt: skip


def _estimate(value: float, sd: float) -> Estimate:
    return Estimate(value, value - QUANTILE * sd, value + QUANTILE * sd, LEVEL)


def _mean(each: Sequence[Estimate]) -> Estimate:
    value = np.array([one.value for one in each])
    sd = np.array([one.sd for one in each])
    scatter = float(np.var(value, ddof=1)) if len(value) > 1 else 0.0
    error = np.sqrt((float(np.mean(sd**2)) + scatter) / len(value))
    return _estimate(float(value.mean()), float(error))
