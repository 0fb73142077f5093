"""Where a speed begins or ceases to fall: the corner between two straight lines, on every path.

A drawn path shows a corner only through its noise, and the fitted path rounds it off. Both are
read by the same least squares: a straight line, from some instant on a change of slope that
builds up as a raised cosine. Derivation: DEVELOPERS.md, "Brake-on and standstill".
"""

from dataclasses import dataclass

import numpy as np

from ridelog.track import FloatArray

# How long a brake takes to build up: StVZO § 41 (12) allows 0.6 s for response and build-up
# together; how long it takes to ease off is not regulated, common practice, no source. A length
# of unknown size is tried at a constant ratio.
_BUILD_S = np.geomspace(0.05, 0.6, 7)
# Instants tried for the corner, and the finest spacing between them that is worth the work.
_TRIALS, _FINEST_S = 41, 0.02
_SEED = 20261125
# Share of the noise that the lot adds: the draws themselves carry the rest. Of 0.03, 0.1, 0.25 and
# 1 the one whose intervals held best on simulated rides (DEVELOPERS.md).
_LOT_SHARE = 0.1


@dataclass(frozen=True)
class Corner:
    """One corner on every column of ``Paths``; arrays of shape (k,).

    Attributes
    ----------
    at_s : instant at which the speed leaves the first line. [s]
    speed_mps : speed there. [m/s]
    """

    at_s: FloatArray
    speed_mps: FloatArray


def falling_corner(
    time_s: FloatArray,
    speed_mps: FloatArray,
    between_s: tuple[float, float],
    noise_density: float,
) -> Corner:
    """Return where speeds begin to fall faster than before.

    Parameters
    ----------
    time_s : ndarray, shape (m,)
        Even grid; the speed is taken as straight before the corner and again after the build-up.
        [s]
    speed_mps : ndarray, shape (m, k)
        Speeds along the way, a column for each path. [m/s]
    between_s : (first, last)
        Where the corner is looked for. [s]
    noise_density : float
        Squared noise times its correlation time, which weighs the trials. [m²/s]

    Returns
    -------
    Corner
        If the machine still pulled before, the top of the speed: that is where braking begins.
    """
    trials = _trial_times(between_s)
    ats: list[FloatArray] = []
    speeds: list[FloatArray] = []
    misfits: list[FloatArray] = []
    for build_s in _BUILD_S:
        after = trials[:, None] - time_s[None, :]
        basis = np.stack([np.ones_like(after), -after, _built_up(-after, build_s)], axis=2)
        factor, misfit = _fitted(basis, speed_mps)
        level, slope, change = factor[:, 0], factor[:, 1], factor[:, 2]
        # A pull turns into braking inside the build-up: the share of the change at its zero.
        share = np.clip(-slope / np.minimum(change, -1e-9), 0.0, 1.0)
        wait = build_s * np.arccos(1.0 - 2.0 * share) / np.pi
        ats.append(trials[:, None] + wait)
        speeds.append(level + slope * wait + change * _built_up(wait, build_s))
        # Without a fall there is no corner.
        misfits.append(np.where(change < 0.0, misfit, np.inf))
    return _weighed(ats, speeds, misfits, time_s, noise_density)


def resting_corner(
    time_s: FloatArray,
    speed_mps: FloatArray,
    between_s: tuple[float, float],
    noise_density: float,
) -> Corner:
    """Return where falling speeds reach zero and stay there; as ``falling_corner``."""
    trials = _trial_times(between_s)
    ats: list[FloatArray] = []
    misfits: list[FloatArray] = []
    for ease_s in _BUILD_S:
        left = trials[:, None] - time_s[None, :]
        line = _built_up(left, ease_s)
        basis = np.stack([line, line * line], axis=2)
        factor, misfit = _fitted(basis, speed_mps)
        ats.append(np.broadcast_to(trials[:, None], misfit.shape))
        misfits.append(np.where(factor[:, 0] > 0.0, misfit, np.inf))
    zeros = [np.zeros_like(at) for at in ats]
    return _weighed(ats, zeros, misfits, time_s, noise_density)


def rising_corner(
    time_s: FloatArray,
    speed_mps: FloatArray,
    between_s: tuple[float, float],
    noise_density: float,
) -> Corner:
    """Return where falling speeds cease to fall while still rolling; as ``falling_corner``."""
    # Read backwards in time and turned over it is a fall that begins.
    turned = falling_corner(
        -time_s[::-1],
        -speed_mps[::-1],
        (-between_s[1], -between_s[0]),
        noise_density,
    )
    return Corner(-turned.at_s, -turned.speed_mps)


def _trial_times(between_s: tuple[float, float]) -> FloatArray:
    first, last = between_s
    count = min(_TRIALS, max(3, round((last - first) / _FINEST_S) + 1))
    return np.linspace(first, last, count)


def _built_up(after_s: FloatArray, build_s: float) -> FloatArray:
    """Return the change of speed for one of slope: the integral of a raised cosine, then a line."""
    inside = np.clip(after_s / build_s, 0.0, 1.0)
    grown = build_s * (0.5 * inside - np.sin(np.pi * inside) / (2.0 * np.pi))
    result: FloatArray = grown + np.maximum(after_s - build_s, 0.0)
    return result


def _fitted(basis: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return coefficients (trials, p, k) and sums of squared misfits (trials, k).

    ``basis`` has the shape (trials, m, p), ``values`` (m, k).
    """
    q, r = np.linalg.qr(basis)
    onto = np.swapaxes(q, 1, 2) @ values
    misfit = np.maximum((values**2).sum(axis=0) - (onto**2).sum(axis=1), 0.0)
    size = np.abs(np.diagonal(r, axis1=1, axis2=2))
    bad = size.min(axis=1) < 1e-9 * size.max(axis=1)
    r[bad] = np.eye(r.shape[1])
    factor = np.linalg.solve(r, onto)
    misfit[bad] = np.inf
    return factor, misfit


def _weighed(
    ats: list[FloatArray],
    speeds: list[FloatArray],
    misfits: list[FloatArray],
    time_s: FloatArray,
    noise_density: float,
) -> Corner:
    """Return the corner from all trials, each weighed by how well it explains the path.

    The fitted path and the sharp draws take the mean. What the noise leaves open about the
    build-up is no error of the path, so each cautious draw takes one trial by lot.
    """
    at, speed = np.concatenate(ats), np.concatenate(speeds)
    misfit = np.concatenate(misfits)
    least = misfit.min(axis=0)
    known = np.isfinite(least)
    spacing = float(time_s[1] - time_s[0])
    excess = np.where(known, misfit - np.where(known, least, 0.0), 0.0)
    weight = np.exp(-0.5 * excess * spacing / noise_density)
    weight /= weight.sum(axis=0)
    columns = at.shape[1]
    lot = np.random.default_rng([_SEED, columns]).random(columns)
    odds = np.cumsum(weight ** (1.0 / _LOT_SHARE), axis=0)
    drawn = np.minimum((odds < lot * odds[-1]).sum(axis=0), len(at) - 1)
    by_lot = np.arange(columns) > columns // 2
    column = np.arange(columns)
    chosen = [
        np.where(by_lot, each[drawn, column], (weight * each).sum(axis=0)) for each in (at, speed)
    ]
    return Corner(*(np.where(known, each, np.nan) for each in chosen))
