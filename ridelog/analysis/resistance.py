"""Resistance per mass from speeds while rolling free: the fit, and times it predicts.

    dv/dt = -(a + b v + c v²) - side (d + e v)

a is rolling resistance, c air, b what grows with speed (bearings, tyres); d is the slope and e the
wind met in one direction and gained in the other; what the wind adds both ways is taken off a.
Integrated once, the speeds themselves are linear in the unknowns: no speed is ever differentiated.
Derivation: DEVELOPERS.md, "Coasting".
"""

from dataclasses import dataclass

import numpy as np

from ridelog.track import FloatArray

# Bounds on what the wind along the way may take off: air of the smallest machine (0.18 m² of
# Cossalter's range, 300 kg) in 1/m, and this share of a, so that noise cannot blow it up.
_LEAST_AIR_PM, _MOST_WIND_SHARE = 0.00036, 0.2


@dataclass(frozen=True)
class CoastedSpeeds:
    """Speeds over one stretch of free rolling.

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
class Resistance:
    """Deceleration a + b v + c v² of free rolling: a in m/s², b in 1/s, c in 1/m; shape (k,).

    ``misfit_mps`` is how far the speeds of the fitted path stray from it, root mean square.
    """

    a_mps2: FloatArray
    b_ps: FloatArray
    c_pm: FloatArray
    misfit_mps: float

    def decel_mps2(self, speed_mps: float) -> FloatArray:
        """Return the deceleration at a speed on every column. [m/s²]"""
        return self.a_mps2 + self.b_ps * speed_mps + self.c_pm * speed_mps**2


def fit_resistance(
    stretches: tuple[CoastedSpeeds, ...], *, linear: bool, both_ways: bool
) -> Resistance:
    """Return the resistance that explains the stretches best, for every column.

    Parameters
    ----------
    stretches : tuple of CoastedSpeeds
        All with the same number of columns.
    linear : bool
        Whether b is fitted; if not it is 0, as in 40 CFR 86.529-98.
    both_ways : bool
        Whether slope and wind are fitted; only stretches in opposite directions can tell them
        from the resistance.

    Source
    ------
    Model: 40 CFR 1066.210 and 1066.310, F = A + B v + C v². The fit is an own derivation.
    """
    columns = stretches[0].speed_mps.shape[1]
    count = 2 + linear + 2 * both_ways
    square = np.zeros((columns, count, count))
    right = np.zeros((columns, count))
    fitted: list[tuple[FloatArray, FloatArray]] = []
    for stretch in stretches:
        time_s = (stretch.time_s - stretch.time_s[0])[:, None]
        first, second = _grown(time_s, stretch.speed_mps), _grown(time_s, stretch.speed_mps**2)
        parts = [np.broadcast_to(time_s, first.shape), second]
        if linear:
            parts.append(first)
        if both_ways:
            parts += [stretch.side * parts[0], stretch.side * first]
        basis = np.stack(parts, axis=2)
        # Each stretch begins at a speed of its own, which taking off the means leaves out.
        basis = basis - basis.mean(axis=0)
        fallen = stretch.speed_mps.mean(axis=0) - stretch.speed_mps
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
    rolling, air = solved[:, 0], solved[:, 1]
    if both_ways:
        # Air speed is v + side w: c w² stays when both ways are averaged, and e = 2 c w shows it.
        wind = solved[:, -1] ** 2 / (4.0 * np.maximum(air, _LEAST_AIR_PM))
        rolling = rolling - np.minimum(wind, _MOST_WIND_SHARE * np.abs(rolling))
    return Resistance(rolling, solved[:, 2] if linear else np.zeros(columns), air, misfit_mps)


def coast_time_s(
    a_mps2: float, b_ps: float, c_pm: float, *, from_mps: float, to_mps: float
) -> float:
    """Return how long free rolling takes between two speeds, the integral of dv / (a + bv + cv²).

    Gauss-Legendre quadrature with 24 points; the integrand is smooth while the resistance is
    positive. [s]

    Raises
    ------
    ValueError
        If the resistance is not positive between the speeds.
    """
    node, weight = np.polynomial.legendre.leggauss(24)
    half = 0.5 * (from_mps - to_mps)
    speed = 0.5 * (from_mps + to_mps) + half * node
    decel = a_mps2 + b_ps * speed + c_pm * speed**2
    if np.any(decel <= 0.0):
        raise ValueError(f"no resistance at {speed[decel <= 0.0][0]:.2f} m/s: it never slows down")
    return float(half * np.sum(weight / decel))


def _grown(time_s: FloatArray, rate: FloatArray) -> FloatArray:
    """Return the integral of a rate since the first instant."""
    step = np.diff(time_s, axis=0)
    total = np.cumsum(0.5 * (rate[1:] + rate[:-1]) * step, axis=0)
    return np.concatenate([np.zeros((1, rate.shape[1])), total])
