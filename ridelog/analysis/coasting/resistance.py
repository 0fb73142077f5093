"""Resistance per mass from speeds while rolling freely.

    dv/dt = -(a + b v + c v²) - side (d + e v)

a is rolling resistance, c air, b what grows with speed (bearings, tyres); d is the slope and e the
wind met in one direction and gained in the other; what the wind adds both ways is taken off a.
Integrated once, the speeds themselves are linear in the unknowns: no speed is ever differentiated.
METHOD.md of coasting, (1) and (2).
"""

from dataclasses import dataclass

import numpy as np

from ridelog.core.crossings import cumulative_trapezoid
from ridelog.core.interval import even_normals
from ridelog.core.track import FloatArray
from ridelog.core.units import STANDARD_GRAVITY_MPS2

# Air of a usual small machine with its rider, 0.5 · 1.2041 kg/m³ · 0.45 m² / (55 + 50) kg, the
# centres of the ranges that ``ridelog.machine.priors`` gives with their source, its standard
# deviation as a share, and that of the smallest (0.18 m² of Cossalter's range, 300 kg). [1/m]
USUAL_AIR_PM, _AIR_SHARE, _LEAST_AIR_PM = 0.00258, 0.45, 0.00036
# Shuffles what is spread evenly over the draws.
_SEED = 20240608
# Pull of the slope that may lie against the wind unseen: coast-downs ask for a road level to
# 0.5 % (SAE J1263, from memory), taken as two standard deviations. [m/s²]
_SLOPE_SD_MPS2 = 0.0025 * STANDARD_GRAVITY_MPS2


@dataclass(frozen=True)
class CoastedSpeeds:
    """Speeds over one span of free rolling.

    Attributes
    ----------
    time_s : shape (m,), even grid. [s]
    speed_mps : shape (m, k), a column for each path. [m/s]
    side : cosine between the direction of travel and the ride's main direction.
    """

    time_s: FloatArray
    speed_mps: FloatArray
    side: float


@dataclass(frozen=True)
class ResistanceFit:
    """Deceleration a + b v + c v² of free rolling: a in m/s², b in 1/s, c in 1/m; shape (k,).

    ``misfit_mps`` is how far the speeds of the fitted path stray from it, root mean square.
    """

    a_mps2: FloatArray
    b_ps: FloatArray
    c_pm: FloatArray
    misfit_mps: float

    def decel_mps2(self, speed_mps: FloatArray | float) -> FloatArray:
        """Return the deceleration at a speed, or at speeds (m, k), on every column. [m/s²]"""
        return self.a_mps2 + self.b_ps * speed_mps + self.c_pm * speed_mps**2


def fit_resistance(coasts: tuple[CoastedSpeeds, ...], *, linear: bool) -> ResistanceFit:
    """Return the resistance that explains the speeds best, for every column.

    Parameters
    ----------
    coasts : tuple of CoastedSpeeds
        In opposite directions, which tell slope and wind from the resistance; all with the same
        number of columns.
    linear : bool
        Whether b is fitted; if not it is 0, as in 40 CFR 86.529-98.

    Source
    ------
    Model: 40 CFR 1066.210 and 1066.310, F = A + B v + C v². The fit is an own derivation.
    """
    columns = coasts[0].speed_mps.shape[1]
    count = 4 + linear
    square = np.zeros((columns, count, count))
    right = np.zeros((columns, count))
    fitted: list[tuple[FloatArray, FloatArray]] = []
    for one in coasts:
        time_s = (one.time_s - one.time_s[0])[:, None]
        first = cumulative_trapezoid(time_s, one.speed_mps)
        second = cumulative_trapezoid(time_s, one.speed_mps**2)
        since = np.broadcast_to(time_s, first.shape)
        parts = [since, second, *([first] if linear else []), one.side * since, one.side * first]
        basis = np.stack(parts, axis=2)
        # Each coast begins at a speed of its own, which taking off the means leaves out.
        basis = basis - basis.mean(axis=0)
        fallen = one.speed_mps.mean(axis=0) - one.speed_mps
        basis = np.swapaxes(basis, 0, 1)
        square += np.swapaxes(basis, 1, 2) @ basis
        right += np.einsum("kmp,mk->kp", basis, fallen)
        fitted.append((basis[0], fallen[:, 0]))
    # Units differ by powers of the speed; scaled, the normal equations keep their digits.
    scale = np.sqrt(np.maximum(np.einsum("kpp->kp", square), 1e-30))
    square = square / (scale[:, :, None] * scale[:, None, :])
    solved = np.linalg.solve(
        square + 1e-12 * np.eye(count), (right / scale)[:, :, None]
    )[:, :, 0] / scale  # fmt: skip
    left = np.concatenate([fallen - basis @ solved[0] for basis, fallen in fitted])
    misfit_mps = float(np.sqrt(np.mean(left**2)))
    air = solved[:, 1]
    middle = float(np.mean(np.concatenate([one.speed_mps[:, 0] for one in coasts])))
    rolling = solved[:, 0] - wind_square(solved[:, -2], solved[:, -1], air, middle)
    return ResistanceFit(rolling, solved[:, 2] if linear else np.zeros(columns), air, misfit_mps)


def wind_square(
    slope_mps2: FloatArray, wind_ps: FloatArray, air_pm: FloatArray, speed_mps: float
) -> FloatArray:
    """Return what the wind along the course adds to the mean of both directions, on every column.

    Air speed is v + side w, so c w² stays in the mean of both directions. e = 2 c w shows the wind,
    but a short coast leaves e and c open, though not how far the directions differ at its middle,
    d + e v: any share of that may be wind. Both sayings are weighed by their variances.

    Parameters
    ----------
    slope_mps2, wind_ps, air_pm : ndarray, shape (k,)
        d, e and c of every column. [m/s²], [1/s], [1/m]
    speed_mps : float
        Mean speed of the coasts, where d + e v is known best.

    Returns
    -------
    ndarray, shape (k,)
        The first columns have the mean, the last half (the cautious draws) its spread too. [m/s²]

    Source
    ------
    Own derivation: METHOD.md of coasting, (3) to (5).
    """
    draws = (len(wind_ps) - 1) // 2
    apart = abs(float(slope_mps2[0] + wind_ps[0] * speed_mps)) / speed_mps
    # A share even between none and all has the mean 1 / 2 and the variance 1 / 12.
    likely = np.copysign(0.5 * apart, slope_mps2[0] + wind_ps[0] * speed_mps)
    wind, wind_sd = _weighed(
        float(wind_ps[0]),
        _sd(wind_ps, draws),
        float(likely),
        float(np.sqrt(apart**2 / 12.0 + (_SLOPE_SD_MPS2 / speed_mps) ** 2)),
    )
    air, air_sd = _weighed(
        float(air_pm[0]), _sd(air_pm, draws), USUAL_AIR_PM, _AIR_SHARE * USUAL_AIR_PM
    )
    air = max(air, _LEAST_AIR_PM)
    # Mean and variance of the square of a normal variable.
    mean = (wind**2 + wind_sd**2) / (4.0 * air)
    spread = np.sqrt(4.0 * wind**2 * wind_sd**2 + 2.0 * wind_sd**4) / (4.0 * air)
    columns = np.full(len(wind_ps), mean)
    if draws:
        columns[-draws:] += np.hypot(spread, mean * air_sd / air) * even_normals(draws, _SEED)
    return columns


def _sd(columns: FloatArray, draws: int) -> float:
    return float(np.std(columns[-draws:])) if draws else 0.0


def _weighed(one: float, one_sd: float, other: float, other_sd: float) -> tuple[float, float]:
    """Return the mean of two sayings by their variances, with its standard deviation."""
    share = one_sd**2 / (one_sd**2 + other_sd**2)
    return one + share * (other - one), float(np.sqrt(share)) * other_sd
