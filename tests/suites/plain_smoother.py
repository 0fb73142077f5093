"""A plain smoother to compare with: white jerk of one intensity, white noise of one size each.

Position, velocity and acceleration per axis; the intensity and the noise of positions and of
reported velocities are constants of the ride, found by maximum likelihood. It weighs every fix
alike, throws nothing away and knows neither slow errors nor gaps: what a general Kalman smoother
does with a log.

Source
------
Y. Bar-Shalom, X. R. Li, T. Kirubarajan, "Estimation with Applications to Tracking and Navigation",
Wiley 2001, section 6.2.3 (discretised white jerk). Checked against filterpy in
tests/filtering/test_plain_smoother.py.
"""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicHermiteSpline
from scipy.linalg import cho_solve_banded, cholesky_banded
from scipy.optimize import minimize
from scipy.special import ndtri

from ridelog.core.geodesy import to_local
from ridelog.core.track import FloatArray, Track
from ridelog.filtering.banded import band_of

# Standard deviations of the first state: wider than any ride. [m, m/s, m/s²]
START_SD = (1.0e4, 30.0, 3.0)
_MOST_TRIES = 120
_GRID_S = 0.05


@dataclass(frozen=True)
class Noise:
    """Jerk intensity [m²/s⁵] and standard deviations of position [m] and velocity [m/s]."""

    jerk: float
    position_m: float
    velocity_mps: float


@dataclass(frozen=True)
class Log:
    """What is smoothed: times (n,), positions and velocities (n, 2), NaN where not given."""

    time_s: FloatArray
    position_m: FloatArray
    velocity_mps: FloatArray


class Smoothed:
    """The posterior of one log under one noise.

    Attributes
    ----------
    states : ndarray, shape (n, 3, 2)
        Position, velocity and acceleration, east and north.
    log_likelihood : float
        Of both axes together, up to a constant that no noise changes.
    """

    def __init__(self, log: Log, noise: Noise) -> None:
        n, dt = len(log.time_s), np.diff(log.time_s)
        has = [np.isfinite(seen[:, 0]) for seen in (log.position_m, log.velocity_mps)]
        weight = [
            np.where(given, sd**-2.0, 0.0)
            for given, sd in zip(has, (noise.position_m, noise.velocity_mps), strict=True)
        ]
        seen = [np.nan_to_num(values) for values in (log.position_m, log.velocity_mps)]
        precision = _jerk_precision(dt, noise.jerk)
        forward = np.zeros((n - 1, 3, 3))
        forward[:, range(3), range(3)] = 1.0
        forward[:, 0, 1] = forward[:, 1, 2] = dt
        forward[:, 0, 2] = 0.5 * dt**2
        backward = np.swapaxes(forward, 1, 2)
        start = np.array(START_SD) ** -2.0

        diagonal = np.zeros((n, 3, 3))
        diagonal[:-1] += backward @ precision @ forward
        diagonal[1:] += precision
        diagonal[0, range(3), range(3)] += start
        diagonal[:, 0, 0] += weight[0]
        diagonal[:, 1, 1] += weight[1]
        self._factor = cholesky_banded(band_of(diagonal, -precision @ forward), lower=True)

        def gradient(states: FloatArray) -> FloatArray:
            pull = np.zeros_like(states)
            for row in (0, 1):
                pull[:, row] = weight[row][:, None] * (seen[row] - states[:, row])
            pull[0] -= start[:, None] * states[0]
            weighted = precision @ (states[1:] - forward @ states[:-1])
            pull[1:] -= weighted
            pull[:-1] += backward @ weighted
            return pull

        states = self.solve(gradient(np.zeros((n, 3, 2))))
        states = states + self.solve(gradient(states))
        self.states = states
        jump = states[1:] - forward @ states[:-1]
        misfit = float(np.sum(jump * (precision @ jump)) + np.sum(start[:, None] * states[0] ** 2))
        for row in (0, 1):
            misfit += float(np.sum(weight[row][:, None] * (seen[row] - states[:, row]) ** 2))
        # Twice half the logarithm of each determinant, one for each axis.
        self.log_likelihood = (
            -3.0 * (n - 1) * np.log(noise.jerk)
            - 2.0 * has[0].sum() * np.log(noise.position_m)
            - 2.0 * has[1].sum() * np.log(noise.velocity_mps)
            - 2.0 * float(np.log(self._factor[0]).sum())
            - 0.5 * misfit
        )

    def solve(self, right: FloatArray) -> FloatArray:
        """Return the posterior covariance times right-hand sides of shape (n, 3, k)."""
        flat = right.reshape(right.shape[0] * 3, -1)
        return np.asarray(cho_solve_banded((self._factor, True), flat)).reshape(right.shape)


def _jerk_precision(dt: FloatArray, jerk: float) -> FloatArray:
    """Return the inverse of white jerk's covariance for each interval, shape (n - 1, 3, 3)."""
    rows = [
        [720.0 / dt**5, -360.0 / dt**4, 60.0 / dt**3],
        [-360.0 / dt**4, 192.0 / dt**3, -36.0 / dt**2],
        [60.0 / dt**3, -36.0 / dt**2, 9.0 / dt],
    ]
    return np.moveaxis(np.array(rows), 2, 0) / jerk


def log_of(track: Track) -> Log:
    """Return every fix with a time and a position, in order of time."""
    known = np.isfinite(track.time_s) & np.isfinite(track.latitude_deg)
    rows = np.flatnonzero(known)
    rows = rows[np.argsort(track.time_s[rows], kind="stable")]
    rows = rows[np.append(True, np.diff(track.time_s[rows]) > 1e-6)]
    latitude, longitude = track.latitude_deg[rows], track.longitude_deg[rows]
    east, north = to_local(latitude, longitude, float(latitude[0]), float(longitude[0]))
    speed, course = track.speed_mps[rows], track.course_rad[rows]
    return Log(
        track.time_s[rows],
        np.stack([east, north], axis=1),
        np.stack([speed * np.sin(course), speed * np.cos(course)], axis=1),
    )


def fitted(log: Log) -> tuple[Noise, Smoothed]:
    """Return the noise of greatest likelihood and the smoothed log under it."""
    reports = bool(np.isfinite(log.velocity_mps[:, 0]).any())

    def noise_of(logarithms: FloatArray) -> Noise:
        jerk, position, *velocity = np.exp(np.clip(logarithms, -9.0, 9.0)).tolist()
        return Noise(jerk, position, velocity[0] if velocity else 1.0)

    first = np.log([1.0, 0.1, 0.1][: 3 if reports else 2])
    simplex = np.vstack([first, first + 1.5 * np.eye(len(first))])
    found = minimize(  # type: ignore[call-overload]  # its stubs lack xatol and fatol
        lambda values: -Smoothed(log, noise_of(values)).log_likelihood,
        first,
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "maxfev": _MOST_TRIES, "xatol": 0.03, "fatol": 0.03},
    )
    noise = noise_of(found.x)
    return noise, Smoothed(log, noise)


def best_second(log: Log, smoothed: Smoothed, level: float) -> tuple[float, float, float]:
    """Return the highest one-second mean of the smoothed path with its own interval. [m/s]

    The interval is that of the posterior for the window chosen: exact if its model were true and
    the window were given beforehand.
    """
    position, velocity = smoothed.states[:, 0], smoothed.states[:, 1]
    path = CubicHermiteSpline(log.time_s, position, velocity)
    start = np.arange(log.time_s[0], log.time_s[-1] - 1.0, _GRID_S)
    mean = np.hypot(*(path(start + 1.0) - path(start)).T)
    best = int(np.argmax(mean))
    # The window's mean is linear in the states: the same weights on both axes.
    weights = np.zeros((len(log.time_s), 3, 1))
    for time, sign in ((start[best] + 1.0, 1.0), (start[best], -1.0)):
        left = int(np.clip(np.searchsorted(log.time_s, time) - 1, 0, len(log.time_s) - 2))
        span = log.time_s[left + 1] - log.time_s[left]
        u = (time - log.time_s[left]) / span
        weights[left, 0] += sign * (2 * u**3 - 3 * u**2 + 1)
        weights[left, 1] += sign * (u**3 - 2 * u**2 + u) * span
        weights[left + 1, 0] += sign * (3 * u**2 - 2 * u**3)
        weights[left + 1, 1] += sign * (u**3 - u**2) * span
    sd = float(np.sqrt(np.sum(weights * smoothed.solve(weights))))
    reach = float(ndtri(0.5 + 0.5 * level)) * sd
    value = float(mean[best])
    return value, value - reach, value + reach
